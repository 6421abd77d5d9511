"""The section shows the lips and levels of the result, each hole in its own size."""

import numpy as np
import pytest
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon

from dbox import Circle, Notch, PipeEnd, Slot
from dbox.drawings.split_picture import split_figure
from dbox.drawings.wall import View, outline
from dbox.errors import DomainError
from dbox.fieldwork.shares import assess
from dbox.report.wording import sentences
from dbox.units import inches, inches_mm, millimetres
from tests.drawings import paper
from tests.drawings.cases import NAMES, SIX, box, sites, split_drawn


def drawn(site):
    assessment = assess(site, samples=100)
    return assessment, split_figure(site, assessment)


@pytest.mark.parametrize("name", NAMES)
def test_water_lines_stand_at_the_levels_of_the_result(name):
    assessment, figure = split_drawn(name)
    for flow, level in list(zip(assessment.names, assessment.result.level, strict=True))[:6]:
        (line,) = paper.named(figure, Line2D, f"level {flow}")
        assert np.array_equal(line.get_ydata(), [level, level])
    (still,) = paper.named(figure, Line2D, "still water")
    assert np.array_equal(still.get_ydata(), [0.0, 0.0])


@pytest.mark.parametrize("name", NAMES)
def test_every_open_outlet_has_its_lip_at_its_height(name):
    site = sites()[name]
    assessment, figure = split_drawn(name)
    for place, (outlet, lip) in enumerate(zip(site.outlets, assessment.lips.height, strict=True)):
        lips = paper.named(figure, Line2D, f"lip {outlet.label}")
        assert len(lips) == (not outlet.capped)
        for line in lips:
            assert np.array_equal(line.get_ydata(), [lip, lip])
            assert np.mean(line.get_xdata()) == pytest.approx(place)


def test_lips_are_written_in_sixteenths_and_millimetres():
    site = box(5, noise=3.0)
    assessment, figure = drawn(site)
    written = paper.texts(figure)
    for lip in assessment.lips.height:
        assert inches(lip, signed=True) in written
        assert millimetres(lip, signed=True) in written
    for level in assessment.result.level:
        assert inches_mm(level, signed=True) in written


def test_units_go_to_the_head_where_columns_are_narrow():
    assessment, figure = drawn(box(20))
    written = paper.texts(figure)
    assert {"lip, in", "lip, mm"} <= set(written)
    for lip in assessment.lips.height:
        assert inches(lip, signed=True).removesuffix(" in") in written


@pytest.mark.parametrize("name", [n for n in NAMES if "long" not in n])
def test_each_outlet_is_labelled_once(name):
    site = sites()[name]
    _, figure = split_drawn(name)
    bold = [t.get_text() for t in paper.words(figure) if t.get_weight() == "bold"]
    for outlet in site.outlets:
        assert bold.count(outlet.label) == 1


def test_a_hole_is_to_scale_in_height():
    site = box(5, openings=(Circle(0.03), PipeEnd(0.1), Slot(0.02, 0.05)))
    assessment, figure = drawn(site)
    for outlet, lip in zip(site.outlets, assessment.lips.height, strict=True):
        (hole,) = paper.named(figure, Polygon, f"hole {outlet.label}")
        heights = hole.get_xy()[:, 1]
        assert heights.min() == pytest.approx(lip, abs=1e-12)
        assert heights.max() == pytest.approx(lip + outlet.opening.top)


@pytest.mark.parametrize(
    ("opening", "height", "width"),
    [
        (Circle(0.05), 0.025, 0.05),
        (PipeEnd(0.1), 0.05, 0.1),
        (Notch(np.pi / 2), 0.02, 0.04),
        (Slot(0.03), 0.01, 0.03),
        (Slot(0.03, 0.02), 0.01, 0.03),
    ],
)
def test_an_outline_is_as_wide_as_its_opening(opening, height, width):
    corners = outline(opening, reach=height)
    across = [x for x, z in corners if np.isclose(z, min(height, opening.top))]
    if isinstance(opening, Slot) and opening.height:
        across = [x for x, _ in corners]
    assert np.ptp(across) == pytest.approx(width)
    assert corners[:, 1].min() == 0.0


def test_an_unknown_opening_is_not_drawn_as_another():
    class Gap:
        top = 1.0

    with pytest.raises(TypeError, match="no drawing of a Gap"):
        outline(Gap(), 0.1)


@pytest.mark.parametrize("name", NAMES)
def test_the_view_holds_every_lip_and_level(name):
    assessment, _ = split_drawn(name)
    view = View.of(assessment, column=0.5, height=3.0)
    marks = assessment.lips.height[np.isfinite(assessment.lips.height)]
    marks = np.concatenate([marks, assessment.result.level[:6], [0.0]])
    assert np.all((marks > view.low) & (marks < view.high))
    assert view.upright == pytest.approx(3.0 / (view.high - view.low))
    assert view.level <= view.upright


def test_the_section_says_how_far_it_is_stretched():
    _, narrow = drawn(box(20))
    assert any("times the widths" in text for text in paper.texts(narrow))


def test_capped_outlets_are_hatched_and_say_so():
    _, figure = drawn(box(6, capped=(1, 4)))
    assert paper.texts(figure).count("capped") == 2
    hatched = [a for a in figure.axes[1].patches if a.get_hatch() == "////"]
    assert len(hatched) == 2


def test_flows_left_out_are_named():
    site = box(4, amounts={**SIX, "seventh": 4.0, "eighth": 6.0})
    _, figure = drawn(site)
    assert any("not drawn" in t and "seventh, eighth" in t for t in paper.texts(figure))
    assert paper.named(figure, Line2D, "level seventh") == []


def test_every_warning_stands_on_the_sheet():
    assessment, figure = drawn(box(3, amounts={"trickle": 0.5}))
    words = " ".join(" ".join(paper.texts(figure)).split())
    assert assessment.warnings
    assert all(warning in words for warning in sentences(assessment.warnings))


def test_too_many_outlets_or_another_box_are_refused():
    site = box(21)
    with pytest.raises(DomainError, match="21 outlets"):
        split_figure(site, assess(site, samples=10))
    with pytest.raises(DomainError, match="another box"):
        split_figure(box(3), assess(box(4), samples=10))
