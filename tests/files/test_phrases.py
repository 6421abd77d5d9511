"""Openings and heights from the command line. Exact: sizes by hand from 1 in = 25.4 mm."""

import math

import pytest

from dbox.errors import ScenarioError
from dbox.files.typed import heights_from_text, opening_from_text
from dbox.hydraulics.openings import Circle, Notch, Opening, PipeEnd, Slot


@pytest.mark.parametrize(
    ("text", "opening"),
    [
        ("circle 2 in", Circle(0.0508)),
        ("Circle 50mm", Circle(0.05)),
        ("circle 1-3/4 in", Circle(1.75 * 0.0254)),
        ("notch 90 deg", Notch(math.pi / 2)),
        ("slot 1 in", Slot(0.0254)),
        ("slot 1 in x 2 in", Slot(0.0254, 0.0508)),
        ("slot 1 in × 2 in", Slot(0.0254, 0.0508)),
        ("pipe 4.026 in", PipeEnd(4.026 * 0.0254)),
    ],
)
def test_openings(text: str, opening: Opening) -> None:
    assert opening_from_text(text) == opening


def test_a_coefficient_and_a_bare_unit_are_passed_on() -> None:
    assert opening_from_text("circle 2", 0.6, "in") == Circle(0.0508, coefficient=0.6)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("circel 2 in", "did you mean circle?"),
        ("", "circle 2 in"),
        ("2 in", "circle 2 in"),
        ("circle", 'write it as "circle 2 in"'),
        ("circle 2 in x 3 in", 'write it as "circle 2 in"'),
        ("circle 2", "its diameter is"),
        ("circle 0 in", "between 1 mm and 1 m"),
        ("circle 2 ft 40 in", "between 1 mm and 1 m"),
        ("notch 2 in", "an angle is wanted here"),
        ("notch 180 deg", "between 1 deg and 179 deg"),
        ("slot 1 in x", "its height is empty"),
        ("circle 5 gpm", "a length is wanted here"),
    ],
)
def test_phrases_that_are_no_opening(text: str, said: str) -> None:
    with pytest.raises(ScenarioError, match=r"^is ") as caught:
        opening_from_text(text)
    assert said in str(caught.value)


def test_heights() -> None:
    inch = 0.0254
    assert heights_from_text("1/8, 0, -1/16, 1/8", "in") == pytest.approx(
        [inch / 8, 0, -inch / 16, inch / 8]
    )
    assert heights_from_text("3 mm; 1/8 in; 0") == pytest.approx([0.003, inch / 8, 0])


def test_every_height_that_cannot_be_read_is_told() -> None:
    with pytest.raises(ScenarioError) as caught:
        heights_from_text("1/8, x, 0, 1/0,, 3 ft 9 in", "in")
    assert [fault[:6] for fault in caught.value.faults] == ["[2] is", "[4] is", "[5] is", "[6] is"]
