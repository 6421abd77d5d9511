"""The plan before digging: rods, depths and what is left over by hand, and water up a hill."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dbox.errors import DomainError
from dbox.fieldwork.falls_plan import aim, block_for
from dbox.fieldwork.grades import grade
from dbox.fieldwork.levelling import level
from dbox.fieldwork.pour import expect
from dbox.fieldwork.shares import assess
from dbox.fieldwork.surge import house_event, run
from dbox.files.scenario import loads
from dbox.hydraulics.split import split
from dbox.report.grades_report import block_text, plan_findings
from tests.fieldwork.sites import INCH

FOOT = 12 * INCH
# invented
PLAN = """
units = "in"
[box]
inside = ["16 in", "20 in"]
inlet = "turned down"
inlet_drop = "2 in"
sump = "4 in"
[insert]
kind = "circle"
diameter = "2 in"
header_fall = "1/8 in/ft"
[supply]
length = "30 ft"
diameter = "4 in"
fall = "1/8 in/ft"
[header]
length = "8 ft"
diameter = "4 in"
[trench]
width = "24 in"
depth = "12 in"
pipe = "8 in"
acceptance = "0.45 gal/ft2/day"
[plan]
tank_outlet = "30 in"
tank_ground = "10 in"
box_ground = "12 in"
lip = "1/2 in"
[[plan.line]]
outlet = "b"
bottom = "48 in"
ground = ["20 in", "22 in"]
[[outlet]]
label = "a"
line_length = "60 ft"
[[outlet]]
label = "b"
line_length = "40 ft"
[flows]
trickle = "0.5 gpm"
[tolerance]
share = "10 %"
"""


def changed(*pairs):
    text = PLAN
    for old, new in pairs:
        assert old in text, f"{old} is not in the plan"
        text = text.replace(old, new, 1)
    return loads(text)


def test_every_rod_by_hand():
    # 30 ft at 1/8 in per ft is 3-3/4 in, the box 2 in, a header of 8 ft 1 in, the pipe 8 in over
    # the bottom; where the bottom is given the header's end is 8 in over it
    aims = aim(loads(PLAN))
    rods = {
        "tank outlet": 30.0, "box inlet": 33.75, "box outlets": 35.75, "lips, all level": 35.25,
        "box floor, inside": 39.75, "header a, end": 36.75, "trench a, bottom": 44.75,
        "header b, end": 40.0, "trench b, bottom": 48.0, "trench b, far end": 48.0,
    }  # fmt: skip
    assert [point.name for point in aims.points] == list(rods)
    assert [point.rod / INCH for point in aims.points] == pytest.approx(list(rods.values()))
    given_ones = [point.name for point in aims.points if point.given]
    assert given_ones == ["tank outlet", "trench b, bottom", "trench b, far end"]


def test_depth_and_cover_by_hand():
    # the ground reads less than the pipe by its depth; a 4 in pipe has 4 in less over its top
    points = {point.name: point for point in aim(loads(PLAN)).points}
    assert points["tank outlet"].depth / INCH == pytest.approx(30 - 10)
    assert points["tank outlet"].cover / INCH == pytest.approx(30 - 10 - 4)
    assert points["box floor, inside"].depth / INCH == pytest.approx(39.75 - 12)
    assert points["header b, end"].cover / INCH == pytest.approx(40 - 20 - 4)
    assert points["trench b, far end"].depth / INCH == pytest.approx(48 - 22)
    assert np.isnan(points["header a, end"].depth)


def test_what_is_left_over_by_hand():
    # from outlets at 35-3/4 to a header's end at 40 there are 4-1/4 in, of which 1 in is wanted
    supply, through, first, second = aim(loads(PLAN)).stretches
    assert second.fall / INCH == pytest.approx(4.25)
    assert second.left / INCH == pytest.approx(3.25)
    assert second.slope == pytest.approx(4.25 / 96)
    assert all(np.isnan(each.left) for each in (supply, through, first))
    assert [first.slope, supply.slope] == pytest.approx([1 / 96] * 2)


def test_elevations_are_the_same_plan():
    # the line of sight is at 100 ft 6 in, so 98 ft reads 30 in
    site = changed(
        ('tank_outlet = "30 in"', 'by = "elevation"\nbenchmark = "100 ft"\nbenchmark_rod = "6 in"\n'
         'tank_outlet = "98 ft"'),
        ('"48 in"', '"96 ft 6 in"'),
        ('["20 in", "22 in"]', '["98 ft 10 in", "98 ft 8 in"]'),
        ('"10 in"', '"99 ft 8 in"'),
        ('"12 in"\nlip', '"99 ft 6 in"\nlip'),
    )  # fmt: skip
    for one, other in zip(aim(site).points, aim(loads(PLAN)).points, strict=True):
        assert one.rod == pytest.approx(other.rod)
        assert one.elevation == pytest.approx(100.5 * FOOT - other.rod)
        assert [one.depth, one.cover] == pytest.approx([other.depth, other.cover], nan_ok=True)


def test_rods_with_a_benchmark_tell_elevations():
    site = changed(("[plan]", '[plan]\nbenchmark = "100 ft"\nbenchmark_rod = "6 in"'))
    assert aim(site).points[0].elevation == pytest.approx(98 * FOOT)
    assert np.isnan(aim(loads(PLAN)).points[0].elevation)


@pytest.mark.parametrize(
    ("pairs", "said"),
    [
        # the end of header b, 8 in over its bottom, reads 35 in; the outlets read 35-3/4
        ([('"48 in"', '"43 in"')], ["header b, by 3/4 in"]),
        ([("[plan]", '[plan]\nbox_inlet = "29 in"')], ["supply pipe, by 1 in (25.4 mm)"]),
        ([('inlet_drop = "2 in"', 'inlet_drop = "-1 in"')],
         ["through the box, whose inlet stands 1 in (25.4 mm) under its outlets"]),
        ([('lip = "1/2 in"', 'lip = "3 in"')],
         ["over the lips, which stand 1 in (25.4 mm) over it"]),
        ([('"1/8 in/ft"', '"-2 %"')], ["header a, which is to rise 2 %", "header b, which is"]),
        ([('"1/8 in/ft"', '"0 %"')], ["header a, which is to lie level"]),
        ([("[plan]", '[plan]\nbox_inlet = "29 in"'), ('"48 in"', '"38 in"')],
         ["supply pipe, by 1 in", "header b, by 1 in"]),
    ],
)  # fmt: skip
def test_water_that_would_run_uphill_is_refused_with_every_stretch(pairs, said):
    with pytest.raises(DomainError, match="water would have to run uphill") as caught:
        grade(changed(*pairs))
    for words in said:
        assert words in str(caught.value)


@pytest.mark.parametrize(
    ("pair", "said"),
    [
        (('tank_outlet = "30 in"\n', ""), "add tank_outlet"),
        (('inlet_drop = "2 in"\n', ""), "add inlet_drop"),
        (('[supply]\nlength = "30 ft"\ndiameter = "4 in"\nfall = "1/8 in/ft"\n', ""),
         "add [supply]"),
        (('[trench]\nwidth = "24 in"\ndepth = "12 in"\npipe = "8 in"\n'
          'acceptance = "0.45 gal/ft2/day"\n', ""), "add [trench]"),
    ],
)  # fmt: skip
def test_what_a_plan_cannot_do_without_is_asked_for(pair, said):
    with pytest.raises((DomainError, ValueError)) as caught:
        grade(changed(pair))
    assert said in str(caught.value)


def test_a_fall_that_is_short_is_told_with_its_limit():
    # 3 in where 3-3/4 are wanted and 1 % of 30 ft, 3.6 in, is the least; 3.6 in is 3-19/32
    (short, flat) = plan_findings(aim(changed(("[plan]", '[plan]\nbox_inlet = "33 in"'))))
    assert "supply pipe: 3/4 in (19.1 mm) SHORT of the fall" in short
    assert "falls 3 in (76.2 mm); at least 3-19/32 in (91.4 mm) is asked for (Minn. R." in flat
    assert grade(changed(("[plan]", '[plan]\nbox_inlet = "33 in"'))).verdict == "outside"
    assert grade(loads(PLAN)).verdict == "planned"


def test_water_over_the_inlet_is_told():
    # the level over level lips is that of the split; the lips stand 1-1/2 in under the inlet
    site = changed(('trickle = "0.5 gpm"', 'dose = "40 gpm"'))
    opening, flow = site.outlets[0].opening, site.flows[0].inflow
    level_found = float(split(flow, [0.0, 0.0], opening).level)
    assert level_found > 1.5 * INCH
    over = aim(site).inlet_over_water
    assert float(over[0]) == pytest.approx(1.5 * INCH - level_found)
    assert "at dose the water stands" in plan_findings(aim(site))[0]


def test_a_deep_trench_and_a_bare_pipe_are_told():
    # 5 ft is where a trench is to be protected: 29 CFR 1926.652 (a)(1), from memory
    deep = changed(('["20 in", "22 in"]', '"12 in"'), ('"48 in"', '"72 in"'))
    (told,) = plan_findings(aim(deep))
    assert told.startswith("plan, trench b, bottom: 60 in (1524.0 mm) under the ground")
    (bare,) = plan_findings(aim(changed(('"10 in"', '"27 in"'))))
    assert bare == "plan, tank outlet: the pipe stands 1 in (25.4 mm) out of the ground"


def test_what_is_not_planned_is_told():
    header = '[header]\nlength = "8 ft"\ndiameter = "4 in"\n'
    line = '[[plan.line]]\noutlet = "b"\nbottom = "48 in"\nground = ["20 in", "22 in"]\n'
    trench = PLAN[PLAN.index("[trench]") : PLAN.index("[plan]")]
    without = (changed((header, ""), (line, "")), changed((trench, ""), (line, "")))
    for site, what in zip(without, ("plan: no header", "plan: no trench"), strict=True):
        assert [note.what for note in grade(site).warnings] == [what]
    assert not grade(loads(PLAN)).warnings
    assumed = grade(changed(('header_fall = "1/8 in/ft"\n', ""))).warnings
    assert [(note.what, note["outlets"]) for note in assumed] == [
        ("plan: fall not given", ("a", "b"))
    ]


falls = st.floats(0.1, 3.0)


@settings(max_examples=15, deadline=None)
@given(supply=falls, header=falls, drop=st.floats(1.0, 4.0), spare=st.floats(0.0, 30.0))
def test_the_drop_from_tank_to_trench_is_all_accounted_for(supply, header, drop, spare):
    """Exact: what is wanted and what is left over add up to the drop that there is."""
    needed = 30 * 12 * supply / 100 + drop + 8 * 12 * header / 100
    site = changed(
        ('fall = "1/8 in/ft"\n[header]', f'fall = "{supply} %"\n[header]'),
        ('header_fall = "1/8 in/ft"', f'header_fall = "{header} %"'),
        ('inlet_drop = "2 in"', f'inlet_drop = "{drop} in"'),
        ('"48 in"', f'"{30 + needed + 8 + spare} in"'),
    )
    stretches = aim(site).stretches
    assert stretches[-1].left / INCH == pytest.approx(spare, abs=1e-9)
    below = sum(each.fall for each in stretches if each.name != "header a")
    assert below / INCH == pytest.approx(needed + spare)


def test_a_block_is_fall_times_length():
    # 1/8 in per ft under 4 ft is 1/2 in; 1 % of 48 in is 0.48 in, rounded up to 1/2 in
    assert block_for(1 / 96, 48.0) == pytest.approx(0.5)
    lengths = loads(PLAN).lengths
    assert block_text(block_for(1 / 96, 48 * INCH), lengths) == "1/2 in"
    assert block_text(block_for(0.01, 48 * INCH), lengths) == "1/2 in"
    assert block_text(block_for(1 / 48, 24 * INCH), lengths) == "1/2 in"
    assert block_text(block_for(0.01, 72 * INCH), lengths) == "3/4 in"


def test_a_planned_box_is_split_and_never_within():
    found = assess(loads(PLAN), samples=50)
    assert found.lips.planned
    assert found.result.share.tolist() == [[0.5, 0.5]]
    assert found.verdicts == ("cannot tell",)
    assert np.isnan(found.within_probability).all()
    assert np.isnan(found.settling_repeats).all()
    assert np.isnan(found.finer_rules).all()


def test_a_plan_that_cannot_meet_its_targets_is_outside():
    # level lips give halves where 60 and 40 % are wanted: 16.7 % and 25 % off
    site = changed(("[plan]", '[target]\nby = "length"\n[plan]'))
    assert assess(site, samples=50).verdicts == ("outside",)


def test_one_reading_ends_the_plan():
    site = changed(('label = "a"', 'label = "a"\nreading = 0'))
    assert not site.planned
    with pytest.raises(DomainError, match="no reading for open outlet b"):
        assess(site, samples=50)


def test_placeholders_are_no_readings_of_a_planned_box():
    pairs = [
        ('label = "a"', 'label = "a"\nreading = 1'),
        ("[plan]", "[readings]\nplaceholder = true\n[plan]"),
    ]
    site = changed(*pairs, ('label = "b"', 'label = "b"\nreading = 0'))
    assert assess(site, samples=50).result.share.tolist() == [[0.5, 0.5]]


def test_nothing_is_turned_or_poured_by_a_plan():
    site = changed(("[flows]", '[[pour]]\nname = "p"\nflow = "5 gpm"\n[flows]'))
    for ask in (level, lambda planned: expect(planned, planned.pours)):
        with pytest.raises(DomainError, match="no outlet is read yet"):
            ask(site)


def test_a_surge_runs_as_with_level_lips():
    level_lips = changed(
        ('label = "a"', 'label = "a"\nreading = 0'), ('label = "b"', 'label = "b"\nreading = 0')
    )
    planned, read = (
        run(site, house_event(["toilet"]), seconds=900.0) for site in (loads(PLAN), level_lips)
    )
    assert planned.surge.share.tolist() == read.surge.share.tolist()
    assert planned.warnings[0].what == "plan: nothing measured"
