"""The questions that make a scenario: their order, their checks, and the file they lead to."""

import tomllib

import pytest

from dbox import Circle
from dbox.errors import ScenarioError
from dbox.files.box_interview import check, keys_asked, next_key, outlet_named, scenario_text
from dbox.files.scenario import loads

INCH = 0.0254

FULL = {
    "units": "in", "title": "Field \"north\"", "outlets": "3", "capped": "2",
    "hole": "circle 1-3/4 in", "offset": "1/2", "clock 1": "6:00", "clock 3": "7:30",
    "inside": "16 in x 20 in", "place 1": "4, 0", "place 2": "16 in, 10 in", "place 3": "",
    "point": "lip", "spread": "1/32", "tolerance": "10 %", "source": "permit 7",
}  # fmt: skip


def asked_in_order(typed: dict[str, str]) -> list[str]:
    """Answer every question from `typed`, with Enter where it says nothing."""
    answers: dict[str, str] = {}
    while (key := next_key(answers)) is not None:
        answers[key] = check(key, typed.get(key, ""), answers)
    return list(answers)


def test_questions_come_in_the_order_one_meets_them():
    assert asked_in_order(FULL) == [*FULL, "write"]


def test_what_does_not_apply_is_not_asked():
    order = asked_in_order({"outlets": "2", "hole": "notch 90 deg"})
    assert order == ["units", "title", "outlets", "capped", "hole", "inside", "point", "spread",
                     "tolerance", "write"]  # fmt: skip
    fixed = asked_in_order({"outlets": "2", "hole": "circle 2", "offset": "cannot be turned"})
    assert not any(key.startswith(("clock", "place")) for key in fixed)


def test_the_scenario_says_what_was_said():
    text = scenario_text(FULL)
    assert 'diameter = "1-3/4 in"' in text
    assert all(len(line) <= 72 for line in text.splitlines())
    site = loads(text)
    assert site.title == 'Field "north"'
    assert [o.label for o in site.outlets] == ["1", "2", "3"]
    assert [o.capped for o in site.outlets] == [False, True, False]
    assert [o.clock for o in site.outlets] == [0.0, None, pytest.approx(0.7853981634)]
    assert site.outlets[0].opening == Circle(1.75 * INCH)
    assert site.outlets[0].hole_offset == pytest.approx(0.5 * INCH)
    assert site.outlets[0].position == pytest.approx((4 * INCH, 0))
    assert site.outlets[2].position is None
    assert site.spread == pytest.approx(INCH / 32)
    assert (site.tolerance.share, site.tolerance.source) == (pytest.approx(0.1), "permit 7")
    assert [flow.name for flow in site.flows] == [
        "trickle (default)", "bucket (default)", "dose (default)"]  # fmt: skip


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
        ("hole", "", "needed"),
        ("hole", "round 2 in", "circle"),
        ("hole", "circle 13/16/2", "fraction"),
        ("hole", "circle 2 gal", "a length is wanted"),
        ("offset", "", "needed"),
        ("offset", "3 m", "between 0 and 150 mm"),
        ("clock 1", "25:00", "clock position"),
        ("inside", "1 x 2 x 3", "one diameter"),
        ("place 1", "16 in", "along and across"),
        ("place 1", "90, 90", "outside the box"),
        ("point", "bottom", "lip, centre or top"),
        ("spread", "0", "above 0"),
        ("tolerance", "10", "unit"),
        ("tolerance", "0 %", "above 0 %"),
        ("write", "maybe", "press Enter"),
        ("title", "x" * 500, "within 200"),
    ],
)
def test_an_answer_that_cannot_be_is_refused_at_once(key, typed, mend):
    before = {k: FULL[k] for k in list(FULL)[: list(keys_asked(FULL)).index(key)]}
    with pytest.raises(ScenarioError, match=mend):
        check(key, typed, before)


@pytest.mark.parametrize("word", ["", "yes", "Y", "ok", "done"])
def test_the_scenario_is_written_at_any_word_for_yes(word):
    assert check("write", word, FULL) == "yes"


def test_the_first_clock_must_be_given_and_the_next_may_be_the_same():
    before = {k: FULL[k] for k in ("units", "title", "outlets", "capped", "hole", "offset")}
    with pytest.raises(ScenarioError, match="skip"):
        check("clock 1", "", before)
    assert check("clock 3", "", {**before, "clock 1": "6:30"}) == "6:30"


def test_a_label_goes_before_a_number():
    assert outlet_named("2", ["2", "1"]) == 0
    assert outlet_named("North", ["east", "north"]) == 1
    with pytest.raises(ScenarioError, match="east, north"):
        outlet_named("3", ["east", "north"])
