"""`[grades]` and `[record]` of a scenario: read into SI, or refused with every fault named.

Expected values are exact, by hand from 1 in = 25.4 mm.
"""

import pytest

from dbox.errors import ScenarioError
from dbox.fieldwork.site import JobRecord
from dbox.fieldwork.survey import Limits
from dbox.files.scenario import loads
from dbox.hydraulics.pipes import PLASTIC_ROUGHNESS

INCH = 0.0254
FOOT = 12 * INCH
HEAD = """
units = "in"
insert = {kind = "circle", diameter = 2}
outlet = [{label = "a", reading = 0}, {label = "b", reading = 0}]
"""
GOOD = (
    HEAD
    + """
[grades]
spread = "1/16 in"
diameter = "4.026 in"
roughness = 0.011
[grades.limits]
house_sewer = {least = "1 in in 4 ft", source = "permit 7"}
inlet_drop = {least = 2, source = "permit 7"}
spacing = {most = "8 ft", source = "permit 7"}
[[grades.run]]
name = "supply pipe"
kind = "supply pipe"
station = [
    {at = "0 ft", rod = 60.5, name = "tank outlet"},
    {at = "5 ft", rod = ["61-1/8 in", 61.25]},
]
[[grades.run]]
name = "header to a"
kind = "header"
outlet = "a"
diameter = "3 in"
roughness = 0.009
instrument = "by the box"
station = [{at = "2 m", elevation = "98.25 ft"}, {at = "4 m", elevation = "98.2 ft"}]
"""
)


def faults_of(text):
    with pytest.raises(ScenarioError) as caught:
        loads(text, "job.toml")
    return tuple(fault.removeprefix("job.toml: ") for fault in caught.value.faults)


def changed(old, new, count=1):
    assert GOOD.count(old) >= 1, f"{old} is not in the good file"
    return GOOD.replace(old, new, count)


def test_every_key_arrives_in_si():
    survey = loads(GOOD).grades
    assert survey.spread == INCH / 16
    supply, header = survey.runs
    assert (supply.name, supply.kind, supply.outlet) == ("supply pipe", "supply pipe", None)
    assert (supply.diameter, supply.roughness) == (4.026 * INCH, 0.011)
    assert [s.name for s in supply.stations] == ["tank outlet", ""]
    assert [s.at for s in supply.stations] == pytest.approx([0, 5 * FOOT])
    # a rod reading is a depth under the line of sight
    assert supply.stations[0].heights == pytest.approx((-60.5 * INCH,))
    assert supply.stations[1].heights == pytest.approx((-61.125 * INCH, -61.25 * INCH))
    assert (header.outlet, header.diameter, header.roughness) == ("a", 3 * INCH, 0.009)
    assert header.stations[0].heights == pytest.approx((98.25 * FOOT,))
    assert header.datum != supply.datum


def test_limits_of_the_file_replace_the_defaults_one_by_one():
    limits, default = loads(GOOD).grades.limits, Limits()
    assert limits.house_sewer.value == pytest.approx(1 / 48)
    assert limits.inlet_drop.value == pytest.approx(2 * INCH)
    assert limits.spacing.value == pytest.approx(8 * FOOT)
    named = (limits.house_sewer, limits.inlet_drop, limits.spacing)
    assert {(limit.source, limit.default) for limit in named} == {("permit 7", False)}
    assert (limits.supply_pipe, limits.header) == (default.supply_pipe, default.header)


def test_nobody_who_asks_for_a_spacing_means_none():
    text = changed('spacing = {most = "8 ft", source = "permit 7"}\n', "")
    assert loads(text).grades.limits.spacing is None


def test_runs_without_sizes_have_none_and_smooth_plastic():
    text = changed('diameter = "4.026 in"\nroughness = 0.011\n', "")
    supply = loads(text).grades.runs[0]
    assert (supply.diameter, supply.roughness) == (None, PLASTIC_ROUGHNESS)


def test_without_the_table_there_is_no_survey():
    assert loads(HEAD).grades is None
    assert loads(HEAD).record == JobRecord()


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('at = "5 ft"', "at = 5", "grades.run[1].station[2].at is 5; give its unit"),
        ('at = "5 ft", ', "", 'grades.run[1].station[2] has no distance; add at = "4 ft"'),
        ('at = "5 ft"', 'at = "0 ft"', "grades.run[1].station[2].at is not beyond"),
        ("rod = 60.5", "rod = -1", "grades.run[1].station[1].rod is -1; a rod reading is between"),
        ("rod = 60.5, ", "", "grades.run[1].station[1] was not read"),
        ("rod = 60.5", 'elevation = "9 ft"', "grades.run[1] has both rod readings and elevations"),
        ("rod = 60.5", 'rod = 60, elevation = "9 ft"', "grades.run[1].station[1] has both rod and"),
        ('outlet = "a"', "", "grades.run[2] has no outlet; add the label of its outlet"),
        ('outlet = "a"', 'outlet = "x"', 'grades.run[2].outlet is "x", which is no outlet; use a'),
        ("[[grades.run]]", '[[grades.run]]\noutlet = "a"', "has no meaning for a supply pipe"),
        ('name = "supply pipe"\n', "", "grades.run[1] has no name"),
        ('kind = "header"', "", 'grades.run[2] has no kind; write "house sewer"'),
        ('"header"', '"heador"', 'grades.run[2].kind is "heador"; did you mean header?'),
        ('"header to a"', '"Supply pipe"', "grades.run[2].name is"),
        (', source = "permit 7"', "", "grades.limits.house_sewer has no source"),
        ('least = "1 in in 4 ft", ', "", "grades.limits.house_sewer has no least"),
        ('"1 in in 4 ft"', '"1 in"', 'grades.limits.house_sewer.least is "1 in", a length'),
        ('most = "8 ft"', "most = 10", "grades.limits.spacing.most is 10"),
        ("least = 2", "lest = 2", "unknown key grades.limits.inlet_drop.lest; did you mean least?"),
        ("rod = 60.5", "rad = 60.5", "unknown key grades.run[1].station[1].rad; did you mean rod?"),
        ("roughness = 0.011", "roughness = 11", "grades.roughness is 11; Manning's n"),
        ('spread = "1/16 in"', "spread = 0", "grades.spread is 0; a spread is above 0"),
    ],
)  # fmt: skip
def test_a_fault_names_the_place_the_value_and_the_mend(old, new, fault):
    assert any(fault in told for told in faults_of(changed(old, new)))


def test_a_refused_key_is_not_asked_for_again():
    assert len(faults_of(changed("rod = 60.5", 'rod = "x"'))) == 1
    assert len(faults_of(changed('at = "5 ft"', "at = true"))) == 1
    assert len(faults_of(changed('name = "supply pipe"', "name = 1.5"))) == 1


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("grades = 5", "grades is 5; it is a table, write [grades] and its keys under it"),
        (
            "grades = {run = 5}",
            "grades.run is 5; write each under [[grades.run]], in double brackets",
        ),
        ("grades = {run = [5]}", "grades.run[1] is 5; it is a table, write [[grades.run]]"),
        ("[grades]", "grades has no runs"),
        ('grades = {run = [{name = "a", kind = "header", outlet = "a"}]}', "has no stations"),
        ("[record]\nhouse = 3", "unknown key record.house; "),
        ("[record]\ninvented = 1", "record.invented is 1; write true or false"),
        ("[record]\nties = []", "record.ties is a list of 0; write 1 to 12"),
        ('[record]\nnotes = "a\\nb"', "keep it on one line"),
        ("[record]\ndate = 2026-05-04T10:00:00", "record.date is"),
    ],
)
def test_what_is_no_table_or_no_text_is_refused(text, fault):
    assert any(fault in told for told in faults_of(HEAD + text))


BLOCKS = (
    HEAD
    + """
[grades]
level = "4 ft"
level_spread = "0.5 mm/m"
block_spread = "1/32 in"
[grades.limits]
trench = {most = "1/2 in", source = "permit 7"}
[[grades.run]]
name = "supply pipe"
kind = "supply pipe"
blocks = ["1/2 in", "-1/8 in"]
every = "10 ft"
[[grades.run]]
name = "trench"
kind = "trench"
outlet = "a"
lean = "toward_its_end"
level = "2 ft"
blocks = 0
"""
)
PLANNED = (
    HEAD
    + """
[plan]
benchmark = "100 ft"
benchmark_rod = 6
tank_outlet = 30
box_inlet = 34
tank_ground = "10 in"
box_ground = "1 ft"
lip = "1/2 in"
level = "1.2 m"
[[plan.line]]
outlet = "b"
bottom = 50
ground = [20, 21]
"""
)


def test_blocks_and_trenches_arrive_in_si():
    survey = loads(BLOCKS).grades
    assert (survey.level_spread, survey.block_spread) == (0.0005, INCH / 32)
    assert survey.limits.trench.value == pytest.approx(INCH / 2)
    pipe, trench = survey.runs
    assert (pipe.blocks, pipe.level) == ((INCH / 2, -INCH / 8), pytest.approx(4 * FOOT))
    assert pipe.every == pytest.approx(10 * FOOT)
    assert (trench.blocks, trench.level) == ((0.0,), pytest.approx(2 * FOOT))
    assert (trench.outlet, trench.lean) == ("a", "toward its end")


def test_a_plan_arrives_in_si():
    plan = loads(PLANNED).plan
    heights = (plan.benchmark, plan.benchmark_rod, plan.tank_outlet, plan.box_inlet)
    assert heights == pytest.approx((100 * FOOT, 6 * INCH, 30 * INCH, 34 * INCH))
    assert (plan.tank_ground, plan.box_ground) == pytest.approx((10 * INCH, FOOT))
    assert (plan.lip, plan.level, plan.by) == (INCH / 2, 1.2, "rod")
    (line,) = plan.lines
    assert (line.outlet, line.bottom) == ("b", 50 * INCH)
    assert line.ground == (20 * INCH, 21 * INCH)
    assert loads(HEAD + "[plan]").plan.begins is False
    assert loads(HEAD).plan is None


@pytest.mark.parametrize(
    ("text", "old", "new", "fault"),
    [
        (BLOCKS, 'level = "4 ft"\n', "", "grades.run[1] has blocks and no level; add its length"),
        (BLOCKS, "blocks = 0", 'blocks = 0\nstation = [{at = "1 ft", rod = 2}]',
         "grades.run[2] has both blocks and stations"),
        (BLOCKS, 'every = "10 ft"', 'every = "1 ft"', "grades.run[1].every is less than"),
        (BLOCKS, "toward_its_end", "downhill", 'lean is "downhill"; use toward its end or'),
        (BLOCKS, 'every = "10 ft"', 'lean = "toward the box"',
         "grades.run[1].lean has no meaning for a supply pipe"),
        (BLOCKS, 'outlet = "a"', 'outlet = "x"', 'grades.run[2].outlet is "x", which is no outlet'),
        (BLOCKS, ', source = "permit 7"', "", "grades.limits.trench has no source"),
        (BLOCKS, '"-1/8 in"', '"3 ft"', "grades.run[1].blocks[2] is"),
        (PLANNED, "tank_outlet = 30", 'tank_outlet = "97 ft"', "plan.tank_outlet is 29.5656 m; a "
         "rod reading is between 0 and 10 m: check its unit, or write by"),
        (PLANNED, "ground = [20, 21]", "ground = [20, -1]", "plan.line[1].ground[2] is -0.0254 m"),
        (PLANNED, "ground = [20, 21]", "ground = [1, 2, 3]", "is a list of 3; write 1 to 2"),
        (PLANNED, 'outlet = "b"', 'outlet = "c"', 'plan.line[1].outlet is "c", which is no outlet'),
        (PLANNED, 'outlet = "b"', "", "plan.line[1] has no outlet; add outlet"),
        (PLANNED, "[plan]", '[plan]\nby = "guess"', "plan.by is"),
        (PLANNED + '[[plan.line]]\noutlet = "b"', "", "", 'plan.line[2].outlet is "b", which'),
        (PLANNED.replace('label = "b"', 'label = "b", state = "capped"'), "", "",
         'plan.line[1].outlet is "b", which is capped'),
        (PLANNED.replace('benchmark = "100 ft"\n', 'by = "elevation"\n'), "", "",
         "plan has a benchmark_rod and no benchmark"),
    ],
)  # fmt: skip
def test_a_fault_of_a_plan_or_of_blocks_is_named(text, old, new, fault):
    assert any(fault in told for told in faults_of(text.replace(old, new, 1)))


def test_a_record_is_text_numbers_and_dates():
    record = loads(
        HEAD
        + '[record]\npermit = "P 7"\nbedrooms = 5\ndate = 2026-05-04\nfeed = "pump"\n'
        + 'ties = ["oak 9 ft", "well 60 ft"]\ninvented = true'
    ).record
    assert (record.permit, record.bedrooms, record.date) == ("P 7", "5", "2026-05-04")
    assert record.ties == ("oak 9 ft", "well 60 ft")
    assert record.invented
    assert record.address == ""
