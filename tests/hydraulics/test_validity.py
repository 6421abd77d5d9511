"""The sentences that say where the formulas leave their range."""

import numpy as np
import pytest

from dbox import Circle, Notch, Slot, split
from dbox.arrays import GRAVITY
from dbox.hydraulics.split import range_notes
from dbox.report.wording import sentences

HOLE = Circle(0.0508, coefficient=0.6)
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
