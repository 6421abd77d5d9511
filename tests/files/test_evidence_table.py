"""`[evidence]` of a box and of an outlet, and `[priors]`: what is read, what is refused and how."""

import pytest

from dbox.errors import ScenarioError
from dbox.fieldwork.diagnosis.causes import CAUSES, KEYS, index_of
from dbox.fieldwork.diagnosis.next_look import Look
from dbox.fieldwork.evidence import (
    OUTLET_WORDS,
    PLACES,
    WORDED,
    WORDS,
    Evidence,
    OutletEvidence,
    Prior,
    Sign,
)
from dbox.fieldwork.site import Site
from dbox.files.evidence_interview import answered, labels_of, queries, said
from dbox.files.evidence_words import parting_words
from dbox.files.scenario import loads
from dbox.files.toml_file import toml_text

INCH = 0.0254
BOX = {
    "units": "in",
    "insert": {"kind": "circle", "diameter": 2},
    "outlet": [{"reading": 0}, {"label": "ditch side"}, {"label": "4"}],
}


def site(whole: dict | None = None, outlet: dict | None = None, **more: object) -> Site:
    """The box with evidence on the whole of it and on its second outlet."""
    first, second, third = BOX["outlet"]
    outlets = [first, second if outlet is None else {**second, "evidence": outlet}, third]
    tables = {} if whole is None else {"evidence": whole}
    return loads(toml_text({**BOX, "outlet": outlets, **tables, **more}), "five.toml")


def faults(*arguments: object, **more: object) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        site(*arguments, **more)
    return [fault.removeprefix("five.toml: ") for fault in caught.value.faults]


@pytest.mark.parametrize("name", WORDS)
def test_every_word_of_the_whole_comes_back_however_it_is_spelled(name: str) -> None:
    for word in WORDS[name]:
        assert site({name: word}).evidence == Evidence(**{name: word})
        assert site({name: word.upper().replace(" ", "-")}).evidence == Evidence(**{name: word})


@pytest.mark.parametrize("name", OUTLET_WORDS)
def test_every_word_of_an_outlet_comes_back(name: str) -> None:
    for word in OUTLET_WORDS[name]:
        seen = site(outlet={name: word}).evidence
        assert seen.outlets == (OutletEvidence(), OutletEvidence(**{name: word}), OutletEvidence())


def test_quantities_arrive_in_si() -> None:
    whole = {"since_use": "1 h 30 min", "since": "60 days", "daily_flow": "300 gal/day",
             "rim_slope": ["1 %", "-1/8 in/ft"], "photos": ["a.jpg", "b.jpg"]}  # fmt: skip
    seen = site(whole).evidence
    assert seen.since_use == 5400
    assert seen.since == 60 * 86400
    assert seen.daily_flow == pytest.approx(300 * 231 * INCH**3 / 86400)
    assert seen.rim_slope == pytest.approx((0.01, -1 / 96))
    assert seen.photos == ("a.jpg", "b.jpg")
    outlet = {"rod": "belly", "rod_distance": "6 ft", "at_rest": "-1/8", "port_water": -1}
    mine = site(outlet=outlet).evidence.outlets[1]
    assert mine.rod_distance == pytest.approx(72 * INCH)
    assert mine.at_rest == pytest.approx(-INCH / 8)
    assert mine.port_water == pytest.approx(-INCH)


def test_nothing_there_differs_from_not_looked_at() -> None:
    assert site().evidence == Evidence()
    assert site({}, {}).evidence == Evidence()
    for written in ([], "none"):
        walked = site(outlet={"ground": written}).evidence
        assert walked.outlets[1].ground == ()
        assert walked.outlets[0].ground is None
    assert site({"sludge": "none"}).evidence.sludge == "none"
    assert site().evidence.sludge is None


def test_wet_places_are_kept_in_order_and_once() -> None:
    seen = site(outlet={"ground": ["End", "head", "end"]}).evidence.outlets[1]
    assert seen.ground == ("end", "head")
    assert [site(outlet={"ground": p}).evidence.outlets[1].ground for p in PLACES] == [
        (p,) for p in PLACES
    ]


def test_two_depths_of_a_port_are_water_over_its_pipe() -> None:
    """29 in to the water and 30 in to the pipe: an inch of water in it; the port has its word."""
    seen = site(outlet={"port_water": ["29 in", "30 in"]}).evidence.outlets[1]
    assert seen.port_water == pytest.approx(INCH)
    assert seen.port == "to the pipe"
    below = site(outlet={"port_water": "-3 in"}).evidence.outlets[1]
    assert below.port == "below the pipe"


def test_chances_of_words_are_read_by_kind_and_cause() -> None:
    read = site(signs={"lip": {"full": [1, 3], "usual": [9, 1]}, "rod": {"deposit": [1, 1, 1, 1]}})
    assert read.signs == (
        Sign("lip", "full", (0.25, 0.75)), Sign("lip", "usual", (0.9, 0.1)),
        Sign("rod", "deposit", (0.25,) * 4),
    )  # fmt: skip
    told = faults(signs={"lipp": {}, "lip": {"ful": [1, 1], "full": [1], "deposit": [0, 1]}})
    assert told == [
        "signs.lipp has no chances of its own; did you mean lip?",
        "signs.lip.ful is no cause; did you mean full?",
        "signs.lip.full is a list; write a number above 0 for each of clean, deposit",
        "signs.lip.deposit is a list; write a number above 0 for each of clean, deposit",
    ]


def test_priors_are_read_by_cause() -> None:
    assert site(priors={"tilt_full": 3, "two_causes": 0}).priors == (
        Prior("tilt_full", 3), Prior("two_causes", 0))  # fmt: skip
    assert site(priors={"tilt": 20, "full": 0}).priors == (Prior("tilt", 20), Prior("full", 0))
    assert {p.cause for p in site(priors=dict.fromkeys(KEYS, 1.5)).priors} == set(KEYS)
    assert site().priors == ()


@pytest.mark.parametrize(
    ("table", "written", "fault"),
    [
        ("whole", {"system": "serail"}, 'evidence.system is "serail"; did you mean serial?'),
        ("whole", {"meter": True}, "evidence.meter is true; use still or turning"),
        ("whole", {"since_use": "8"}, 'evidence.since_use is "8"; give its unit'),
        ("whole", {"since": "-3 days"}, 'evidence.since is "-3 days"'),
        ("whole", {"since_use": "3000 days"}, "water was last used up to a year ago"),
        ("whole", {"since": "30000 days"}, "trouble has been known for up to 50 years"),
        ("whole", {"daily_flow": "300 gal"}, 'evidence.daily_flow is "300 gal"'),
        ("whole", {"daily_flow": "500 L/s"}, "a house sends between 1 L and 100 m3 a day"),
        ("whole", {"rim_slope": "1 %"}, "write the rises along and across"),
        ("whole", {"rim_slope": ["1 %", "9"]}, 'evidence.rim_slope[2] is "9"'),
        ("whole", {"rim_slope": ["90 %", "1 %"]}, "a rim rises by 50 % at most"),
        ("whole", {"photos": [3]}, "evidence.photos is 3; write text in quotes"),
        ("whole", {"photos": ["a"] * 101}, "is a list of 101; write 100 at most"),
        ("whole", {"stian": "high"}, "unknown key evidence.stian; did you mean stain?"),
        ("outlet", {"mouth": "ful"}, '.mouth is "ful"; did you mean full?'),
        ("outlet", {"ground": ["head", "hed"]}, '.ground[2] is "hed"; did you mean head?'),
        (
            "outlet",
            {"ground": "everywhere"},
            '.ground is "everywhere"; use over the pipe, head, middle',
        ),
        ("outlet", {"rod_distance": "2 km"}, '.rod_distance is "2 km"'),
        ("outlet", {"rod_distance": "-1 ft"}, "a rod stops between 0 and 300 m from the box"),
        ("outlet", {"at_rest": "2 m"}, "a reading at a box is less than 1 m from the water"),
        ("outlet", {"port_water": "6 m"}, "less than 5 m from the bottom of the pipe"),
        ("outlet", {"port_water": ["3 in"]}, "is a list of 1; write the depths to the water"),
        (
            "outlet",
            {"port": "dry", "port_water": "2 in"},
            '.port is "dry", but its port_water lies over',
        ),
        ("outlet", {"port": "to the pipe", "port_water": "-2 in"}, "keep the one that is right"),
        ("outlet", {"mouht": "dry"}, "did you mean mouth?"),
        ("priors", {"tlit": 3}, "priors.tlit is no cause; did you mean tilt?"),
        ("priors", {"tilt": -1}, "priors.tilt is -1; a weight is between 0 and 1,000,000"),
        ("priors", {"tilt": "often"}, 'priors.tilt is "often"'),
        ("priors", 3, "priors is 3; write [priors] and under it causes, as tilt = 20"),
    ],
)
def test_what_is_wrong_is_told_with_its_place(table: str, written: object, fault: str) -> None:
    (told,) = faults(**{table: written})
    assert fault in told
    place = {"whole": "evidence.", "outlet": "outlet[2].evidence.", "priors": "priors"}[table]
    assert told.removeprefix("unknown key ").startswith(place)


def test_all_faults_are_told_at_once() -> None:
    told = faults({"meter": "x"}, {"mouth": "y"}, priors={"a": 1, "tilt": -1})
    assert len(told) == 4


def query(key: str, kind: str) -> object:
    return next(q for q in queries(BOX, 0) if (q.key, q.kind) == (key, kind))


@pytest.mark.parametrize(
    ("typed", "seen"),
    [
        ("full", ["full"] * 3),
        ("4 full, others dry", ["dry", "dry", "full"]),
        ("ditch side: part full", [None, "part full", None]),
        ("dry, -, full", ["dry", None, "full"]),
        ("all dry; 1 full", ["full", "dry", "dry"]),
    ],
)
def test_one_line_answers_for_every_outlet(typed: str, seen: list) -> None:
    told = answered(BOX, query("mouth", "each"), typed)
    found = loads(toml_text(told)).evidence
    assert [found.of_outlet(i).mouth for i in range(3)] == seen
    assert labels_of(told) == ["1", "ditch side", "4"]
    assert "evidence" not in BOX["outlet"][0]


def test_an_outlet_that_nothing_is_said_of_gets_no_table() -> None:
    told = answered(BOX, query("mouth", "each"), "4 full")
    assert ["evidence" in outlet for outlet in told["outlet"]] == [False, False, True]


def test_an_answer_is_taken_out_again() -> None:
    asked = query("sludge", "whole")
    told = answered(BOX, asked, "none")
    assert said(told, asked) == "none"
    assert said(answered(told, asked, "-"), asked) == ""


@pytest.mark.parametrize("typed", ["dry, full", "4 full, dry", "ful", "5 full"])
def test_an_answer_that_cannot_be_is_refused(typed: str) -> None:
    with pytest.raises(ScenarioError):
        answered(BOX, query("mouth", "each"), typed)


def test_a_fault_of_one_answer_for_every_outlet_is_told_once() -> None:
    with pytest.raises(ScenarioError) as caught:
        answered(BOX, query("mouth", "each"), "5 full")
    assert caught.value.faults == ('mouth is "5 full"; did you mean full?',)
    with pytest.raises(ScenarioError) as caught:
        answered(BOX, query("mouth", "each"), "1 dry, 4 ful, others fll")
    assert [fault.partition(" is ")[0] for fault in caught.value.faults] == [
        "outlet ditch side, mouth", "outlet 4, mouth"
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("key", "kind", "typed", "told"),
    [
        ("since_use", "whole", "8", 'since use is "8"; give its unit, as "8 h"'),
        ("rim_slope", "whole", "1 %", 'rim slope is "1 %"; write the rises along and across, as '
         "0 %, 1/8 in/ft"),
        ("port_water", "each", "4 1 in and 2 in and 3 in", "outlet 4, port water is "
         '"4 1 in and 2 in and 3 in"; write the depths to the water and to the bottom of the pipe, '
         "as 31 in and 30 in"),
        ("ground", "each", "1 head and hed, 4 hed, others dry", "outlets 1 and 4, ground is "
         '"hed"; did you mean head?'),
        ("flow", "pour", "5", 'pour 1 flow is "5"; give its unit, as "5 gpm"'),
    ],
)  # fmt: skip
def test_a_refusal_speaks_in_the_words_of_the_question(key, kind, typed, told) -> None:
    with pytest.raises(ScenarioError) as caught:
        answered(BOX, query(key, kind), typed)
    assert caught.value.faults == (told,)


def test_two_answers_that_cannot_both_be_name_both_questions() -> None:
    before = answered(BOX, query("port", "each"), "4 dry")
    with pytest.raises(ScenarioError, match=r"outlet 4, port is .*, but its port water lies over"):
        answered(before, query("port_water", "each"), "4 1 in")


def test_every_two_causes_can_be_told_apart_in_words() -> None:
    box, kind = site(), WORDED["stain"]

    def told(*parts: tuple[tuple[int, int], ...]) -> str:
        return parting_words(box, Look(kind=kind, outlet=-1, bits=1.0, minutes=1.0, parts=parts))

    words = {told(((0, -1),), ((cause, 1),)) for cause in range(1, len(CAUSES))}
    assert len(words) == len(CAUSES) - 1
    full, blocked, tilt = index_of("full", "blocked", "tilt")
    assert told(((full, 1),), ((blocked, 1),)) == "would tell a full trench from a blocked header"
    assert told(((full, 1),), ((full, 2),)) == "would tell outlet ditch side from outlet 4"
    both = ((tilt, -1), (full, 1))
    assert told(both, ((tilt, -1),)).endswith("a full trench comes on top of a tilted box")
    assert told(both, ((tilt, -1), (blocked, 1))) == told(((full, 1),), ((blocked, 1),))
    assert told() == ""


def test_no_two_questions_have_one_name() -> None:
    names = [q.name for q in queries({**BOX, "pour": [{"name": "a"}, {"name": "b"}]}, 0)]
    assert sorted(names) == sorted(set(names))
    assert {"at rest", "at rest by outlet", "pour 2 flow"} <= set(names)


def test_pours_are_asked_for_until_there_are_no_more() -> None:
    def flows(told: dict) -> list:
        return [q for q in queries(told, 0) if q.kind == "pour"]

    assert [q.key for q in flows(BOX)] == ["flow"]
    assert answered(BOX, flows(BOX)[0], "-") == BOX
    told = answered(BOX, flows(BOX)[0], "5 gal in 60 s")
    assert loads(toml_text(answered(told, flows(told)[0], "-"))).pours == ()
    assert [q.key for q in flows(told)] == ["flow", "order", "catch", "flow"]
    told = answered(told, flows(told)[1], "4, Ditch side")
    told = answered(told, flows(told)[2], "4 1.2 L in 30 s, 1 dry")
    (pour,) = loads(toml_text(told)).pours
    assert pour.order == (2, 1)
    assert pour.catches == (0.0, None, pytest.approx(4e-5))
