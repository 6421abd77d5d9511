"""The questions that make a scenario: their order, their checks, and the file they lead to."""

import tomllib

import pytest

from dbox import Circle
from dbox.errors import ScenarioError
from dbox.files.box_interview import (
    WORDS,
    check,
    keys_asked,
    line_answers,
    next_key,
    outlet_named,
    scenario_text,
    standing,
)
from dbox.files.scenario import loads

INCH = 0.0254
GALLON = 231 * INCH**3

FULL = {
    "units": "in", "title": "Field \"north\"", "outlets": "3", "alike": "no", "capped": "2",
    "hole 1": "circle 1-3/4 in", "offset 1": "1/2", "clock 1": "6:00",
    "hole 3": "circle 2", "offset 3": "fixed",
    "inside": "16 in x 20 in", "place 1": "4, 0", "place 2": "16 in, 10 in", "place 3": "",
    "lengths": "60 ft, 60 ft, 40 ft", "target": "2, 0, 1",
    "point": "lip", "mark": "1/32", "spread": "1/32", "tolerance": "10 %", "source": "permit 7",
    "flows": "drip 0.25 gpm, 5 gal in 60 s",
}  # fmt: skip
ALIKE = {
    "units": "in", "title": "", "outlets": "3", "alike": "yes", "hole": "circle 2",
    "offset": "1/2", "clock": "6:00", "inside": "24", "direction 1": "3:00", "direction 2": "7:30",
    "direction 3": "9:00", "lengths": "", "target": "", "point": "lip", "mark": "", "spread": "",
    "tolerance": "", "flows": "",
}  # fmt: skip


def asked_in_order(typed: dict[str, str]) -> list[str]:
    """Answer every question from `typed`, with Enter where it says nothing."""
    answers: dict[str, str] = {}
    while (key := next_key(answers)) is not None:
        answers[key] = check(key, typed.get(key, ""), answers)
    return list(answers)


def test_questions_come_in_the_order_one_meets_them():
    assert asked_in_order(FULL) == [*FULL, "write"]
    assert asked_in_order(ALIKE) == [*ALIKE, "write"]


PIPES = {"inlet": "tee", "air_hole": "yes", "drop": "1-1/2", "pipes": "tamped gravel"}


@pytest.mark.parametrize(
    ("typed", "asked"),
    [
        (PIPES, list(PIPES)),
        ({**PIPES, "inlet": "straight"}, ["inlet", "drop", "pipes"]),
        ({**PIPES, "inlet": "idk"}, ["inlet", "drop", "pipes"]),
        ({}, ["inlet"]),
    ],
)
def test_a_person_is_asked_about_inlet_and_pipes_and_leaves_them_out_at_once(typed, asked):
    """A file of answers is not: those of today know nothing of these questions."""
    answers: dict[str, str] = {}
    while (key := next_key(answers, pipes=True)) is not None:
        answers[key] = check(key, {**ALIKE, **typed}.get(key, ""), answers)
    assert [key for key in answers if key in PIPES] == asked
    assert list(answers)[list(answers).index("lengths") - 1] == asked[-1]
    site = loads(scenario_text(answers))
    assert site.box.inlet == (typed.get("inlet") if typed.get("inlet") != "idk" else None)
    assert site.box.air_hole is (True if "air_hole" in asked else None)
    assert site.box.inlet_drop == (pytest.approx(1.5 * INCH) if typed else None)
    assert site.record.pipe_bed == typed.get("pipes", "")


@pytest.mark.parametrize(
    ("lengths", "typed", "by", "said"),
    [
        ("60, 60, 62", "", "equal", False),  # under 5 %: not worth asking (judgement)
        ("60, 60, 64", "", "equal", False),
        ("60, 60, 64", "equal", "equal", True),
        ("60, 60, 64", "length", "length", True),
        ("60 60 64", "2, 1, 1", "list", True),
    ],
)
def test_unequal_lines_get_equal_shares_only_where_somebody_says_so(lengths, typed, by, said):
    answers = {key: text for key, text in ALIKE.items() if key not in ("lengths", "target")}
    answers["lengths"] = check("lengths", lengths, answers)
    answers["target"] = check("target", typed, answers)
    site = loads(scenario_text(answers))
    assert (site.target.by, site.target.said) == (by, said)
    assert site.target_open is (not said and lengths.endswith("64"))


def test_what_does_not_apply_is_not_asked():
    order = asked_in_order({"outlets": "2", "hole": "notch 90 deg"})
    assert order == ["units", "title", "outlets", "alike", "hole", "inside", "lengths", "target",
                     "point", "mark", "spread", "tolerance", "flows", "write"]  # fmt: skip
    fixed = asked_in_order({"outlets": "2", "hole": "circle 2", "offset": "cannot be turned"})
    assert not any(key.startswith(("clock", "place")) for key in fixed)
    # the first place left out means that none was measured
    assert asked_in_order({**FULL, "place 1": ""}).count("place 2") == 0


def test_the_scenario_says_what_was_said():
    text = scenario_text(FULL)
    assert 'diameter = "1-3/4 in"' in text
    assert all(len(line) <= 72 for line in text.splitlines())
    site = loads(text)
    assert site.title == 'Field "north"'
    assert [o.label for o in site.outlets] == ["1", "2", "3"]
    assert [o.capped for o in site.outlets] == [False, True, False]
    assert [o.clock for o in site.outlets] == [0.0, None, None]
    assert [o.opening for o in site.outlets[::2]] == [Circle(1.75 * INCH), Circle(2 * INCH)]
    assert [o.hole_offset for o in site.outlets[::2]] == [pytest.approx(0.5 * INCH), None]
    assert [o.line_length for o in site.outlets] == pytest.approx([18.288, 18.288, 12.192])
    assert site.target.weights == (2, 0, 1)
    assert site.outlets[0].position == pytest.approx((4 * INCH, 0))
    assert site.outlets[2].position is None
    assert site.spread == pytest.approx(INCH / 32)
    assert (site.tolerance.share, site.tolerance.source) == (pytest.approx(0.1), "permit 7")
    assert {flow.name: flow.inflow for flow in site.flows} == pytest.approx(
        {"drip": 0.25 * GALLON / 60, "5 gal in 60 s": 5 * GALLON / 60}
    )


def test_directions_in_a_round_box_become_places():
    """Exact: on a circle of 12 in, the inlet at 12 o'clock and left of it, from there, at 3."""
    site = loads(scenario_text(ALIKE))
    half = 12 * 0.5**0.5
    assert [o.position for o in site.outlets] == [
        pytest.approx((along * INCH, across * INCH), abs=0.005 * INCH)
        for along, across in ((12, 0), (12 + half, 12 + half), (12, 24))
    ]
    assert loads(scenario_text({**ALIKE, "inside": "24 x 24"})).outlets[0].position is None


def test_answers_of_an_interview_begun_earlier_are_kept():
    """Version 0.1 asked which outlets are capped, then each clock and place."""
    begun = {"units": "in", "title": "", "outlets": "2", "capped": "2", "hole": "circle 2",
             "offset": "1/2", "clock 1": "7:30", "inside": "24", "place 1": "4, 0"}  # fmt: skip
    assert next_key(begun) == "alike"
    site = loads(scenario_text(begun))
    assert [o.capped for o in site.outlets] == [False, True]
    assert site.outlets[0].clock == pytest.approx(0.7853981634)
    assert site.outlets[0].position == pytest.approx((4 * INCH, 0))
    assert next_key({**begun, "write": "yes"}) is None


def test_what_is_left_out_is_not_in_the_file():
    answers = {"units": "mm", "title": "", "outlets": "north, east", "capped": "",
               "hole": "pipe 100", "inside": "400", "point": "lip", "spread": "",
               "tolerance": ""}  # fmt: skip
    document = tomllib.loads(scenario_text(answers))
    assert document == {
        "units": "mm",
        "box": {"shape": "round", "inside": ["400"]},
        "insert": {"kind": "pipe", "diameter": "100"},
        "readings": {"point": "lip"},
        "outlet": [{"label": "north"}, {"label": "east"}],
    }


@pytest.mark.parametrize(
    ("key", "typed", "mend"),
    [
        ("units", "gal", "in, mm or cm"),
        ("outlets", "", "needed"),
        ("outlets", "0", "1 to 20"),
        ("outlets", "9" * 6000, "1 to 20"),
        ("outlets", "five", "how many"),
        ("outlets", "a, A", "name of its own"),
        ("capped", "4", "the outlets are 1, 2, 3"),
        ("capped", "1, 2, 3", "leave one open"),
        ("alike", "idk", "asked outlet by outlet"),
        ("alike", "6", "yes or no"),
        ("hole 1", "", "needed"),
        ("hole 1", "none", "a pipe without an insert by its inside diameter"),
        ("hole 1", "star 2 in", "circle"),
        ("hole 1", "circle 13/16/2", "fraction"),
        ("hole 1", "circle 2 gal", "a length is wanted"),
        # a clock and an offset, typed one question too early
        ("hole 1", "6", "as circle 6"),
        ("hole 1", "1/2", "as circle 1/2"),
        ("offset 1", "", "needed"),
        ("offset 1", "yes", "write one number and its unit"),
        ("offset 1", "3 m", "between 0 and 150 mm"),
        ("clock 1", "25:00", "clock position"),
        ("clock 1", "1/2", "clock position"),
        ("inside", "1 x 2 x 3", "one diameter"),
        ("inside", "yes", "write one number"),
        ("place 1", "16 in", "along and across"),
        ("place 2", "90, 90", "outside the box"),
        ("lengths", "60, 40", "without a comma"),
        ("lengths", "6:00", "write one number"),
        ("target", "10 %", "a number for each outlet"),
        ("target", "length", "where line lengths were given"),
        ("point", "bottom", "lip, centre or top"),
        ("spread", "0", "differ by less than 10 mm"),
        ("spread", "1/2", "differ by less than 10 mm"),
        ("tolerance", "1/8 in", "a percentage is wanted"),
        ("tolerance", "0 %", "1 % to 100 %"),
        ("tolerance", "0.1", "1 % to 100 %"),
        ("source", "10 %", "in quotes"),
        ("flows", "10 %", "a flow is wanted"),
        ("flows", "5", "give its unit"),
        ("write", "maybe", "press Enter"),
        ("title", "x" * 500, "within 200"),
        ("outlets", "", "this one is needed.*As 6, or as north, east, south"),
        *(("title", word, "in quotes") for word in ("yes", "no", "in", "6", "6:00", "1/2 in")),
    ],
)
def test_an_answer_that_cannot_be_is_refused_at_once(key, typed, mend):
    before = {k: FULL[k] for k in list(FULL)[: list(keys_asked(FULL)).index(key)]}
    before |= {"lengths": ""} if key == "target" else {}
    with pytest.raises(ScenarioError, match=mend):
        check(key, typed, before)


@pytest.mark.parametrize("word", ["", "yes", "Y", "ok", "done"])
def test_the_scenario_is_written_at_any_word_for_yes(word):
    assert check("write", word, FULL) == "yes"


def test_the_first_clock_must_be_given_and_the_next_may_be_the_same():
    before = {k: FULL[k] for k in list(FULL)[:7]}
    with pytest.raises(ScenarioError, match="skip"):
        check("clock 1", "", before)
    given = {**before, "clock 1": "6:30", "hole 3": "circle 2", "offset 3": "1/2"}
    assert check("clock 3", "", given) == "6:30"
    assert check("clock 3", "idk", given) == ""


@pytest.mark.parametrize(
    ("key", "typed", "kept"),
    [
        ("units", "inches", "in"),
        ("title", '"12"', "12"),
        *(("title", word, "") for word in ("none", "skip", "N/A")),
        *(("alike", word, "no") for word in ("no", "N")),
        *(("alike", word, "yes") for word in ("", "y", "ok")),
        ("capped", "none", ""),
        *(("hole 1", typed, "circle 2 in") for typed in ("2 in circle", "circle 2 in", "2 in",
                                                        "round 2 in", "Circle  2 in")),
        ("hole 1", "1-3/4", "circle 1-3/4"),
        ("hole 1", "2,5 cm circle", "circle 2.5 cm"),
        *(("hole 1", typed, "notch 90 deg") for typed in ("notch 90", "90 deg notch", "v notch 90",
                                                         "v-notch 90 deg")),
        ("hole 1", "1 in x 2 in slot", "slot 1 in x 2 in"),
        ("hole 1", "4 in pipe", "pipe 4 in"),
        *(("offset 1", typed, "fixed") for typed in ("none", "no", "fixed", "0")),
        ("offset 1", "0,5", "0.5"),
        *(("clock 1", typed, "6:00") for typed in ("6", "6:00", "6.00", "6 o'clock")),
        ("clock 1", "6.30", "6:30"),
        ("inside", "idk", ""),
        ("lengths", "60", "60 ft, 60 ft, 60 ft"),
        ("lengths", "60, 18 m, 40,5", "60 ft, 18 m, 40.5 ft"),
        ("target", "equal", ""),
        ("target", "1 0 2", "1, 0, 2"),
        ("point", "none", "lip"),
        ("spread", "1/32", "1/32"),
        *(("tolerance", typed, "10 %") for typed in ("10", "10 %")),
        ("tolerance", "2,5", "2.5 %"),
        ("tolerance", "none", ""),
        ("source", "2026-0417", "2026-0417"),
        ("flows", "none", ""),
    ],
)  # fmt: skip
def test_answers_are_taken_as_people_type_them(key, typed, kept):
    before = {k: FULL[k] for k in list(FULL)[: list(keys_asked(FULL)).index(key)]}
    assert check(key, typed, before) == kept


def test_one_line_may_answer_for_every_outlet():
    before = {k: ALIKE[k] for k in list(ALIKE)[:8]}
    each = {f"direction {i}": at for i, at in enumerate(("3:00", "4:30", "9:00"), start=1)}
    assert line_answers("3, 4.30; 9 o'clock", before) == each
    assert line_answers("3", before) == {"direction 1": "3:00"}
    with pytest.raises(ScenarioError, match="one for each of the 3 outlets left"):
        line_answers("3, 6", before)
    with pytest.raises(ScenarioError, match="where the inlet is"):
        line_answers("12", before)
    square = {**before, "inside": "16 x 20"}
    assert line_answers("4, 0; 16, 10; 4, 20", square)["place 2"] == "16, 10"


def test_answers_to_fit_other_outlets_are_asked_for_anew():
    """Exact: going back to the outlets leaves nothing that stands in their place."""
    named = {**FULL, "outlets": "north, 3"}
    left = standing(named)
    assert named.keys() - left.keys() == {"capped", "lengths", "target"}
    assert check("outlets", "north, 3", {k: t for k, t in FULL.items() if k != "outlets"})
    assert next_key(left) == "capped"
    assert next_key({**left, "capped": ""}) == "hole north"
    assert line_answers("0,5", {**left, "capped": "", "hole north": "circle 2"}) == {
        "offset north": "0.5"}  # fmt: skip
    assert standing(FULL) == FULL


def test_every_question_says_what_it_means():
    assert all(len(WORDS["box"][key.split()[0]]["help"]) > 40 for key in [*FULL, *ALIKE])


def test_a_label_goes_before_a_number():
    assert outlet_named("2", ["2", "1"]) == 0
    assert outlet_named("North", ["east", "north"]) == 1
    with pytest.raises(ScenarioError, match="east, north"):
        outlet_named("3", ["east", "north"])
