"""The form of the page makes the box that its answers make in the interview: two ways to one site.

Drafts are made up (invented), in the notations that people use. The page's script runs in an
embedded JavaScript engine; its answers go through the questions of the set-up.
"""

import json
from dataclasses import replace

import numpy as np
import pytest
from py_mini_racer import MiniRacer

from dbox.drawings.phone_page import script, site_data
from dbox.fieldwork.site import ORDINARY_FLOWS, Outlet, Site
from dbox.files.page_file import KIND, page_start, read_saved, take
from dbox.files.scenario import load
from dbox.hydraulics.openings import Circle
from dbox.keys import LONGEST_NAME

AT = "2026-05-04T09:30:00+00:00"
BLANK = site_data(Site(outlets=(Outlet(label="1", opening=Circle(0.05)),), flows=ORDINARY_FLOWS))


@pytest.fixture(scope="module")
def page():
    with MiniRacer() as js:
        engine, form = script("engine"), script("box_form")
        data = json.dumps({"blank": BLANK, "longestLabel": LONGEST_NAME})
        js.eval(f"{engine}\nObject.assign(dbox, {{shell: {{data: {data}}}, say: {{}}}});\n{form}")
        yield js


def made(page, draft):
    told = page.eval(
        "(() => { try { return JSON.stringify(dbox.boxOf("
        f"JSON.parse({json.dumps(json.dumps(draft))}))); }}"
        " catch (error) { return JSON.stringify({ error: error.message }); } })()"
    )
    return json.loads(told)


SIZES = {
    ("circle", "in"): ["1-3/4", "1 3/4 in", '2"', "1.75", "44 mm"],
    ("circle", "mm"): ["44", "44,5", "4.4 cm", "1-3/4 in"],
    ("notch", "in"): ["90", "60 deg", "45°"],
    ("notch", "mm"): ["90", "60"],
    ("slot", "in"): ["1", "1-1/2 in"],
    ("slot", "mm"): ["25", "2,5 cm"],
    ("pipe", "in"): ["4", "4 in"],
    ("pipe", "mm"): ["100"],
}
NAMES = ["4", "1", "20", "north, east", "north, 5/a, 3", "קו, line 2, 3, yes"]


def draft(rng):
    def one(options):
        return options[int(rng.integers(len(options)))]

    units, kind, outlets = (
        one(["in", "mm"]),
        one(["circle"] * 3 + ["notch", "slot", "pipe"]),
        one(NAMES),
    )
    labels = (
        [str(i + 1) for i in range(int(outlets))] if outlets.isdecimal() else outlets.split(",")
    )
    shut = [x.strip() for x in labels[1:] if rng.random() < 0.2]
    return {
        "units": units, "name": one(["", "12 Mill Lane", "yes", 'the "old" field', "</b>"]),
        "outlets": outlets, "capped": ", ".join(shut), "kind": kind,
        "size": one(SIZES[kind, units]), "height": one(["", "2 in"]),
        "turns": one(["yes", "unknown", "fixed"]),
        "offset": one(["1/2 in", "12 mm", "0.5 in"]), "clock": one(["all", "each", "unknown"]),
        "inlet": one(["turned down", "tee", "baffle", "straight", ""]),
        "mark": one(["1/32 in", "1/64 in"] if units == "in" else ["1 mm", "0.5 mm"]),
        "tolerance": one(["", "10", "7,5 %"]), "source": one(["", "permit 7", "no"]),
    }  # fmt: skip


def told(site):
    """A site but for what is the same said or not: equal targets, no coefficient, no loss."""
    outlets = []
    for outlet in site["outlets"]:
        sizes = {k: v for k, v in outlet["opening"].items() if v not in (None, 0)}
        outlets.append({**outlet, "opening": sizes, "target": None})
    assert len({o["target"] for o in site["outlets"] if not o["capped"]}) == 1
    return {**site, "outlets": outlets}


@pytest.mark.everyday(2)
@pytest.mark.parametrize("seed", range(150))
def test_the_form_and_the_interview_make_the_same_box(page, tmp_path, seed):
    typed = draft(np.random.default_rng(seed))
    job = made(page, typed)
    assert "error" not in job, typed
    file, path = tmp_path / "saved.json", tmp_path / "job.toml"
    file.write_text(json.dumps({**job, "kind": KIND, "version": 1, "entries": [], "pours": [],
                                "record": {}}))  # fmt: skip
    take(read_saved(file), path, AT)
    start, _ = page_start(load(path), (), "job.toml")
    # nothing there turns, and the page asks for no clock
    outlets = [replace(o, hole_offset=None, clock=None) if o.capped else o for o in start.outlets]
    there = site_data(replace(start, outlets=tuple(outlets)))
    assert told(there) == told(job["site"]), typed


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"outlets": "0"}, "0 outlets: this page takes 1 to 20."),
        ({"outlets": "north"}, "a name of its own for each"),
        ({"outlets": "a, A"}, "a name of its own for each"),
        ({"outlets": f"{'x' * 41}, b"}, "is too long: 40 letters at most"),
        ({"capped": "9"}, "There is no outlet 9."),
        ({"outlets": "2", "capped": "1, 2"}, "Leave one outlet open."),
        ({"size": ""}, "Across the hole: this one is needed."),
        ({"size": "13/16/2"}, "write a fraction as 13/16"),
        ({"size": "44 in"}, "cannot be; check the unit"),
        ({"offset": "soon"}, "Hole centre from pipe centre"),
        ({"tolerance": "0"}, "1 to 100 per cent"),
        ({"kind": "notch", "size": "wide"}, "write it as 90"),
    ],
)
def test_what_cannot_be_is_told_with_its_mend(page, wrong, says):
    right = {**draft(np.random.default_rng(0)), "units": "in", "kind": "circle", "size": "2",
             "turns": "yes", "outlets": "4", "capped": "", "offset": "1/2"}  # fmt: skip
    assert "error" not in made(page, right)
    assert says in made(page, {**right, **wrong})["error"]
