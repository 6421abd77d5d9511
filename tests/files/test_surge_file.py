"""What stands before the box and behind it, from a scenario file or a command line."""

import math

import pytest

from dbox.errors import ScenarioError
from dbox.fieldwork.site import Works
from dbox.files.scenario import load, loads, resolve
from dbox.files.scenario_tables import read_acceptance as acceptance
from dbox.files.scenario_tables import read_curve as curve
from dbox.files.scenario_tables import read_people as people
from dbox.files.scenario_tables import settling, some_volume
from dbox.files.typed import run_time, typed, typed_dose

INCH, FOOT = 0.0254, 0.3048
GALLON = 231 * INCH**3

WHOLE = """
units = "in"
insert = {kind = "circle", diameter = 2, header_fall = "1 %"}
outlet = [
    {reading = 0, line_length = "60 ft"},
    {reading = 0, line_area = "120 ft2", trench = {soil = "smeared", width = "20 in"}},
    {reading = 0, line_length = "50 ft", header = {length = "20 ft"}},
]
house = {people = 4}
tank = {inside = ["8 ft", "5 ft"], outlet = 4, filter_loss = 3, clogged = "50 %"}
supply = {length = "30 ft", diameter = 4, fall = "1/8 in/ft"}
header = {length = "10 ft", diameter = 4}
trench = {width = "30 in", depth = 20, pipe = 8, voids = "30 %", acceptance = "0.5 gal/ft2/day"}
pump = {volume = "60 gal", rate = "30 gpm", drain_back = "3 gal"}
siphon = {inside = "4 ft", diameter = 3, high = 24, low = 9}
"""


def test_every_part_of_a_file() -> None:
    works = loads(WHOLE).works
    assert works.people == 4
    assert works.tank.area == pytest.approx(40 * FOOT**2)
    assert works.tank.outlet == pytest.approx(4 * INCH)
    assert (works.tank.filter_loss, works.tank.clogged) == (3.0, 0.5)
    assert works.supply.fall == pytest.approx(1 / 96)
    assert [pipe and round(pipe.length / FOOT, 9) for pipe in works.headers] == [10, 10, 20]
    assert all(pipe and pipe.fall == pytest.approx(0.01) for pipe in works.headers)
    first, second, third = works.trenches
    assert (first.width, second.width) == pytest.approx((30 * INCH, 20 * INCH))
    # 120 ft2 of 20 in
    assert second.length == pytest.approx(72 * FOOT)
    assert (first.soil, second.soil) == ("biomat", "smeared")
    assert first.pipe_height == pytest.approx(8 * INCH)
    assert first.acceptance == pytest.approx(0.5 * GALLON / 86400 / FOOT**2)
    assert third.voids == pytest.approx(0.3)
    assert works.pump.drain_back == pytest.approx(3 * GALLON)
    assert works.siphon.area == pytest.approx(math.pi / 4 * (4 * FOOT) ** 2)


def test_nothing_said_is_nothing_known() -> None:
    plain = 'insert = {kind = "circle", diameter = "2 in"}\noutlet = [{reading = 0}]'
    assert loads(plain).works == Works()


@pytest.mark.parametrize(
    ("before", "after", "fault"),
    [
        ('outlet = 4, filter', 'filter', "tank has no outlet; add outlet ="),
        ('trench = {width = "30 in", ', "trench = {", "trench has no width; add width ="),
        (', fall = "1/8 in/ft"}', "}", "supply has no fall; add fall ="),
        ('rate = "30 gpm", ', "", 'pump has no rate; add rate = "30 gpm", or its curve'),
        ("high = 24, low = 9", "high = 9, low = 24", "siphon: a siphon needs"),
        ('"3 gal"', '"70 gal"', "pump: the pump lifts"),
        (', line_length = "60 ft"', "", "outlet[1] has no line_length; its trench needs it"),
        ("pipe = 8", "pipe = 30", "the pipe is 0.762 m over the trench's bottom"),
        ("people = 4", "people = 4.5", "house.people is 4.5; write a whole number"),
        ('"0.5 gal/ft2/day"', '"0.5 gal"', "trench.acceptance is"),
        ('"0.5 gal/ft2/day"', '"0.5 gal/ft2/year"', 'gal/ft2/year"; write a rate of the soil'),
        ('soil = "smeared"', 'soil = "smeered"', "did you mean smeared?"),
        ('"smeared", width', '"smeared", widht', "unknown key outlet[2].trench.widht"),
        ('"50 %"', '"100 %"', "a filter is clogged by 0 % to 99 %"),
        ("clogged", "cloged", "unknown key tank.cloged; did you mean clogged?"),
        ("header = {length = \"20 ft\"}", "header = 5", "outlet[3].header is 5"),
    ],
)  # fmt: skip
def test_faults_name_the_place_and_the_mend(before: str, after: str, fault: str) -> None:
    assert WHOLE.count(before) == 1
    with pytest.raises(ScenarioError) as caught:
        loads(WHOLE.replace(before, after))
    assert fault in str(caught.value)


@pytest.mark.parametrize(
    ("text", "millimetres_a_day"),
    [
        ("0.45 gal/ft2/day", 18.335),
        ("0.45 gpd/ft2", 18.335),
        ("0.45 gpd / sq ft", 18.335),
        ("0.45 gal per ft2 per day", 18.335),
        ("20 L/m2/day", 20.0),
        ("20 mm/day", 20.0),
        ("1/2 in/day", 12.7),
        ("2 cm/d", 20.0),
    ],
)
def test_acceptance_rates(text: str, millimetres_a_day: float) -> None:
    assert acceptance(text) * 86400e3 == pytest.approx(millimetres_a_day, rel=1e-4)


@pytest.mark.parametrize("text", ["", "5", "gpd/ft2", "1/0 mm/day", "-3 mm/day", 3, "9e9 mm/day"])
def test_rates_that_cannot_be_are_refused(text: object) -> None:
    with pytest.raises(ScenarioError, match=r"^is "):
        acceptance(text)


@pytest.mark.parametrize("value", [0, 101, 2.0, True, "4", None])
def test_people_are_counted_whole(value: object) -> None:
    with pytest.raises(ScenarioError, match="whole number"):
        people(value)


@pytest.mark.parametrize(
    "value",
    [5, [], [["0 gpm", "30 ft"]], [["0 gpm", "30 ft"], ["40 gpm"]],
     [["40 gpm", "15 ft"], ["0 gpm", "30 ft"]], [["0 gpm", "3 ft"], ["4 gpm", "30 ft"]]],
)  # fmt: skip
def test_curves_that_cannot_be_are_refused(value: object) -> None:
    with pytest.raises(ScenarioError, match=r"^is |^\["):
        curve(value)


def test_typed_words() -> None:
    dose = typed_dose(Works(), "60 gal at 30 gpm")
    assert dose.volume(1e6) == pytest.approx(60 * GALLON)
    assert dose.end == pytest.approx(120.0)
    assert typed_dose(loads(WHOLE).works, "Siphon").entry == "supply"
    assert typed("--volume", "5 gal", some_volume) == pytest.approx(5 * GALLON)
    assert typed("--settling", "1/4 in", settling) == pytest.approx(INCH / 4)
    assert typed("--for", "2 h", run_time) == 7200.0


@pytest.mark.parametrize(
    ("typed", "fault"),
    [
        (lambda: typed_dose(Works(), "pump"), "has no [pump]"),
        (lambda: typed_dose(Works(), "60 gal"), "--dose is"),
        (lambda: typed_dose(Works(), "60 at 30 gpm"), "--dose is"),
        (lambda: typed_dose(Works(), "60 gal at 30"), "--dose is"),
        (lambda: typed("--volume", "5", some_volume), "--volume is"),
        (lambda: typed("--settling", "9 ft", settling), "--settling is"),
        (lambda: typed("--for", "400 d", run_time), "--for is"),
    ],
)
def test_typed_words_that_cannot_be_are_refused(typed, fault: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        typed()
    assert fault in str(caught.value)


def test_the_family_has_every_part() -> None:
    works = load(resolve("family-of-four")).works
    assert all((works.people, works.tank, works.supply, works.pump, works.siphon))
    assert all(works.trenches)
    assert all(works.headers)
