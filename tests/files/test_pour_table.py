"""`[[pour]]` in a scenario: what is read, and what is refused with its place, value and mend."""

import pytest

from dbox.errors import ScenarioError
from dbox.fieldwork.site import DEFAULT_ERROR, Pour
from dbox.files.pour_keys import read_catch
from dbox.files.scenario import loads, resolve, shipped_names
from dbox.files.typed import with_typed_pours

GALLON = 231 * 0.0254**3
LITRE = 1e-3

BOX = """
units = "in"
insert = {kind = "circle", diameter = 2}
outlet = [{reading = 0}, {reading = "1/8"}, {label = "ditch side", reading = 0},
          {label = "4", state = "capped"}]
"""


def pours(text: str) -> tuple[Pour, ...]:
    return loads(BOX + text, "five.toml").pours


def faults(text: str) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        pours(text)
    return [fault.removeprefix("five.toml: ") for fault in caught.value.faults]


def test_a_pour_is_read_in_full() -> None:
    (pour,) = pours("""
[[pour]]
name = "fast"
volume = "5 gal"
time = "1 min"
jug = "1 qt"
error = "8 %"
order = ["2", "Ditch side"]
[pour.catch]
1 = "1.2 L in 30 s"
2 = "14 s"
"ditch side" = "dry"
""")
    assert pour.name == "fast"
    assert pour.volume == pytest.approx(5 * GALLON)
    assert pour.inflow == pytest.approx(5 * GALLON / 60)
    assert pour.jug == pytest.approx(GALLON / 4)
    assert pour.error == pytest.approx(0.08)
    assert pour.order == (1, 2)
    assert pour.catches == (
        pytest.approx(1.2 * LITRE / 30),
        pytest.approx(GALLON / 4 / 14),
        0.0,
        None,
    )
    assert pour.done


def test_a_planned_pour_needs_a_flow_only() -> None:
    (pour,) = pours('[[pour]]\nflow = "5 gpm"')
    assert pour.inflow == pytest.approx(5 * GALLON / 60)
    assert (pour.name, pour.error, pour.catches, pour.order) == ("1", DEFAULT_ERROR, (), ())
    assert pour.volume is None
    assert pour.jug is None
    assert not pour.done


def test_a_flow_may_have_its_volume_too() -> None:
    (pour,) = pours('[[pour]]\nflow = "5 gpm"\nvolume = "10 gal"')
    assert pour.volume == pytest.approx(10 * GALLON)


def test_what_was_not_caught_is_missing_and_not_zero() -> None:
    (pour,) = pours('[[pour]]\nflow = "5 gpm"\ncatch = {1 = "0 L in 30 s"}')
    assert pour.catches == (0.0, None, None, None)


def test_no_pours_are_no_pours() -> None:
    assert pours("") == ()


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (
            'volume = "5 gal"',
            'pour[1] has no flow; add volume = "5 gal" and time = "60 s", or flow',
        ),
        ('flow = "5 gpm"\ntime = "60 s"', "pour[1] has flow and time; keep one of them"),
        ('flow = "5"', 'pour[1].flow is "5"; give its unit, as "5 gpm"'),
        ('volume = "5 s"\ntime = "60 s"', 'pour[1].volume is "5 s", a time; a volume is wanted'),
        ('volume = "5 gal"\ntime = 60', "pour[1].time is 60; give its unit"),
        ('volume = "90 m3"\ntime = "2 s"', "pour[1]: volume over time is a flow of 2.7e+06 L/min"),
        ('flow = "5 gpm"\njug = "1 mL"', 'pour[1].jug is "1 mL"; a jug holds between'),
        ('flow = "5 gpm"\nerror = "80 %"', 'pour[1].error is "80 %"; the error of a timed catch'),
        ('flow = "5 gpm"\ncatch = {1 = "14 s"}', "pour[1].catch.1 is a time without a volume"),
        (
            'flow = "5 gpm"\ncatch = {1 = "14"}',
            'pour[1].catch.1 is "14"; give its unit, as "5 gpm"; a catch is "1.2 L in 30 s"',
        ),
        ('flow = "5 gpm"\ncatch = {1 = 14}', "pour[1].catch.1 is 14; give its unit"),
        (
            'flow = "5 gpm"\ncatch = {1 = "-1 L in 3 s"}',
            'pour[1].catch.1 is "-1 L in 3 s"; a flow cannot be below 0',
        ),
        ('flow = "5 gpm"\ncatch = {9 = "dry"}', "pour[1].catch.9: there is no outlet"),
        (
            'flow = "5 gpm"\ncatch = {"dich side" = "dry"}',
            'pour[1].catch."dich side": there is no outlet "dich side"; did you mean ditch side?',
        ),
        ('flow = "5 gpm"\ncatch = {4 = "dry"}', "pour[1].catch.4 is a catch at a capped outlet"),
        (
            'flow = "5 gpm"\ncatch = {"ditch side" = "dry", "DITCH SIDE" = "dry"}',
            'pour[1].catch."DITCH SIDE" is there twice, in other letters',
        ),
        (
            'flow = "5 gpm"\ncatch = {"1" = "dry", " 1" = "1 L in 30 s"}',
            'pour[1].catch." 1" has a name that is there already',
        ),
        ('flow = "5 gpm"\ncatch = "1 L"', 'pour[1].catch is "1 L"; write [pour.catch]'),
        ('flow = "5 gpm"\norder = ["1", "1"]', "pour[1].order names an outlet twice"),
        ('flow = "5 gpm"\norder = ["4"]', 'pour[1].order names outlet "4", which is capped'),
        ('flow = "5 gpm"\norder = ["7"]', 'pour[1].order: there is no outlet "7"; use 1, 2,'),
        ('flow = "5 gpm"\norder = "1"', 'pour[1].order is "1"; write a list of labels'),
        ('flow = "5 gpm"\njugs = "1 qt"', "unknown key pour[1].jugs; did you mean jug?"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(text: str, fault: str) -> None:
    (told,) = faults(f"[[pour]]\n{text}")
    assert told.startswith(fault)


def test_every_fault_is_told_at_once_and_none_twice() -> None:
    told = faults("""
[[pour]]
volume = "5 gallions"
time = "60 s"
jug = "1 jar"
catch = {1 = "14 s", 2 = "x"}
[[pour]]
name = "1"
""")
    assert [fault.split(" ")[0] for fault in told] == [
        "pour[1].volume",
        "pour[1].jug",
        "pour[1].catch.2",
        "pour[2].name",
        "pour[2]",
    ]


def test_too_many_pours_are_refused() -> None:
    assert faults('[[pour]]\nflow = "5 gpm"\n' * 101) == ["there are 101 pours; write at most 100"]


@pytest.mark.parametrize("text", ["", "dry up", "1.2 L", "30", "1.2 L in 0 s", "nan", "14 gal s"])
def test_what_is_no_catch_is_refused(text: str) -> None:
    with pytest.raises(ScenarioError):
        read_catch(text)


def test_typed_pours_take_the_place_of_the_files() -> None:
    site = loads(BOX + '[[pour]]\nflow = "5 gpm"')
    typed = with_typed_pours(site, ["5 gal in 60 s", "1.5 gpm"], "1 qt", "10 %").pours
    assert [pour.name for pour in typed] == ["5 gal in 60 s", "1.5 gpm"]
    assert typed[0].volume == pytest.approx(5 * GALLON)
    assert typed[1].volume is None
    assert all(pour.jug == pytest.approx(GALLON / 4) and pour.error == 0.1 for pour in typed)
    assert with_typed_pours(site, []).pours == site.pours


def test_without_any_pour_the_flows_are_planned() -> None:
    site = loads(BOX + '[flows]\nday = "2 L/min"')
    assert [(p.name, p.inflow) for p in with_typed_pours(site, []).pours] == [
        ("day", pytest.approx(2 * LITRE / 60))
    ]


def test_typed_words_that_cannot_be_are_told_together() -> None:
    with pytest.raises(ScenarioError) as caught:
        with_typed_pours(loads(BOX), ["5 gal", "5 gpm"], "1 jar", "200 %")
    assert [fault.split(" ")[0] for fault in caught.value.faults] == ["--flow", "--jug", "--error"]


def test_the_shipped_pour_test_is_invented_and_complete() -> None:
    assert "pour-test" in shipped_names()
    text = resolve("pour-test").read_text(encoding="utf-8")
    assert text.startswith("# INVENTED DATA")
    slow, fast = loads(text).pours
    assert None not in slow.catches + fast.catches
