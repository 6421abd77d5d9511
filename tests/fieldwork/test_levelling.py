"""What to turn, how far, and when to bed the box again instead."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox import Circle, DomainError, Notch, Slot, split
from dbox.fieldwork.estimate import GOOD_SPAN, SET_WELL, Estimate
from dbox.fieldwork.levelling import HAND_STEP, Lift, level, lift_for
from dbox.fieldwork.readings import fit_plane, reduce_readings
from dbox.fieldwork.site import Box, Flow, Target
from dbox.fieldwork.turning import Reach
from dbox.report.wording import sentences

from . import sites
from .sites import DOSE, HOLE, INCH, LITRE_PER_MINUTE, POUR, SIDES, TRICKLE, arrays, same_bytes

E = 0.5 * INCH
FINE = 1e-9
"""A hand that turns to a billionth of a radian moves a lip to 1e-11 m. [rad]"""

SURE = 1e-9
"""Spread of a reading that leaves no doubt at any flow. [m]"""

FLOWS = [Flow(name=f"{q} L/min", inflow=q * LITRE_PER_MINUTE) for q in (0.1, 1.0, 4.0, 20.0, 100.0)]


def box(readings, *, hand=FINE, **site):
    """A box whose owner has a hand without error, if nothing else is said."""
    return sites.box(readings, hand=hand, **site)


def turned(site, result):
    """Lips after the turns, from lip = pipe centre - e cos(a) - r."""
    return [
        o.readings[0] + (o.hole_offset or 0) * (np.cos(o.clock or 0) - np.cos((o.clock or 0) + t))
        for o, t in zip(site.outlets, result.turn, strict=True)
    ]


def test_practice_the_highest_hole_is_the_mark():
    """Common practice, no source: the box is filled to its holes; the hole that stands highest
    over the water, typically by about 1/8 in, is the mark that the others are turned up to;
    afterwards all lines get equal flow."""
    above = np.array([0.0, 1 / 16, 1 / 8, 0.0, 1 / 32, 1 / 16]) * INCH
    site = box(list(above), clocks=[0.0, 0.3, 0.0, -0.5, 1.0, 0.0], spread=SURE, flows=FLOWS)
    result = level(site, match_highest=True, hand_step=FINE)
    assert result.verdict == "adjust"
    assert result.goal.height == result.highest.height == INCH / 8
    assert result.turn[2] == 0
    np.testing.assert_allclose(result.lip_after, INCH / 8, atol=1e-11)
    np.testing.assert_allclose(turned(site, result), INCH / 8, atol=1e-11)
    # the head at 0.1 L/min is about 1 mm: 1e-11 m of it is 1e-8 of the share
    np.testing.assert_allclose(result.after.result.share, 1 / 6, rtol=1e-7)
    assert np.ptp(result.before.result.share, axis=1).min() > 0.01
    assert result.highest.turns == len(result.order)


@given(st.lists(st.floats(-0.005, 0.005), min_size=2, max_size=6), st.booleans())
def test_after_level_lips_all_lines_share_equally(readings, highest):
    site = box(readings, clocks=1.2, spread=1e-9, flows=FLOWS)
    result = level(site, match_highest=highest, hand_step=FINE, samples=50)
    assert result.verdict in ("adjust", "nothing to do")
    if result.verdict == "adjust":
        np.testing.assert_allclose(result.lip_after, result.goal.height, atol=1e-10)
        np.testing.assert_allclose(result.after.result.share, 1 / len(readings), rtol=1e-6)


@given(
    st.lists(st.tuples(st.floats(-0.012, 0.012), st.floats(-np.pi, np.pi)), min_size=2, max_size=6),
    st.sampled_from([HAND_STEP, np.radians(1), np.radians(15)]),
)
def test_turns_are_whole_steps_and_lips_follow_the_insert(outlets, step):
    site = box([r for r, _ in outlets], clocks=[c for _, c in outlets], spread=1e-9)
    result = level(site, hand_step=step, samples=50)
    steps = result.turn / step
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)
    np.testing.assert_allclose(result.lip_after, turned(site, result), atol=1e-15)
    share = split([f.inflow for f in site.flows], result.lip_after, HOLE).share
    np.testing.assert_allclose(result.after.result.share, share, rtol=1e-9, atol=1e-12)
    wanted = np.array([o.readings[0] for o in site.outlets]) + result.move
    if result.verdict != "nothing to do":
        off = np.abs(result.lip_after - wanted)
        # a rounding of half a step moves the lip by at most e times it
        assert np.all(off[result.reachable] <= E * step / 2 + 1e-12)
        moved = result.move != 0
        np.testing.assert_allclose(wanted[moved & result.reachable], result.goal.height, atol=1e-15)
    angle = np.array([c for _, c in outlets]) + result.turn
    np.testing.assert_allclose(np.cos(result.angle_after), np.cos(angle), atol=1e-12)
    np.testing.assert_allclose(np.sin(result.angle_after), np.sin(angle), atol=1e-12)
    assert np.all(np.abs(result.angle_after) <= np.pi)


@given(st.lists(st.floats(-0.008, 0.008), min_size=1, max_size=6), st.integers(0, 5))
def test_still_water_after_each_step(readings, capped):
    """Topped up until it just spills, still water stands at the lowest open lip of that moment."""
    closed = [capped] if 0 < capped < len(readings) else []
    site = box(readings, clocks=0.8, spread=1e-9, capped=closed)
    result = level(site, hand_step=FINE, samples=50)
    lips = {i: r for i, r in enumerate(readings) if i not in closed}
    for outlet, still in zip(result.order, result.still_level, strict=True):
        lips[outlet] = result.lip_after[outlet]
        assert still == min(lips.values())
        # the very level that the split says still water has
        assert still == split(0.0, list(lips.values()), HOLE).level
    moved = {i for i in lips if abs(result.lip_after[i] - readings[i]) > 1e-6}
    assert set(result.order) == moved
    assert len(result.order) == len(moved)
    rises = [result.lip_after[i] > readings[i] for i in result.order]
    assert rises == sorted(rises, reverse=True), "all that go up come before those that go down"


def test_lowest_first_among_those_that_go_up():
    site = box([0.001, -0.002, 0.004, 0.0], clocks=0.0, spread=SURE)
    assert level(site, match_highest=True).order == (1, 3, 0)


def test_highest_first_among_those_that_go_down():
    """Outlet 1 cannot be turned; the holes of the others stand up and come down to it."""
    offsets = [None, 0.5 * INCH, 0.5 * INCH, 0.5 * INCH]
    site = box([0.0, 0.002, 0.004, 0.003], clocks=np.pi, offset=offsets, spread=SURE)
    assert level(site, hand_step=FINE).order == (2, 3, 1)


def test_level_lips_need_nothing():
    result = level(box([0.0] * 4, clocks=0.5, spread=SURE))
    assert result.verdict == "nothing to do"
    assert not result.turn.any()
    assert result.order == ()
    assert result.still_level.shape == (0,)
    np.testing.assert_array_equal(result.lip_after, 0)


@pytest.mark.parametrize("spread", [None, INCH / 32, 0.0005])
@pytest.mark.parametrize("n", [2, 4, 8])
def test_lips_read_level_are_not_touched(n, spread):
    """However poor the ruler, equal readings speak for no turn."""
    result = level(box([0.002] * n, clocks=0.5, spread=spread), samples=1000)
    assert "outside" not in result.before.verdicts
    assert result.verdict == "nothing to do"


def test_what_a_ruler_cannot_see_is_left_alone():
    """Half a millimetre apart, each reading good to 1/16 in: no reason to touch anything."""
    result = level(box([0.0, 0.0005, -0.0005, 0.0002], clocks=0.5))
    assert "outside" not in result.before.verdicts
    assert result.verdict == "nothing to do"
    np.testing.assert_array_equal(result.lip_after, [0.0, 0.0005, -0.0005, 0.0002])


def test_adjust_means_that_there_is_something_to_turn():
    """0.2 mm at a quarter turn is 0.9 degrees: no hand sets that."""
    result = level(box([0.0, 0.0002, 0.0, -0.0002], clocks=np.pi / 2, spread=1e-5, tolerance=0.02))
    assert result.before.verdicts[0] == "outside"
    assert not result.turn.any()
    assert result.verdict != "adjust"
    assert any("hand" in w or "step" in w for w in sentences(result.warnings))


def test_a_tilt_past_the_inserts_is_bedded_again_by_the_planted_tilt():
    """Pipes on a plane, holes at all clock positions: the plane is that of the pipes."""
    clocks = [0.4, -1.0, 2.0, -2.5]
    for slope_x, slope_y in [(0.0, 0.08), (0.15, -0.05), (-0.2, 0.1)]:
        pipes = np.array(SIDES) @ [slope_x, slope_y]
        readings = list(pipes - E * np.cos(clocks))
        inside = (16 * INCH, 20 * INCH)
        site = box(readings, clocks=clocks, positions=SIDES, box=Box(inside=inside), spread=SURE)
        result = level(site)
        assert result.verdict == "re-bed"
        assert not result.reachable.all()
        assert result.plane.slope_x == pytest.approx(slope_x, abs=1e-14)
        assert result.plane.slope_y == pytest.approx(slope_y, abs=1e-14)
        np.testing.assert_allclose(result.plane.residual, 0, atol=1e-14)
        assert result.lift.far_end == pytest.approx(-slope_x * inside[0])
        assert result.lift.right_side == pytest.approx(-slope_y * inside[1])
        assert result.lift.still_short == ()


def test_the_pipes_plane_does_not_mind_the_size_of_the_holes():
    """lip = pipe centre - e cos(a) - r: level pipes with holes of two sizes are level pipes."""
    clocks, holes = [0.4, -1.0, 2.0, -2.5], [Circle(d) for d in (0.05, 0.05, 0.03, 0.03)]
    radii = np.array([h.diameter / 2 for h in holes])
    readings = list(-E * np.cos(clocks) - radii)
    result = level(box(readings, clocks=clocks, openings=holes, positions=SIDES, spread=SURE))
    assert result.plane.slope_x == pytest.approx(0, abs=1e-12)
    assert result.plane.slope_y == pytest.approx(0, abs=1e-12)


def test_a_tilt_within_the_inserts_is_turned_out():
    readings = list(np.array(SIDES) @ [0.0, 0.02])
    result = level(box(readings, clocks=np.pi / 2, positions=SIDES, spread=SURE), hand_step=FINE)
    assert result.verdict == "adjust"
    assert result.reachable.all()
    assert result.lift is None
    np.testing.assert_allclose(result.after.result.share, 0.25, rtol=1e-7)
    assert result.after.verdicts == ("within",) * 3


def test_what_cannot_reach_is_brought_as_near_as_it_goes():
    site = box([0.0, 0.0, 0.0, -0.017], clocks=np.pi / 2, offset=[None, None, None, E], spread=SURE)
    result = level(site, hand_step=FINE)
    assert result.verdict == "re-bed"
    assert not result.reachable[3]
    assert result.lip_after[3] == pytest.approx(-0.017 + E, abs=1e-12)
    assert "positions of three outlets are needed" in " ".join(sentences(result.warnings))


def test_a_fixed_insert_is_the_height_for_all():
    site = box([0.0, 0.004, 0.002], clocks=np.pi / 2, offset=[E, None, E], spread=SURE)
    result = level(site, hand_step=FINE)
    assert result.verdict == "adjust"
    assert result.turn[1] == 0
    np.testing.assert_allclose(result.lip_after, 0.004, atol=1e-11)


def test_two_fixed_inserts_apart_cannot_be_cured():
    result = level(box([0.0, 0.004, 0.0], clocks=0.5, offset=[None, None, E], spread=SURE))
    assert result.verdict == "re-bed"
    assert result.reachable.tolist() == [False, False, True], "neither can come to the other"
    assert result.turn[:2].tolist() == [0, 0]


def test_an_unknown_clock_is_set_by_the_ruler():
    site = box([0.0, 0.004, 0.0], clocks=[None, np.pi / 2, None], spread=SURE)
    result = level(site, match_highest=True)
    assert np.isnan(result.turn).tolist() == [True, False, True]
    assert np.isnan(result.angle_before).tolist() == [True, False, True]
    assert np.isnan(result.angle_after).tolist() == [True, False, True]
    np.testing.assert_array_equal(result.lip_after, 0.004)
    assert result.order == (0, 2)
    (sentence,) = [w for w in sentences(result.warnings) if "clock" in w]
    assert sentence.startswith("outlet 1, 3: the clock position of the hole is not given")
    idle = level(box([0.0, 0.0], clocks=[None, 0.5], spread=SURE))
    assert idle.verdict == "nothing to do"
    assert idle.lip_after.tolist() == [0, 0]


def test_a_capped_outlet_is_left_out():
    site = box([0.0, 0.03, 0.004, None], clocks=np.pi / 2, capped=[1, 3], spread=SURE)
    result = level(site, hand_step=FINE)
    assert result.verdict == "adjust"
    assert result.lip_after[[1, 3]].tolist() == [np.inf, np.inf]
    assert not result.turn[[1, 3]].any()
    assert not result.move[[1, 3]].any()
    assert result.reachable.all()
    assert not {1, 3} & set(result.order)
    np.testing.assert_allclose(result.after.result.share[:, [0, 2]], 0.5, rtol=1e-7)
    np.testing.assert_array_equal(result.after.result.share[:, [1, 3]], 0)


@pytest.mark.everyday(2)
@pytest.mark.parametrize("design", [0, 1, 2])
@pytest.mark.parametrize("openings", [HOLE, [HOLE, Slot(0.03), Notch(1.2), Circle(0.04)]])
def test_unequal_targets_are_met_at_the_design_flow_and_nowhere_else(design, openings):
    target = Target(by="list", weights=(1.0, 2.0, 3.0, 2.0))
    site = box(
        [0.0, 0.002, -0.001, 0.0], clocks=1.7, openings=openings, target=target, spread=SURE,
        offset=0.03,
    )  # fmt: skip
    result = level(site, design_flow=design, hand_step=FINE)
    assert result.verdict == "adjust"
    assert result.design_flow == (TRICKLE, POUR, DOSE)[design].name
    wanted = np.array([0.125, 0.25, 0.375, 0.25])
    off = np.abs(result.after.result.share / wanted - 1).max(-1)
    assert off[design] < 1e-6
    kinds = [o.opening for o in site.outlets]
    lips = np.array([o.readings[0] for o in site.outlets]) + result.move
    share = split([f.inflow for f in site.flows], lips, kinds).share
    told = [f"{100 * x:.0f} %" for x in np.abs(share / wanted - 1).max(-1)]
    (sentence,) = [w for w in sentences(result.warnings) if "one flow only" in w]
    assert f"({result.design_flow})" in sentence
    for i, flow in enumerate((TRICKLE, POUR, DOSE)):
        assert i == design or off[i] > 0.05
        assert f"{flow.name} {told[i]}" in sentence
    both = [level(site, design_flow=i, hand_step=FINE).after.over_target for i in (0, 2)]
    for name, over in zip((TRICKLE.name, DOSE.name), both, strict=True):
        misses = [f"{100 * x:.0f} %" for x in np.abs(over - 1).max(-1)]
        each = zip((TRICKLE, POUR, DOSE), misses, strict=True)
        assert f"meet {name} alone" in sentence
        assert ", ".join(f"{flow.name} {miss}" for flow, miss in each) in sentence
    shared = level(site, hand_step=FINE)
    worst = [np.abs(each.after.over_target - 1).max() for each in (result, shared)]
    assert worst[1] <= worst[0] + 1e-6, "all flows together are met no worse than by one of them"


def test_the_far_off_flows_of_notches_from_their_own_law():
    """Heads go as q^0.4, the same for all notches: unequal lips that fit one flow fit no other."""
    target = Target(by="list", weights=(1.0, 4.0))
    flows = [Flow(name="one", inflow=1e-4), Flow(name="other", inflow=3.2e-3)]
    notch = Notch(1.0, coefficient=0.6)
    site = box(
        [0.0, 0.0], clocks=1.5, openings=notch, target=target, spread=SURE, offset=0.05, flows=flows
    )
    result = level(site, design_flow=0, hand_step=FINE)
    low, high = result.lip_after[1], result.lip_after[0]
    # q = k (y - lip)^2.5 for each; the shares 1 and 4 at the first flow fix the heads' ratio
    level_one = float(result.after.result.level[0])
    assert ((level_one - low) / (level_one - high)) ** 2.5 == pytest.approx(4, rel=1e-7)
    level_other = float(result.after.result.level[1])
    assert ((level_other - low) / (level_other - high)) ** 2.5 < 2


def test_holes_of_two_sizes_at_equal_targets_hold_for_one_flow():
    site = box([0.0, 0.0], clocks=1.5, openings=[HOLE, Circle(0.03)], spread=SURE, offset=0.03)
    result = level(site, design_flow=1, hand_step=FINE)
    np.testing.assert_allclose(result.after.result.share[1], 0.5, rtol=1e-7)
    assert abs(result.after.result.share[0, 0] - 0.5) > 0.05


def test_a_poor_hand_shows_in_the_bands_after():
    """Readings without error, one insert moved: what is left is the error of the hand at either
    end, drawn here anew."""
    hand = np.radians(4)
    site = box([0.0, -0.004], clocks=0.5, spread=SURE, flows=[TRICKLE], offset=[None, E], hand=hand)
    result = level(site, samples=4000)
    assert result.turn[1] != 0
    rng = np.random.default_rng(8)
    ends = np.array([0.5, 0.5 + result.turn[1]]) + rng.normal(0.0, hand, (20000, 2))
    lips = -0.004 + E * (np.cos(ends[:, 0]) - np.cos(ends[:, 1]))
    shares = split(TRICKLE.inflow, np.stack([np.zeros_like(lips), lips], -1), HOLE).share[:, 1]
    # to first order in the hand, which at 4 degrees bends the ends of the bands a little
    assert np.mean(shares < result.after.share_low[0, 1]) == pytest.approx(0.05, abs=0.012)
    assert np.mean(shares > result.after.share_high[0, 1]) == pytest.approx(0.05, abs=0.012)


def test_same_seed_same_answer_to_the_last_bit():
    site = box([0.0, 0.003, -0.001, 0.002], clocks=[0.1, 1.0, None, -2.0], positions=SIDES)
    one, again, other = (level(site, seed=s) for s in (5, 5, 6))
    assert same_bytes(one, again)
    assert one.warnings == again.warnings
    assert one.before.share_low.tobytes() != other.before.share_low.tobytes()


def test_read_only():
    for name, array in arrays(level(box([0.0, 0.003, -0.001, 0.0], clocks=1.0, positions=SIDES))):
        assert not array.flags.writeable, name


@pytest.mark.parametrize("step", [0.0, -0.1, np.nan])
def test_a_step_of_nothing_is_refused(step):
    with pytest.raises(DomainError, match=r"the step of a turn is .* deg; give one above 0"):
        level(box([0.0, 0.003]), hand_step=step)


@pytest.mark.parametrize("flow", [-1, 3])
def test_a_flow_that_is_not_there_is_refused(flow):
    with pytest.raises(DomainError, match=f"design_flow is {flow}; the site has 3 flows"):
        level(box([0.0, 0.003]), design_flow=flow)


def test_one_open_outlet_gets_everything_and_there_is_nothing_to_do():
    done = level(box([0.004, None], capped=[1], tolerance=None))
    assert (done.verdict, done.order) == ("nothing to do", ())
    assert done.after.result.share.tolist() == [[1.0, 0.0]] * 3


def test_an_unmeasured_outlet_is_named():
    with pytest.raises(DomainError, match="no reading for open outlet 2"):
        level(box([0.0, None, 0.001]))


def test_one_outlet_has_nothing_to_level():
    result = level(box([0.004], clocks=0.5))
    assert result.verdict == "nothing to do"
    np.testing.assert_array_equal(result.after.result.share, 1)


RING = np.array([[0.0, 0.1], [0.0, 0.4], [0.2, 0.5], [0.4, 0.4], [0.4, 0.1], [0.2, 0.0]])
NO_TURN = np.zeros(6)
slopes = st.floats(-0.05, 0.05)


def lift_of(pipes: np.ndarray, size: Box, *, lips: np.ndarray | None = None) -> Lift:
    """The lift for pipes that stand at these heights, their inserts all at 9:00."""
    site = box(list(pipes if lips is None else lips), clocks=np.pi / 2, offset=0.0127)
    reach = Reach.of(site, reduce_readings(site).height)
    return lift_for(fit_plane(pipes, RING), size, reach, RING, NO_TURN, SURE**2 * np.eye(6))


@given(slopes, slopes)
def test_lifting_takes_the_tilt_out(slope_x, slope_y):
    """Far end and right side turned about the inlet wall's left corner."""
    heights = RING @ [slope_x, slope_y]
    lift = lift_of(heights, Box(inside=(0.4, 0.5)))
    lifted = heights + RING @ [lift.far_end / 0.4, lift.right_side / 0.5]
    np.testing.assert_allclose(lifted, 0, atol=1e-15)
    assert lift.slope_along == pytest.approx(-slope_x, abs=1e-15)
    assert lift.slope_across == pytest.approx(-slope_y, abs=1e-15)
    assert lift.still_short == ()


def test_a_round_box_lifts_over_its_diameter():
    lift = lift_of(RING @ [0.01, -0.02], Box(shape="round", inside=(0.6,)))
    assert lift.far_end == pytest.approx(-0.006)
    assert lift.right_side == pytest.approx(0.012)


def test_without_a_size_only_the_slopes_are_told():
    lift = lift_of(RING @ [0.01, -0.02], Box())
    assert lift.far_end is None
    assert lift.right_side is None
    assert lift.slope_along == pytest.approx(-0.01)
    assert lift.slope_across == pytest.approx(0.02)


def test_a_pipe_out_of_its_place_stays_short_in_the_levelled_box():
    """Inserts lift 12.7 mm either way; one pipe stands 40 mm over the others' plane."""
    plane = RING @ [0.02, -0.01]
    up = np.eye(6)[2]
    assert lift_of(plane, Box(), lips=plane + 0.04 * up).still_short == (2,)
    assert lift_of(plane, Box(), lips=plane + 0.02 * up).still_short == ()


MARK = INCH / 16


def test_an_offset_that_nobody_measured_is_turned_by_the_rule_and_learned():
    """The holes are 1/2 in off; half an hour from 9:00 raises a lip by 3.3 mm, and that is told."""
    from dbox.fieldwork import setup

    clocks = [np.pi / 2] * 4
    site = sites.box([None] * 4, clocks=clocks, offset=np.inf, spread=INCH / 64, tolerance=None)
    job, lips = setup.begin(site), np.array([0.0, 0.006, 0.006, 0.0059])
    for told in (True, False):
        job = job.after(setup.Still(method="rule"))
        for i, lip in enumerate(lips - lips.min()):
            job = job.after(setup.Read(outlet=i, heights=(float(lip),)))
            job = job.after(setup.Settled(outlet=i))
        if told:
            levelling = job.now.levelling
            assert (levelling.order, levelling.verdict) == ((0,), "adjust")
            assert np.isnan(levelling.turn[0])
            assert any("half of what its lip" in w for w in sentences(levelling.warnings))
            after = np.pi / 2 + np.radians(28)
            lips[0] += E * (np.cos(np.pi / 2) - np.cos(after))
            job = job.after(setup.Turned(angles=(after, *clocks[1:])))
    assert job.now.offset == pytest.approx(E, rel=1e-6)
    assert job.now.levelling.site.outlets[0].hole_offset == job.now.offset


def test_the_one_bad_outlet_among_level_ones_is_always_turned():
    """Four read 9/64 in twice and one 0, with a rule good to 1/16 in: it gets half of a trickle."""
    readings = [(9 / 64 * INCH,) * 2] * 4 + [(0.0, 0.0)]
    result = level(sites.box(readings, clocks=2.1, spread=MARK, tolerance=None))
    assert (result.verdict, result.order, result.next_step) == ("adjust", (4,), "turn")
    assert result.worst[0] > 2.5
    assert result.worst[1] < 1.1


def test_fixed_outlets_are_judged_with_their_reading_error():
    """0.3 mm between two that cannot turn is less than a reading tells: no reason to re-bed."""
    site = sites.box([0.005, 0.0053, 0.0, 0.001], clocks=2.1, spread=0.001, tolerance=None,
                     offset=[None, None, E, E])  # fmt: skip
    result = level(site)
    assert result.verdict == "adjust"
    assert set(result.order) == {2, 3}
    assert result.reachable.all()
    np.testing.assert_allclose(result.lip_after[2:], 0.00515, atol=0.0004)


def test_a_pure_tilt_of_fixed_notches_is_lifted_and_leaves_nothing_short():
    """Four notches in a round box lie on one plane but for a reading error: the lift is all."""
    half = 10 * INCH
    places = [(0.0, half), (half, 2 * half), (2 * half, half), (half, 0.0)]
    tilted = np.array(places) @ [5 / 8 / 20, 0.0] + np.array([0.3, -0.2, 0.2, -0.3]) * 1e-3
    round_box = Box(shape="round", inside=(2 * half,))
    site = sites.box(list(tilted), openings=Notch(np.pi / 2), offset=None, positions=places,
                     spread=INCH / 32, tolerance=None, box=round_box)  # fmt: skip
    result = level(site)
    assert result.verdict == "re-bed"
    assert result.lift.still_short == ()
    assert result.lift.far_end == pytest.approx(-5 / 8 * INCH, abs=0.001)


def test_the_highest_goal_of_inserts_with_a_common_reach_is_within_it():
    clocks = [np.radians(c) for c in (90, 15, 165, 90)]
    site = sites.box([0.0, 0.010, 0.014, 0.003], clocks=clocks, spread=INCH / 32, tolerance=None)
    result = level(site, match_highest=True)
    assert result.verdict == "adjust"
    assert result.reachable.all()
    assert np.ptp(result.lip_after) < 0.001


def test_a_setup_and_the_scenario_of_its_readings_agree():
    from dbox.fieldwork import setup

    readings = [0.0, 0.0008, -0.0003, 0.0006, 0.0]
    site = sites.box(readings, clocks=1.6, spread=MARK)
    job = setup.begin(site).after(setup.Still(method="rule"))
    for i, height in enumerate(readings):
        job = job.after(setup.Read(outlet=i, heights=(height,))).after(setup.Settled(outlet=i))
    alone = level(site)
    assert job.now.levelling.verdict == alone.verdict == "nothing to do"
    assert job.now.levelling.next_step == alone.next_step
    assert (job.now.conclusion == "again") == (alone.next_step == "read again")


def test_a_finer_rule_is_named_where_nobody_named_a_tolerance():
    """Six lips, read out with a rule of 1/8 in: one of 1/32 in would show whether they are level.

    Beside it level lips drawn and read four times to the mark of each rule: how often they then
    seem to span no more than a good hand leaves.
    """
    lips = np.array([0.0, 1.0, 0.0, 1.0, 1.0, 0.0]) * 1e-3
    chance = {}
    for mark in (INCH / 16, INCH / 32):
        rng = np.random.default_rng(7)
        true = rng.uniform(0.0, mark, (2000, 6, 1))
        read = np.round((true + rng.normal(0.0, mark, (2000, 6, 4))) / mark) * mark
        seen = (read - true).mean(-1)
        chance[mark] = np.mean(np.ptp(seen, axis=-1) <= GOOD_SPAN)
    assert chance[INCH / 16] < SET_WELL < chance[INCH / 32]
    for mark, step, found in ((8, "finer rule", INCH / 32), (32, "finer rule", INCH / 64),
                              (64, "pour", None)):  # fmt: skip
        site = box(list(lips), spread=INCH / mark, mark=INCH / mark, tolerance=None)
        known = Estimate(height=lips, covariance=np.diag(np.full(6, 1e-6)), fillings=4)
        result = level(site, known=known)
        assert result.next_step == step
        rules = result.before.finer_rules
        np.testing.assert_array_equal(rules, np.nan if found is None else found)
