"""What a page saves comes into the log as if it had been answered here, or is refused whole."""

import json

import numpy as np
import pytest

from dbox import ScenarioError
from dbox.errors import DomainError
from dbox.fieldwork import setup
from dbox.fieldwork.setup import Rules
from dbox.files.job_log import JobLog, entry_of, kept_setup, log_path, read_log, visits
from dbox.files.logged_box import identity
from dbox.files.page_file import KIND, page_start, read_saved, take
from dbox.files.scenario import load

AT = "2026-05-04T09:30:00+02:00"

BOX = """
title = "North field (invented)"
[box]
inlet = "turned down"
[insert]
kind = "circle"
diameter = "1-3/4 in"
offset = "1/2 in"
[readings]
mark = "1/32 in"
[[outlet]]
label = "north"
clock = "6:00"
[[outlet]]
label = "5/a"
clock = "7:30"
[[outlet]]
label = "3"
state = "capped"
"""

HEIGHTS = {"north": 0.003175, "5/a": 0.0}


@pytest.fixture
def path(tmp_path):
    (tmp_path / "job.toml").write_text(BOX)
    return tmp_path / "job.toml"


def answered(site, events):
    return [entry_of(event, site, None) for event in events]


def one_pass(site):
    """Still water, one reading of each open outlet, one of them taken back and given again."""
    read = [
        setup.Read(at=AT, outlet=i, heights=(HEIGHTS[o.label],))
        for i, o in enumerate(site.outlets)
        if not o.capped
    ]
    settled = [setup.Settled(at=AT, outlet=each.outlet) for each in read]
    return [setup.Still(at=AT, method="ruler from still water"), read[0], setup.Undone(at=AT),
            read[0], settled[0], read[1], settled[1]]  # fmt: skip


def content(site, entries, **more):
    """What the page writes, in the words of its `fileText`."""
    outlets = [{"label": o.label, "clock": o.clock} for o in site.outlets]
    return {"kind": KIND, "version": 1, "key": "k1", "changed": AT, "name": site.title,
            "file": "job.toml", "box": identity(site), "answers": None,
            "site": {"units": "in", "outlets": outlets, "more": [1]},
            "entries": entries, "pours": [], "record": {}, **more}  # fmt: skip


def saved(path, told):
    file = path.with_name("saved.json")
    file.write_text(json.dumps(told), encoding="utf-8")
    return read_saved(file)


def kept(path):
    return kept_setup(path, load(path), Rules(samples=64))


def test_a_saved_pass_stands_in_the_log_as_if_it_was_answered_here(path):
    site = load(path)
    events = one_pass(site)
    found = take(saved(path, content(site, answered(site, events))), path, AT)
    assert len(found.entries) == len(events)
    assert found.doubts == ()
    here = setup.replay(setup.begin(site, Rules(samples=64)), events)
    there = kept(path)
    assert there.now.readings == here.now.readings == ((0.003175,), (0.0,), ())
    assert there.now.conclusion == here.now.conclusion
    assert there.now.read_at == here.now.read_at
    before = log_path(path).read_bytes()
    assert take(saved(path, content(site, answered(site, events))), path, AT).entries == ()
    # but for who had it open, nothing came
    assert [e["event"] for e in read_log(log_path(path))[-1:]] == ["opened"]
    assert log_path(path).read_bytes().startswith(before)


def test_page_and_log_go_on_from_each_other(path):
    site = load(path)
    events = one_pass(site)
    take(saved(path, content(site, answered(site, events[:3]))), path, AT)
    start, known = page_start(site, visits(read_log(log_path(path))), "job.toml")
    assert [e["event"] for e in known["entries"]] == ["still", "read", "undone"]
    assert start == site
    more = json.loads(json.dumps(known["entries"])) + answered(site, events[3:])
    found = take(saved(path, content(site, more)), path, AT)
    assert [e["event"] for e in found.entries] == ["read", "settled", "read", "settled"]
    assert kept(path).now.complete


def test_what_went_on_apart_is_refused_and_both_stay(path):
    site = load(path)
    events = one_pass(site)
    with JobLog(log_path(path), AT) as log:
        log.append({"event": "begun", "at": AT, "box": identity(site)})
        for entry in answered(site, [events[0], setup.Read(at=AT, outlet=1, heights=(0.001,))]):
            log.append(entry)
    before = log_path(path).read_bytes()
    page = saved(path, content(site, answered(site, events)))
    with pytest.raises(ScenarioError, match=r"gone on apart.*1 answers are the same.*--again"):
        take(page, path, AT)
    assert log_path(path).read_bytes() == before
    take(page, path, AT, again=True, name="by the page")
    job = kept(path)
    assert (job.visit, job.name) == (2, "by the page")
    assert job.now.complete
    assert log_path(path).read_bytes().startswith(before)


def test_an_odd_reading_that_the_page_never_asked_about_is_told(path):
    """A full turn of an insert 1/2 in off lifts its lip by 1 in; 3 in cannot be reached."""
    site = load(path)
    odd = [setup.Still(at=AT, method="rule"), setup.Read(at=AT, outlet=0, heights=(0.0762,))]
    found = take(saved(path, content(site, answered(site, odd))), path, AT)
    assert [(outlet, doubt.why) for outlet, doubt in found.doubts] == [(0, "reach")]
    assert kept(path).now.readings[0] == (0.0762,)
    asked = [odd[0], setup.Read(at=AT, outlet=0, heights=(0.0762,), doubtful=True),
             setup.Confirmed(at=AT, sure=True)]  # fmt: skip
    path.with_name("other.toml").write_text(BOX)
    other = path.with_name("other.toml")
    assert take(saved(other, content(site, answered(site, asked))), other, AT).doubts == ()


ANSWERS = {"units": "mm", "outlets": "3", "alike": "yes", "hole": "circle 44 mm",
           "offset": "12 mm", "clock": "6:00", "inlet": "tee", "point": "lip", "mark": "1 mm",
           "title": '"yes"', "tolerance": "10 %", "source": '"permit 7"'}  # fmt: skip


def test_a_box_from_nothing_becomes_the_scenario_of_its_answers(tmp_path):
    path = tmp_path / "new.toml"
    told = {"kind": KIND, "version": 1, "name": "yes", "box": None, "answers": ANSWERS,
            "site": {"units": "mm", "outlets": [{"label": str(i), "clock": 0} for i in (1, 2, 3)]},
            "entries": [{"event": "still", "at": AT, "method": "rule"}], "record": {"who": "A. B."},
            "pours": [{"volume": "20", "time": "60,5", "jug": "1", "way": "jug", "seconds": "",
                       "catches": {"1": "9", "2": "dry", "3": ""}}]}  # fmt: skip
    found = take(saved(path, told), path, AT)
    assert found.makes
    site = load(path)
    assert (site.title, site.box.inlet, site.metric, site.mark) == ("yes", "tee", True, 0.001)
    assert [o.hole_offset for o in site.outlets] == [0.012] * 3
    assert site.record.who == "A. B."
    pour = site.pours[0]
    assert pour.inflow == pytest.approx(0.020 / 60.5)
    assert pour.catches == (pytest.approx(1e-3 / 9), 0.0, None)
    # the same again adds no second pour
    take(saved(path, told), path, AT)
    assert len(load(path).pours) == 1
    with pytest.raises(ScenarioError, match=r"answers.hole is .*; "):
        take(saved(tmp_path / "x.toml", {**told, "answers": {**ANSWERS, "hole": "circle 9 m"}}),
             tmp_path / "x.toml", AT)  # fmt: skip
    assert not (tmp_path / "x.toml").exists()
    assert not log_path(tmp_path / "x.toml").exists()


def test_paper_that_says_otherwise_stays_in_the_saved_file_and_is_told(path):
    path.write_text(BOX + '\n[record]\nwho = "A. Installer"\n')
    site = load(path)
    half = {"volume": "5", "time": "", "jug": "", "way": "jug", "seconds": "",
            "catches": {"north": "12"}}  # fmt: skip
    told = content(site, [], record={"who": "B. Helper", "permit": "7"}, pours=[half])
    found = take(saved(path, told), path, AT)
    assert [what.split(",")[0] for what in found.left] == ["record.who", "pour 1"]
    assert load(path).record.who == "A. Installer"
    assert load(path).record.permit == "7"


def test_an_inlet_that_is_turned_down_by_now_is_written_into_the_file(path):
    path.write_text(BOX.replace("turned down", "straight"))
    site = load(path)
    events = [setup.Told(at=AT, key="inlet", value="tee"), *one_pass(site)]
    found = take(saved(path, content(site, answered(site, events))), path, AT)
    assert found.inlet == found.job.site.box.inlet == load(path).box.inlet == "tee"
    # the file goes first: who mends it there is not overruled by what was said before
    path.write_text(BOX.replace("turned down", "straight"))
    more = [*events, setup.Correcting(at=AT, outlet=0)]
    found = take(saved(path, content(site, answered(site, more))), path, AT)
    assert (found.inlet, load(path).box.inlet) == (None, "straight")


def test_the_inlet_may_be_told_at_any_pass_and_counts_for_all(path):
    path.write_text(BOX.replace('inlet = "turned down"', ""))
    site = load(path)
    events = [*one_pass(site), setup.Still(at=AT, method="rule"),
              setup.Told(at=AT, key="inlet", value="tee")]  # fmt: skip
    job = setup.replay(setup.begin(site, Rules(samples=64)), events)
    assert [each.site.box.inlet for each in job.passes] == ["tee", "tee"]
    assert job.now.previous is job.passes[0]
    with pytest.raises(DomainError, match="in the first pass"):
        job.after(setup.Told(at=AT, key="rim", value=0.1))


def damaged(told, place, value):
    """A copy with another value at a place; None takes it out."""
    told = json.loads(json.dumps(told))
    *way, last = place
    inner = told
    for step in way:
        inner = inner[step]
    if value is None:
        del inner[last]
    else:
        inner[last] = value
    return told


@pytest.mark.parametrize(
    ("place", "value", "says"),
    [
        (["kind"], "a film", "was not saved by a page of dbox"),
        (["kind"], None, "was not saved by a page of dbox"),
        (["version"], 2, "version is 2, which this dbox does not know"),
        (["entries"], None, "has no entries; save the job once more"),
        (["entries"], "none", 'entries is "none"; save the job'),
        (["entries", 1], 7, "entries[2] is 7; save"),
        (["entries", 1, "event"], "opened", 'entries[2].event is "opened", no event'),
        (["entries", 1, "at"], "soon", 'entries[2].at is "soon", no time'),
        (["entries", 1, "outlet"], "south", 'entries[2] is "read" at'),
        (["entries", 1, "readings_m"], [1e9], 'entries[2] is "read" at'),
        (["entries", 1, "readings_m"], [], 'entries[2] is "read" at'),
        (["entries", 1, "readings_m"], ["1/8"], 'entries[2] is "read" at'),
        (["entries", 0, "method"], "by\x07bell", 'entries[1] is "still" at'),
        (["entries", 0], None, "entries[1] is \"read\" at"),
        (["site", "outlets", 0, "clock"], 1e9, "site.outlets[1].clock is 1000000000.0"),
        (["box", "title"], "Another", "is of another box than"),
        (["box", "outlets", 0, "offset_m"], 0.02, "outlet north has another offset"),
        (["pours"], [{"volume": 5}], "pours[1].volume is 5"),
    ],
)  # fmt: skip
def test_a_damaged_or_foreign_file_changes_nothing(path, place, value, says):
    site = load(path)
    told = content(site, answered(site, one_pass(site)))
    with pytest.raises(ScenarioError) as error:
        take(saved(path, damaged(told, place, value)), path, AT)
    assert f"saved.json: {says}" in str(error.value) or says in str(error.value)
    assert "saved.json" in str(error.value)
    assert path.read_text() == BOX
    assert not log_path(path).exists()


@pytest.mark.parametrize("text", ["", "{", "[]", "not json", '{"kind": "' + "x" * 100, "\ufeff1"])
def test_what_is_no_saved_job_is_refused(tmp_path, text):
    file = tmp_path / "saved.json"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(ScenarioError, match=r"saved\.json: .*save the job once more"):
        read_saved(file)


def test_any_cut_of_a_saved_file_is_refused(path):
    site = load(path)
    whole = json.dumps(content(site, answered(site, one_pass(site))))
    file = path.with_name("cut.json")
    for end in np.linspace(0, len(whole) - 1, 40).astype(int):
        file.write_text(whole[:end])
        with pytest.raises(ScenarioError, match="no whole file"):
            read_saved(file)


def test_a_visit_that_takes_lips_over_is_no_page(path):
    site = load(path)
    take(saved(path, content(site, answered(site, one_pass(site)))), path, AT)
    with JobLog(log_path(path), AT) as log:
        log.append({"event": "begun", "at": AT, "box": identity(site)})
        log.append({"event": "carried", "at": AT, "outlets": ["north"]})
    with pytest.raises(ScenarioError, match="which a page cannot"):
        page_start(site, visits(read_log(log_path(path))), "job.toml")
