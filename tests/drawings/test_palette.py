"""The colours of the screen can be seen on white, by colour-blind eyes and in grey."""

from itertools import combinations

import numpy as np
import pytest

from dbox.drawings.style import PALETTE, WARNING

RED = np.eye(3)[0]

TO_XYZ = np.array([
    [0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
    [0.0193339, 0.1191920, 0.9503041],
])  # fmt: skip
"""Linear sRGB to XYZ under D65, after IEC 61966-2-1:1999 (from memory)."""

WHITE = TO_XYZ @ np.ones(3)

EYES = {
    "usual": np.eye(3),
    # Machado, Oliveira, Fernandes (2009), A Physiologically-based Model for Simulation of Color
    # Vision Deficiency, IEEE Trans. Vis. Comput. Graph. 15(6): the matrices of severity 1.0, for
    # linear RGB, as given in public copies of the authors' table
    "protanopia": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                            [-0.003882, -0.048116, 1.051998]]),
    "deuteranopia": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                              [-0.011820, 0.042940, 0.968881]]),
    "tritanopia": np.array([[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                            [0.004733, 0.691367, 0.303900]]),
}  # fmt: skip

MARK, LETTERS = 3.0, 4.5
"""Least contrast of a graphic and of letters: WCAG 2.1, success criteria 1.4.11 and 1.4.3."""

APART, STEP = 15.0, 5.0
"""Least distance of two colours, and of their lightness; one just noticed is about 2.3. (judgement)

The 2.3: Mahy, Van Eycken, Oosterlinck (1994), Color Research and Application 19(2) (from memory).
"""


def linear(colour: str) -> np.ndarray:
    """Linear RGB of a colour; WCAG 2.1, definition of relative luminance, with IEC's 0.04045."""
    part = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def contrast(one: np.ndarray, other: np.ndarray) -> float:
    """(L1 + 0.05) / (L2 + 0.05) of relative luminances: WCAG 2.1, contrast ratio."""
    low, high = sorted(float(TO_XYZ[1] @ each) for each in (one, other))
    return (high + 0.05) / (low + 0.05)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIELAB of linear RGB (CIE 15:2004)."""
    part = TO_XYZ @ np.clip(rgb, 0.0, 1.0) / WHITE
    root = np.where(part > (6 / 29) ** 3, np.cbrt(part), part / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


def test_the_formulas_give_what_is_known():
    assert contrast(np.zeros(3), np.ones(3)) == pytest.approx(21.0)
    # the darkest grey that passes on white, #767676 at 4.54 (from memory)
    assert contrast(linear("#767676"), np.ones(3)) == pytest.approx(4.54, abs=0.01)
    # sRGB red in CIELAB: 53.24, 80.09, 67.20 (from memory)
    assert lab(RED) == pytest.approx([53.24, 80.09, 67.20], abs=0.02)
    for eyes in EYES.values():
        # white and greys stay as they are
        assert eyes @ np.ones(3) == pytest.approx(np.ones(3), abs=1e-5)


def test_every_colour_can_be_seen_on_white():
    assert min(contrast(linear(role.colour), np.ones(3)) for role in PALETTE) >= MARK
    assert contrast(linear(WARNING.colour), np.ones(3)) >= LETTERS


@pytest.mark.parametrize("eyes", EYES)
def test_no_two_colours_look_alike(eyes):
    seen = [lab(EYES[eyes] @ linear(role.colour)) for role in PALETTE]
    assert min(np.linalg.norm(one - other) for one, other in combinations(seen, 2)) >= APART


def test_colours_are_steps_apart_in_grey():
    lightness = sorted(lab(linear(role.colour))[0] for role in PALETTE)
    assert np.diff(lightness).min() >= STEP


def test_each_role_has_a_word_and_the_verdicts_a_sign_or_a_hatch_of_their_own():
    assert len({role.word for role in PALETTE}) == len(PALETTE)
    told = [(role.sign, role.hatch) for role in PALETTE if role.sign or role.hatch]
    assert len(set(told)) == len(told) >= 5
