"""`dbox diagnose` and its questions, as a troubleshooter types them."""

import io
import json
import re

import pytest

from dbox.fieldwork.diagnosis.causes import KEYS

SEEN = """
title = "Four lines"
units = "in"
insert = {kind = "circle", diameter = "2 in"}
readings = {spread = "1/32 in"}
outlet = [{reading = 0, evidence = {mouth = "dry", port = "dry"}}, {reading = 0}, {reading = 0},
          {reading = 0, evidence = {port = "dry", mouth = "full", drain_back = "long"}}]
"""
FEW = ("--draws", "40")


@pytest.fixture
def contradicting(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(SEEN)
    return str(path)


@pytest.fixture
def typing(monkeypatch):
    def type_in(*lines, end="\n"):
        text = "\n".join(lines) + end
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text.encode())))

    return type_in


def flowed(text):
    return " ".join(text.split())


@pytest.mark.parametrize(
    ("name", "first", "outlet"),
    [("wet-line", "tilt+full", "4"), ("dry-line", "blocked", "2")],
)
def test_the_shipped_cases_are_told_for_what_they_were_made(dbox, name, first, outlet):
    code, out, err = dbox("diagnose", name, "--json")
    assert (code, err) == (0, "")
    lead = json.loads(out)["causes"][0]
    assert (lead["cause"], lead["outlet"]) == (first, outlet)
    assert lead["fits"]


@pytest.mark.everyday(2)
@pytest.mark.parametrize("name", ["wet-line", "dry-line", "off-level", "full-job", "unequal-lines"])
def test_text_fits_72_columns_and_the_first_screen_is_enough_to_act(dbox, name):
    code, out, err = dbox("diagnose", name, "--draws", "60")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert max(map(len, lines)) <= 72
    lead = "MOST LIKELY" if "WHAT TO DO, the least drastic first" in out else "NOTHING STANDS OUT"
    heads = (lead, "Sewer gas kills", "NEXT LOOK", "WHAT MAY BE NORMAL",
             "ranked, none is announced", "SHARE OF AN ORDINARY DAY")  # fmt: skip
    places = [out.index(head) for head in heads]
    assert places == sorted(places)
    assert lines[2].startswith(lead)
    # a small terminal has 24 lines
    assert " min  " in "\n".join(lines[:24])
    assert "licensed practice decide. Causes are ranked, not proved." in flowed(out)
    assert "certain" not in out


def test_the_size_comes_with_its_band_and_what_speaks_for_and_against(dbox):
    text = flowed(dbox("diagnose", "wet-line")[1])
    assert re.search(r"size: box down \S+ to \S+ in \(", text)
    assert "mm) toward outlet 4" in text
    assert "for: outlet 4, " in text


def test_json_has_the_promised_keys_in_si(dbox):
    _, out, _ = dbox("diagnose", "wet-line", "--json")
    answer = json.loads(out, parse_constant=pytest.fail)
    assert sorted(answer) == [
        "causes", "contradictions", "fits_well", "next_tests", "normal", "off_level", "overload",
        "pairs_left_out", "rests_on", "summed", "unexplained", "warnings",
    ]  # fmt: skip
    left, every = answer["pairs_left_out"], [c["probability"] for c in answer["causes"]]
    assert sum(every) + left["probability"] == pytest.approx(1)
    assert left["probability"] < left["count"] * left["under"]
    assert all(len(c["parts"]) == 1 or c["probability"] >= 0.001 for c in answer["causes"])
    # every cause by itself is there, at every outlet where it may sit
    assert {c["cause"] for c in answer["causes"]} >= {*KEYS}
    chances = [c["probability"] for c in answer["causes"]]
    assert chances == sorted(chances, reverse=True)
    assert {"cause", "outlet", "probability", "for", "against"} <= set(answer["causes"][0])
    size = answer["causes"][0]["size"]
    assert 0 < size["low_m"] <= size["middle_m"] <= size["high_m"] < 0.02
    for look in answer["next_tests"]:
        assert {"test", "outlet", "expected_information_bits", "effort"} <= set(look)
        assert look["effort"] == f"{look['effort_s'] / 60:.0f} min"
        assert 60 <= look["effort_s"] <= 8 * 3600
    over = answer["overload"]
    assert sum(o["share"] for o in over["outlets"]) == pytest.approx(1, abs=1e-6)
    assert over["known_since_s"] == 90 * 86400
    assert over["outlets"][0]["acceptance_m_s"] == pytest.approx(
        0.45 * 231 * 0.0254**3 / 0.3048**2 / 86400
    )


def test_what_is_not_known_is_null(dbox):
    _, out, _ = dbox("diagnose", "dry-line", "--json")
    over = json.loads(out)["overload"]
    assert over["daily_flow_m3_s"] is None
    assert over["outlets"][0]["load_m_s"] is None
    assert over["keeps_up"] is None


def test_contradicting_evidence_is_named(dbox, contradicting):
    _, out, _ = dbox("diagnose", contradicting, "--draws", "60")
    assert "DO NOT GO TOGETHER" in out
    again = "outlet 4: open the port, if there is one: water against the bottom of the pipe"
    assert f"LOOK AGAIN: {again}" in flowed(out)
    _, out, _ = dbox("diagnose", contradicting, "--json", "--draws", "60")
    (pair, *_) = json.loads(out)["contradictions"]
    assert pair == {
        "one": "outlet 4, port of the line: dry",
        "other": "outlet 4, runs back, box bailed: long",
        "look_again": again,
    }


def test_a_look_that_alone_decides_is_to_be_made_again_before_anyone_digs(dbox, tmp_path):
    """A full mouth over a dry port is a blocked header, but that somebody saw a cap there."""
    path, dry = tmp_path / "cap.toml", 'evidence = {mouth = "dry", port = "dry", cap = "none"}'
    seen = 'evidence = {mouth = "full", port = "dry", rod = "hard stop", cap = "capped"}'
    path.write_text(
        SEEN[: SEEN.index("readings =")]
        + f"outlet = [{{{dry}}}, {{{dry}}}, {{{dry}}}, {{{seen}}}]\n"
    )
    _, out, _ = dbox("diagnose", str(path), *FEW)
    again = "outlet 4: look whether an outlet is capped, a line valved off"
    assert f"LOOK AGAIN: {again}" in flowed("\n".join(out.splitlines()[:6]))
    told = "outlet 4, cap: capped; it alone decides between a capped outlet and a blocked header."
    assert f"{told} Look again: {again}" in flowed(out)
    (key,) = json.loads(dbox("diagnose", str(path), *FEW, "--json")[1])["rests_on"]
    assert (key["lead"], key["without_it"], key["look_again"]) == ("capped", "blocked", again)
    path.write_text(path.read_text().replace(', cap = "capped"', ""))
    assert "RESTS ON ONE LOOK" not in dbox("diagnose", str(path), *FEW)[1]


def with_ports(tmp_path, *words):
    path = tmp_path / "ports.toml"
    rows = ", ".join(f'{{evidence = {{port = "{word}", mouth = "dry"}}}}' for word in words)
    path.write_text(SEEN[: SEEN.index("outlet =")] + f"outlet = [{rows}]\n")
    return str(path)


def test_what_is_so_at_every_outlet_is_told_once_as_what_it_is(dbox, tmp_path):
    """Four dry ports are no sign against the line of one outlet."""
    causes = json.loads(dbox("diagnose", with_ports(tmp_path, *["dry"] * 4), "--json")[1])["causes"]
    told = [
        reason for c in causes for head in ("for", "against", "fits_badly") for reason in c[head]
    ]
    assert any(reason == "every outlet, port of the line: dry" for reason in told)
    assert not any(reason.startswith("outlet") and ", port" in reason for reason in told)
    assert all(len({*c["for"], *c["against"]}) == len(c["for"] + c["against"]) for c in causes)


def test_nothing_is_advised_while_no_cause_stands_out(dbox, tmp_path):
    path = with_ports(tmp_path, "dry", "dry", "dry", "below the pipe")
    code, out, _ = dbox("diagnose", path, *FEW)
    assert code == 0
    assert "NOTHING STANDS OUT YET" in out.splitlines()[2]
    assert "LOOK FIRST: no cause has 30 %" in out
    assert "WHAT TO DO" not in out


def test_a_cause_split_over_outlets_is_summed(dbox, tmp_path):
    path = with_ports(tmp_path, "dry", "dry", "dry", "dry")
    answer = json.loads(dbox("diagnose", path, "--json", *FEW)[1])
    split = {each["cause"]: each for each in answer["summed"]}
    alone = [c["probability"] for c in answer["causes"] if c["cause"] == "deposit"]
    assert split["deposit"]["probability"] == pytest.approx(sum(alone), abs=0.01 * len(alone))
    out = flowed(dbox("diagnose", path, *FEW)[1])
    assert "deposit or root on a lip, outlet not known: " in out
    assert "by outlet: " in out


def test_a_box_off_level_is_told_from_one_that_is_tilted(dbox, tmp_path):
    """Four lips 1/8 in apart, nothing else seen; the shipped wet line leans."""
    path = tmp_path / "lean.toml"
    rows = ", ".join(f'{{reading = "{reading} in"}}' for reading in ("1/8", "1/8", "0", "0"))
    path.write_text(SEEN[: SEEN.index("outlet =")] + f"outlet = [{rows}]\n")
    out = flowed(dbox("diagnose", str(path), *FEW)[1])
    assert "The lips are off level by 1/8 in (3.2 mm), which may not be the trouble." in out
    assert "which is the likely trouble" not in out
    leans = flowed(dbox("diagnose", "wet-line")[1])
    assert "across its outlets, which is the likely trouble." in leans


def test_looks_tell_minutes_and_causes_and_bits_only_in_json(dbox):
    out = dbox("diagnose", "off-level", *FEW)[1]
    assert " bit" not in out
    assert "would tell " in out
    looks = json.loads(dbox("diagnose", "off-level", "--json", *FEW)[1])["next_tests"]
    assert len(looks) > 5
    assert {look["step"] for look in looks} <= {"before", "open", "water"}
    assert all(look["would_tell"].startswith("would tell ") for look in looks)


def test_placeholders_of_a_new_file_are_no_readings(dbox, tmp_path):
    path = tmp_path / "new.toml"
    dbox("new", str(path))
    code, out, _ = dbox("diagnose", str(path))
    assert code == 0
    assert "Nothing was seen yet" in out
    assert "the readings of the file are placeholders: they are not used" in flowed(out)


def test_questions_make_a_new_file_and_a_diagnosis(dbox, contradicting, typing, tmp_path):
    typing("distribution box", "?", "pumpp", "pump", "undo", "gravity", "", "", "90 days", "")
    code, out, err = dbox("diagnose", contradicting, "--ask")
    assert (code, err) == (0, "")
    made = tmp_path / "job-seen.toml"
    assert f"wrote {made}" in out
    assert 'evidence.feed is "pumpp"; did you mean pump?' in out
    assert "taken back" in out
    text = made.read_text()
    assert 'system = "distribution box"' in text
    assert 'feed = "gravity"' in text
    assert "ranked, none is announced" in out
    assert (tmp_path / "job.toml").read_text() == SEEN
    assert max(map(len, out.splitlines())) <= 72 + len(str(tmp_path))


def test_an_answer_is_given_anew_by_the_name_of_its_question(dbox, contradicting, typing, tmp_path):
    lines = ["serial", "pump", "correct fed", "correct feed", "gravity", "winter", "correct feed"]
    typing(*lines, "pump", "undo", "undo")
    _, out, _ = dbox("diagnose", contradicting, "--ask")
    assert '! that is "correct fed"; write the name of a question answered before' in out
    assert "feed (Enter: pump) >" in out
    assert out.rindex("feed (Enter: gravity) >") < out.rindex("rain >")
    text = (tmp_path / "job-seen.toml").read_text()
    assert 'feed = "gravity"' in text
    assert 'season = "winter"' in text


def test_every_question_says_how_to_look_and_takes_that_nobody_did(dbox, contradicting, typing):
    asked = ["?", "idk"] * 60
    typing(*asked)
    out = " ".join(dbox("diagnose", str(contradicting), "--ask", "--draws", "20")[1].split())
    assert out.count("How: ") > 30
    assert "! that" not in out
    assert "Nothing was added to" in out


def test_the_questions_never_overwrite(dbox, contradicting, typing, tmp_path):
    (tmp_path / "job-seen.toml").write_text("mine")
    typing("serial")
    _, out, _ = dbox("diagnose", contradicting, "--ask")
    assert (tmp_path / "job-seen.toml").read_text() == "mine"
    assert 'system = "serial"' in (tmp_path / "job-seen-2.toml").read_text()
    assert "serial by design" in flowed(out)


def test_an_interrupt_keeps_what_was_typed(dbox, contradicting, monkeypatch, tmp_path):
    answers = iter(["serial\n"])

    class Stdin:
        def readline(self, _=-1):
            try:
                return next(answers)
            except StopIteration:
                raise KeyboardInterrupt from None

    monkeypatch.setattr("sys.stdin", Stdin())
    code, out, _ = dbox("diagnose", contradicting, "--ask")
    assert code == 0
    assert "every answer so far is kept" in out
    assert 'system = "serial"' in (tmp_path / "job-seen.toml").read_text()


def test_nothing_typed_makes_no_file(dbox, contradicting, typing, tmp_path):
    typing("", "")
    assert "Nothing was added" in dbox("diagnose", contradicting, "--ask")[1]
    assert [path.name for path in tmp_path.iterdir()] == ["job.toml"]


def test_questions_leave_stdout_to_json(dbox, contradicting, typing):
    typing("serial")
    _, out, err = dbox("diagnose", contradicting, "--ask", "--json")
    assert json.loads(out)["normal"][0]["state"] == "explains"
    assert "system > " in err


def test_a_shipped_case_is_written_where_one_stands(dbox, typing, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    typing("", "pump")
    dbox("diagnose", "wet-line", "--ask")
    assert 'feed = "pump"' in (tmp_path / "wet-line-seen.toml").read_text()


def test_bad_input_exits_2(dbox, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(SEEN + "priors = {tlit = 3}\n")
    code, out, err = dbox("diagnose", str(path))
    assert (code, out) == (2, "")
    assert "priors.tlit is no cause; did you mean tilt?" in err
    path.write_text(SEEN.replace('mouth = "full"', 'mouth = "ful"'))
    assert "outlet[4].evidence.mouth" in dbox("diagnose", str(path))[2]
    assert dbox("diagnose", "no-such")[0] == 2
    assert dbox("diagnose", "wet-line", "--draws", "5")[0] == 2


def test_priors_of_nothing_are_refused_with_the_name_of_the_file(dbox, tmp_path):
    from dbox.fieldwork.diagnosis.causes import KEYS

    path = tmp_path / "job.toml"
    path.write_text(SEEN + "[priors]\n" + "".join(f"{key} = 0\n" for key in KEYS))
    code, _, err = dbox("diagnose", str(path))
    assert code == 2
    assert f"{path}: every cause has a prior of 0" in err
