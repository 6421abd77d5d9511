"""What is said of the header behind a bare pipe end."""

from dataclasses import replace

import pytest

from dbox import PipeEnd, split
from dbox.fieldwork.inlet import header_notes
from dbox.report.wording import sentences
from tests.fieldwork.sites import INCH, POUR, box

PIPE = PipeEnd(4 * INCH)


def said(*falls: float | None, capped: tuple[int, ...] = ()) -> tuple[str, ...]:
    """Sentences on a box of bare pipe ends with these falls, 20 L/min poured in."""
    site = box([0.0] * len(falls), openings=PIPE, capped=capped, flows=(POUR,))
    outlets = (replace(o, header_fall=f) for o, f in zip(site.outlets, falls, strict=True))
    flows = split([POUR.inflow], [0.0] * len(falls), PIPE)
    return tuple(sentences(header_notes(replace(site, outlets=tuple(outlets)), flows)))


def test_a_fall_that_was_not_entered_is_an_eighth_of_an_inch_in_a_foot() -> None:
    """1 in 96 is 1.04 %; it is steep for a 4 in pipe of smooth plastic at 10 L/min."""
    (sentence,) = said(None, 0.02)
    assert sentence.startswith("outlet 1: a bare pipe end, its header taken to fall 1.0 % ")
    (two,) = said(None, None)
    assert two.startswith("outlet 1, 2: ")
    assert said(0.02, 0.02) == ()


@pytest.mark.parametrize(("fall", "told"), [(0.0005, True), (0.001, True), (0.02, False)])
def test_a_header_flatter_than_critical_is_told(fall: float, told: bool) -> None:
    """Water runs critical in smooth plastic at slopes of some 0.3 to 0.6 % (from memory)."""
    sentences = said(fall, 0.02)
    assert bool(sentences) is told
    for sentence in sentences:
        assert sentence.startswith(f"outlet 1: its header falls {100 * fall:.2g} %, flatter than")
        assert "at pour; water backs up" in sentence


def test_a_capped_outlet_and_an_insert_have_no_header_to_speak_of() -> None:
    assert said(0.0005, 0.02, capped=(0,)) == ()
    site = box([0.0, 0.0], flows=(POUR,))
    assert header_notes(site, split([POUR.inflow], [0.0, 0.0], site.outlets[0].opening)) == ()
