"""The split of an inflow, and what is said of heads out of range."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from dbox import Circle, DomainError, Notch, PipeEnd, Slot, split
from dbox.arrays import GRAVITY
from dbox.hydraulics.split import range_notes
from dbox.report.wording import sentences

from .boxes import (
    LITRE_PER_MINUTE,
    boxes,
    flows_at,
    heights,
    inflows,
    level_by_bracketing,
    openings,
    still_level,
)

HOLE = Circle(0.0508, coefficient=0.6)
BALANCE = 1e-10
"""Residual promised, relative to inflow; no outlet's flow can be off by more than all are."""

# multiples of 2^-20 m, about a micrometre: adding them rounds nothing
dyadic = st.integers(-(2**15), 2**15).map(lambda k: k / 2**20)


def agree(flow, other, inflow):
    np.testing.assert_allclose(flow, other, rtol=0, atol=2.001 * BALANCE * inflow)


def volume_is_conserved(box, result):
    missing = box.inflow - float(result.flow.sum()) - float(result.overflow)
    assert abs(missing) <= 1.001 * BALANCE * box.inflow
    assert float(result.imbalance) <= BALANCE
    assert np.all(np.isfinite(result.flow) & (result.flow >= 0))
    assert result.overflow >= 0
    assert box.rim is not None or result.overflow == 0


def flows_are_those_of_the_openings_at_the_heads(box, result):
    tails = np.full(len(box.lips), -np.inf) if box.tailwater is None else np.array(box.tailwater)
    for i, opening in enumerate(box.openings):
        head = float(result.head[i])
        if head == -np.inf:
            assert result.flow[i] == 0
            continue
        # heads are given to a few roundings of a metre: the flow lies between those around it
        near = 1e-15 * max(1.0, abs(head))
        tail = tails[i] - box.lips[i]
        assert float(opening.discharge(head - near, tail)) * (1 - 1e-12) <= result.flow[i]
        assert result.flow[i] <= float(opening.discharge(head + near, tail)) * (1 + 1e-12)


def level_is_head_over_lip_and_never_below_still_water_or_over_the_rim(box, result):
    open_lips = np.isfinite(box.lips)
    level = float(result.level)
    over = np.array(box.lips)[open_lips] + result.head[open_lips]
    np.testing.assert_allclose(over, level, rtol=1e-15, atol=1e-16)
    assert np.all(result.head[~open_lips] == -np.inf)
    assert level >= still_level(box)
    if box.rim is not None:
        assert level <= box.rim + 1e-16
        assert result.overflow == 0 or level == pytest.approx(box.rim, abs=1e-16)


def shares_add_to_one(result):
    total = float(result.share.sum())
    assert total == 0 if not result.flow.any() else total == pytest.approx(1, abs=1e-14)


def no_inflow_leaves_still_water(box):
    result = box.split(inflow=0.0)
    assert not result.share.any()
    assert not result.flow.any()
    assert float(result.level) == pytest.approx(still_level(box), abs=1e-16)


@given(boxes())
def test_what_holds_of_every_split(box):
    """Several at once, since drawing a box costs more than splitting it."""
    result = box.split()
    volume_is_conserved(box, result)
    flows_are_those_of_the_openings_at_the_heads(box, result)
    level_is_head_over_lip_and_never_below_still_water_or_over_the_rim(box, result)
    shares_add_to_one(result)
    no_inflow_leaves_still_water(box)


@pytest.mark.parametrize("inflow", [1e-20, 1e-30, 1e-100, 1e-300])
@pytest.mark.parametrize("opening", [HOLE, Notch(1.5), Slot(0.02), PipeEnd(0.1)])
def test_the_faintest_inflow_is_shared_by_the_lowest_lips(opening, inflow):
    """Exact: it stands at still water and runs over the two lips that are lowest, in halves."""
    result = split(inflow, [0.002, 0.0, 0.001, 0.0], opening)
    assert result.share == pytest.approx([0, 0.5, 0, 0.5], abs=1e-12)
    assert result.flow.sum() == pytest.approx(inflow, rel=1e-9)
    assert 0 <= float(result.level) < 1e-7
    drowned = split(inflow, [-0.01, 0.0, -0.02, 0.0], opening, [0.01, 0.005, 0.005, 0.01], rim=0.1)
    assert drowned.share[[0, 3]].tolist() == [0, 0]
    assert drowned.share.sum() == pytest.approx(1, abs=1e-12)
    assert float(drowned.level) == pytest.approx(0.005, abs=1e-9)


def test_an_inflow_too_small_to_be_parted_is_no_error():
    """5e-324 is the least number there is: any half of it is all or nothing."""
    assert split(5e-324, np.zeros(3), HOLE).level == pytest.approx(0, abs=1e-12)


@given(boxes(), st.randoms(use_true_random=False))
def test_outlets_may_be_listed_in_any_order(box, random):
    order = random.sample(range(len(box.lips)), len(box.lips))
    result, other = box.split(), box.taken(order).split()
    agree(other.flow, result.flow[order], box.inflow)
    assert float(other.level) == pytest.approx(float(result.level), rel=1e-9, abs=1e-15)


@given(st.integers(1, 8), heights, heights, openings, inflows)
def test_a_mirrored_box_gives_mirrored_shares(pairs, slope_x, slope_y, opening, inflow):
    along, across = np.arange(pairs) / 8, 0.25
    both_sides = np.concatenate([along, along[::-1]])
    side = np.repeat([across, -across], pairs)
    lips = slope_x * both_sides + slope_y * side
    mirrored = slope_x * both_sides - slope_y * side
    flow = split(inflow, lips, opening).flow
    agree(split(inflow, mirrored, opening).flow, flow[::-1], inflow)


@given(boxes(height=dyadic), dyadic)
def test_moving_all_lips_tailwaters_and_rim_together_changes_nothing(box, shift):
    moved = replace(
        box,
        lips=[lip + shift for lip in box.lips],
        tailwater=box.tailwater and [tail + shift for tail in box.tailwater],
        rim=None if box.rim is None else box.rim + shift,
    )
    result, other = box.split(), moved.split()
    np.testing.assert_array_equal(other.flow, result.flow)
    np.testing.assert_array_equal(other.head, result.head)
    assert other.overflow == result.overflow
    assert float(other.level) == pytest.approx(float(result.level) + shift, rel=1e-15, abs=1e-16)


@given(boxes(), st.floats(1, 100))
def test_more_inflow_never_means_less_flow_anywhere(box, times):
    less, more = box.split(), box.split(inflow=times * box.inflow)
    slack = 2 * BALANCE * times * box.inflow
    assert np.all(more.flow >= less.flow - slack)
    assert more.level >= less.level - 1e-9 * (abs(less.level) + 1e-3)
    assert more.overflow >= less.overflow - slack


@given(boxes(), st.integers(0, 19), st.floats(0, 0.05), st.sampled_from(["lips", "tailwater"]))
def test_a_higher_lip_or_tailwater_never_draws_more(box, outlet, rise, what):
    outlet %= len(box.lips)
    assume(box.lips[outlet] < np.inf)
    old = box.lips if what == "lips" else (box.tailwater or [-np.inf] * len(box.lips))
    tail = max(old[outlet], -0.05)
    new = [*old[:outlet], tail + rise, *old[outlet + 1 :]]
    before, after = box.split(), box.split(**{what: new})
    slack = 2 * BALANCE * box.inflow
    assert after.flow[outlet] <= before.flow[outlet] + slack
    others = np.arange(len(box.lips)) != outlet
    assert np.all(after.flow[others] >= before.flow[others] - slack)
    assert after.overflow >= before.overflow - slack


@given(boxes(most=6))
def test_brentq_on_the_sum_of_the_flows(box):
    level = level_by_bracketing(box)
    result = box.split()
    # brentq's level is good to a rounding; what that does to a drowned flow is not its fault
    near = 4e-16 * max(1.0, abs(level))
    low, high = flows_at(level - near, box), flows_at(level + near, box)
    slack = 1e-9 * box.inflow
    assert np.all(result.flow >= np.array(low) - slack)
    assert np.all(result.flow <= np.array(high) + slack)
    assert float(result.level) == pytest.approx(level, rel=1e-10, abs=1e-13)


@pytest.mark.parametrize("n", [1, 2, 6, 20])
@pytest.mark.parametrize("litres", [0.001, 0.1, 3.0, 100.0, 2000.0])
@pytest.mark.parametrize("opening", [HOLE, Notch(1.5), Slot(0.02, 0.01), PipeEnd(0.1)], ids=repr)
def test_equal_lips_share_equally(n, litres, opening):
    result = split(litres * LITRE_PER_MINUTE, np.full(n, 0.03), opening)
    np.testing.assert_allclose(result.share, 1 / n, rtol=1e-15)
    assert result.imbalance <= BALANCE


def test_two_slots_of_unequal_width_share_by_width():
    slots = [Slot(0.01, coefficient=0.6), Slot(0.03, coefficient=0.6)]
    assert split(1e-4, [0.0, 0.0], slots).share.tolist() == pytest.approx([0.25, 0.75], rel=1e-14)


def test_level_of_one_slot():
    inflow, width = 2e-4, 0.05
    head = (inflow / (0.6 * 2 / 3 * np.sqrt(2 * GRAVITY) * width)) ** (2 / 3)
    result = split(inflow, [0.01], Slot(width, coefficient=0.6))
    assert float(result.level) == pytest.approx(0.01 + head, rel=1e-12)


@pytest.mark.parametrize("inflow", [1e-3 * LITRE_PER_MINUTE, 1e-6, 1e-3])
@pytest.mark.parametrize("lip", [-0.4, 0.0, 12.0])
def test_a_drowned_trickle_keeps_its_balance(inflow, lip):
    """Wholly drowned, Q = C A sqrt(2 g fall); the fall may be far below a rounding of the head."""
    result = split(inflow, [lip], HOLE, tailwater=[lip + 0.3])
    fall = (inflow / (0.6 * np.pi / 4 * 0.0508**2)) ** 2 / (2 * GRAVITY)
    assert float(result.level) == pytest.approx(lip + 0.3 + fall, rel=1e-14)
    assert float(result.flow[0]) == pytest.approx(inflow, rel=BALANCE)


def test_a_drowned_and_a_free_outlet():
    """The trickle leaves by the free lip; the one whose water stands higher outside takes none."""
    result = split(1e-5, [0.0, -0.05], HOLE, tailwater=[-np.inf, 0.08])
    assert result.share.tolist() == [1.0, 0.0]


@pytest.mark.parametrize(
    ("lips", "tailwater", "rim", "level"),
    [
        ([0.004, 0.001, np.inf], None, None, 0.001),
        ([0.004, 0.001], [-np.inf, 0.003], None, 0.003),
        ([0.004, 0.001], [-np.inf, 0.009], None, 0.004),
        ([0.004, 0.001], None, -0.002, -0.002),
        ([0.004, 0.001], [0.02, 0.03], 0.01, 0.01),
        ([np.inf, np.inf], None, 0.25, 0.25),
    ],
)
def test_still_water_stands_at_the_lowest_way_out(lips, tailwater, rim, level):
    result = split(0.0, lips, HOLE, tailwater, rim=rim)
    assert result.level == level
    assert not result.flow.any()
    assert not result.share.any()
    assert result.overflow == 0
    assert result.imbalance == 0


def test_what_the_outlets_cannot_take_goes_over_the_rim():
    lips, rim, inflow = [0.0, 0.01, np.inf], 0.06, 0.02
    at_rim = HOLE.discharge([rim, rim - 0.01])
    result = split(inflow, lips, HOLE, rim=rim)
    assert result.level == rim
    np.testing.assert_allclose(result.flow, [*at_rim, 0.0], rtol=1e-14)
    assert float(result.overflow) == pytest.approx(inflow - at_rim.sum(), rel=1e-14)


def test_a_rim_below_every_lip_takes_it_all():
    result = split(1e-4, [0.0, 0.01], HOLE, rim=-0.02)
    assert result.level == -0.02
    assert result.overflow == 1e-4
    assert not result.flow.any()


def test_all_capped_with_a_rim_overtops():
    result = split([0.0, 1e-4], [np.inf, np.inf], HOLE, rim=0.1)
    assert result.overflow.tolist() == [0.0, 1e-4]
    assert result.level.tolist() == [0.1, 0.1]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"inflow": -1e-6}, r"inflow \[m3/s\] is -1e-06"),
        ({"inflow": np.nan}, r"inflow \[m3/s\] is nan"),
        ({"inflow": np.inf}, r"inflow \[m3/s\] is inf"),
        ({"inflow": [1e-5, -2.0]}, "inflow.* is -2.0"),
        ({"lips": [0.0, np.nan]}, r"lips \[m\] is nan"),
        ({"lips": [0.0, -np.inf]}, r"lips \[m\] is -inf"),
        ({"lips": []}, "no outlets"),
        ({"lips": 0.0}, "no outlets"),
        ({"lips": [np.inf, np.inf]}, "every outlet of a box is capped"),
        ({"lips": [[0.0, 0.0], [np.inf, np.inf]]}, "every outlet of a box is capped"),
        ({"tailwater": [0.0, np.nan]}, r"tailwater \[m\] is nan"),
        ({"tailwater": [0.0, np.inf]}, r"tailwater \[m\] is inf"),
        ({"rim": np.nan}, r"rim \[m\] is nan"),
        ({"rim": np.inf}, r"rim \[m\] is inf"),
        ({"openings": [HOLE]}, "1 openings for 2 lips"),
        ({"openings": []}, "0 openings for 2 lips"),
        ({"tailwater": [0.0, 0.0, 0.0]}, "do not fit"),
        ({"inflow": [1e-5] * 3, "lips": [[0.0, 0.0]] * 2}, "do not fit"),
        ({"inflow": [1e-5] * 3, "rim": [0.1] * 2}, "do not fit"),
    ],
)
def test_impossible_input_is_refused_by_name(arguments, message):
    good = {"inflow": 1e-5, "lips": [0.0, 0.001], "openings": HOLE}
    with pytest.raises(DomainError, match=message):
        split(**(good | arguments))


def test_an_error_is_also_a_value_error():
    with pytest.raises(ValueError, match="no outlets"):
        split(1e-5, [], HOLE)


def test_leading_axes_broadcast():
    inflow, lips = np.full((4, 1), 1e-5), np.zeros((3, 2))
    result = split(inflow, lips, HOLE, tailwater=np.full(2, -np.inf), rim=np.full((1, 3), 0.1))
    assert result.level.shape == result.overflow.shape == result.imbalance.shape == (4, 3)
    assert result.inflow.shape == result.within_model_range.shape == (4, 3)
    assert result.flow.shape == result.head.shape == result.share.shape == (4, 3, 2)
    single = split(1e-5, [0.0, 0.0], HOLE)
    assert single.level.shape == ()
    assert single.share.shape == (2,)
    assert split([], [0.0, 0.0], HOLE).share.shape == (0, 2)


def test_one_opening_or_one_for_each_is_the_same():
    lips = [0.0, 0.002, -0.001]
    one, each = split(1e-4, lips, HOLE), split(1e-4, lips, [HOLE] * 3)
    np.testing.assert_array_equal(one.flow, each.flow)
    assert one.openings == each.openings == (HOLE,) * 3


def test_results_are_read_only_and_their_own():
    inflow, lips = np.array([1e-5, 2e-5]), np.array([0.0, 0.001])
    result = split(inflow, lips, HOLE)
    for array in (result.inflow, result.level, result.head, result.flow, result.overflow):
        assert not array.flags.writeable
    inflow[:], lips[:] = 9.0, 9.0
    assert result.inflow.tolist() == [1e-5, 2e-5]
    assert np.all(result.imbalance <= BALANCE)
    with pytest.raises(AttributeError):
        result.level = np.zeros(2)


def drawn_boxes(count, mixed):
    rng = np.random.default_rng(20)
    lips = rng.normal(0, 0.0015, (count, 6))
    inflow = 10 ** rng.uniform(-5, np.log10(2e-3), count)
    hole = Circle(0.0508)
    kinds = [hole, hole, Slot(0.02), Notch(1.0), hole, PipeEnd(0.1)] if mixed else hole
    return inflow, lips, kinds


@pytest.mark.parametrize("mixed", [False, True])
def test_many_boxes_at_once_or_one_by_one_and_the_same_again(mixed):
    inflow, lips, kinds = drawn_boxes(20_000, mixed)
    result, again = split(inflow, lips, kinds), split(inflow, lips, kinds)
    assert result.flow.tobytes() == again.flow.tobytes()
    assert result.imbalance.max() <= BALANCE
    for i in np.linspace(0, inflow.size - 1, 40, dtype=int):
        single = split(inflow[i], lips[i], kinds)
        agree(result.flow[i], single.flow, inflow[i])


def test_boxes_of_every_kind_in_one_call():
    """Dry, capped, drowned, overtopping and ordinary boxes do not disturb each other."""
    inflow = np.array([0.0, 1e-5, 1e-5, 0.05, 1e-5])
    lips = np.array([[0.0, 0.0], [np.inf, 0.0], [0.0, 0.0], [0.0, 0.0], [0.0, 0.001]])
    tails = np.full((5, 2), -np.inf)
    tails[2, 0] = 0.02
    result = split(inflow, lips, HOLE, tails, rim=0.06)
    for i in range(5):
        single = split(inflow[i], lips[i], HOLE, tails[i], rim=0.06)
        agree(result.flow[i], single.flow, inflow[i])
        assert result.overflow[i] == pytest.approx(single.overflow, rel=1e-13)


def test_model_range_looks_only_at_running_outlets():
    law = Circle(0.05)  # measured from 5 to 50 mm
    level_at = [float(law.discharge(h)) for h in (0.004, 0.02, 0.06)]
    assert split(level_at, [0.0], law).within_model_range.tolist() == [False, True, False]
    # the second lip is dry, then wet by 4 mm
    flows = [law.discharge(0.02), law.discharge(0.02) + law.discharge(0.004)]
    result = split(np.array(flows), [[0.0, 0.021], [0.0, 0.016]], law)
    assert result.within_model_range.tolist() == [True, False]


INCH = 0.0254


def test_nothing_to_say_inside_the_range():
    result = split([2e-4, 1e-3], [0.0, 0.002], HOLE)
    assert range_notes(result, ["pour", "dose"]) == ()


def test_a_trickle_names_its_case_its_heads_and_the_reason():
    notch, inflow = Notch(1.2, coefficient=0.58), 1e-6
    scale = 0.58 * 8 / 15 * np.sqrt(2 * GRAVITY) * np.tan(0.6)
    alone, shared = (inflow / scale) ** 0.4, (inflow / 3 / scale) ** 0.4
    lips = [0.0, 1.01 * alone, np.inf, 2 * alone]  # one outlet runs, three are open
    result = split([1e-2, inflow], lips, notch)
    (sentence,) = sentences(range_notes(result, ["dose", "trickle"]))
    assert sentence.startswith(f"trickle: heads of {1000 * alone:.1f} mm (all lips level: ")
    assert f"(all lips level: {1000 * shared:.1f} mm)" in sentence
    assert "below 5 mm surface tension decides and weir formulas are out of their range" in sentence


def test_unequal_heads_are_given_as_a_span():
    running = float(HOLE.discharge(0.004) + HOLE.discharge(0.003))
    (sentence,) = sentences(range_notes(split([running], [0.0, 0.001], HOLE), ["trickle"]))
    assert "heads of 3.0 to 4.0 mm" in sentence


def test_one_outlet_under_5_mm_is_enough():
    running = float(HOLE.discharge(0.006) + HOLE.discharge(0.004))
    (sentence,) = sentences(range_notes(split([running], [0.0, 0.002], HOLE), ["day"]))
    assert "heads of 4.0 to 6.0 mm" in sentence
    assert "below 5 mm surface tension decides" in sentence


def test_deep_water_gives_the_other_reason():
    law = Circle(0.05)
    (sentence,) = sentences(range_notes(split([law.discharge(0.08)], [0.0], law), ["flood"]))
    assert "80.0 mm" in sentence
    assert "outside the heads at which the discharge coefficient was measured" in sentence
    assert "surface tension" not in sentence


def test_every_case_outside_has_its_own_sentence():
    result = split([1e-6, 3e-4, 2e-6], [0.0, 0.0], HOLE)
    said = sentences(range_notes(result, ["sip", "pour", "trickle"]))
    assert [s.split(":")[0] for s in said] == ["sip", "trickle"]


def test_a_caution_on_a_shape_is_told_once_and_only_if_it_is_open():
    slot, wide_notch = Slot(0.02), Notch(np.radians(120))
    lips, kinds = [0.0, 0.0, np.inf], [slot, slot, wide_notch]
    level_for = 2 * float(slot.discharge(0.05))
    assert range_notes(split([level_for], lips, kinds), ["dose"]) == slot.cautions


def test_no_flow_no_sentence():
    assert range_notes(split([0.0], [0.0, 0.0], Circle(0.05)), ["none"]) == ()


@pytest.mark.parametrize("opening", [HOLE, Circle(0.0508)], ids=repr)
@pytest.mark.parametrize("lips", [[0.0, 0.0], [0.0, np.inf], [np.inf, np.inf]])
def test_overtopping_is_told_with_its_amount(opening, lips):
    """Whatever else is in range: water over the rim is the first thing to know."""
    result = split([0.05], lips, opening, rim=0.045)
    over = 0.05 - float(opening.discharge(0.045)) * np.isfinite(lips).sum()
    said = sentences(range_notes(result, ["burst"]))
    (sentence,) = [s for s in said if "overtops" in s]
    assert sentence.startswith("burst: ")
    assert f"at its rim by {1000 * over:.2g} L/s" in sentence


def test_water_that_all_goes_over_a_low_rim_is_told():
    result = split([1e-4], [0.0, 0.0], HOLE, rim=-0.01)
    (sentence,) = sentences(range_notes(result, ["pour"]))
    assert "overtops at its rim by 0.1 L/s" in sentence


def test_the_head_is_about_3_8_mm_for_five_holes_at_half_a_gallon_a_minute():
    """1-3/4 in holes, C 0.6, 0.5 gpm: 3.8 mm were the lips level (computed by quadrature)."""
    lips = [INCH * h for h in (0, 3 / 32, -5 / 32, 0, 3 / 32)]
    gpm = 231 * INCH**3 / 60
    result = split([0.5 * gpm, 25 * gpm], lips, Circle(1.75 * INCH, coefficient=0.6))
    (sentence,) = sentences(range_notes(result, ["trickle", "dose"]))
    assert "all lips level: 3.8 mm" in sentence
