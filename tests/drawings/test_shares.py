"""The strips show shares, bands, targets and tolerance of the result, in per cent."""

import numpy as np
import pytest
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from dbox.drawings.split_picture import draw_strip, split_figure
from dbox.fieldwork.shares import assess
from dbox.units import gpm_litres
from tests.drawings import paper
from tests.drawings.cases import NAMES, box, sites, split_drawn


def strip_of(site, flow=0):
    from matplotlib.figure import Figure

    assessment = assess(site, samples=200)
    axes = Figure().add_subplot()
    draw_strip(axes, assessment, flow, column=0.6)
    return assessment, axes


def line(axes, label):
    (found,) = [a for a in axes.lines if a.get_label() == label]
    return found


@pytest.mark.parametrize("name", NAMES)
def test_whiskers_end_at_the_band_and_bars_at_the_share(name):
    assessment, axes = strip_of(sites()[name])
    bars = [bar.patches[0] for bar in axes.containers]
    assert len(bars) == len(assessment.labels)
    for i, label in enumerate(assessment.labels):
        assert bars[i].get_height() == pytest.approx(100 * assessment.result.share[0, i])
        if assessment.target[i] == 0:
            continue
        ends = [100 * assessment.share_low[0, i], 100 * assessment.share_high[0, i]]
        assert line(axes, f"band {label}").get_ydata() == pytest.approx(ends)
        assert line(axes, f"target {label}").get_ydata() == pytest.approx(
            2 * [100 * assessment.target[i]]
        )


def test_the_tolerance_is_shaded_about_each_target():
    assessment, axes = strip_of(sites()["unequal-lines"], flow=1)
    shaded = [a for a in axes.patches if isinstance(a, Rectangle) and a.get_hatch()]
    assert len(shaded) == len(assessment.labels)
    for band, target in zip(shaded, assessment.target, strict=True):
        assert band.get_y() == pytest.approx(100 * target * (1 - assessment.tolerance))
        assert band.get_height() == pytest.approx(200 * target * assessment.tolerance)


def test_without_a_tolerance_nothing_is_shaded_and_no_verdict_given():
    site = box(4, tolerance=None)
    _, axes = strip_of(site)
    assert not [a for a in axes.patches if a.get_hatch()]
    written = paper.texts(split_figure(site, assess(site, samples=50)))
    assert written.count("no tolerance given") == len(site.flows)
    assert not any("cannot tell" in text for text in written)


def test_capped_outlets_have_neither_target_nor_band():
    _, axes = strip_of(box(5, capped=(2,)))
    assert [a for a in axes.lines if a.get_label() in ("target 3", "band 3")] == []


@pytest.mark.parametrize("name", ["off-level", "unequal-lines", "twenty, six flows, long"])
def test_each_strip_says_its_flow_its_amount_and_its_verdict(name):
    site = sites()[name]
    assessment, figure = split_drawn(name)
    written = paper.texts(figure)
    for flow, verdict in zip(site.flows, assessment.verdicts, strict=True):
        assert flow.name in written
        assert gpm_litres(flow.inflow) in written
        assert any(text.startswith(f"{verdict} (") for text in written)


def test_strips_share_one_scale_that_holds_everything():
    site = sites()["tilted-curable"]
    assessment, figure = split_drawn("tilted-curable")
    strips = [a for a in figure.axes if any("band" in str(ln.get_label()) for ln in a.lines)]
    assert len(strips) == len(site.flows)
    assert len({a.get_ylim() for a in strips}) == 1
    assert strips[0].get_ylim()[0] == 0.0
    assert strips[0].get_ylim()[1] >= 100 * assessment.share_high.max()
    for axes in strips:
        assert all(tick.get_text().endswith(" %") for tick in axes.get_yticklabels())


def test_shares_in_figures_stand_under_their_bars():
    assessment, figure = split_drawn("off-level")
    written = paper.texts(figure)
    for share in assessment.result.share.flat:
        assert f"{100 * share:.1f} %" in written


def test_the_key_tells_what_bar_whisker_and_dash_mean():
    written = paper.texts(split_drawn("off-level")[1])
    assert "5 to 95 % band left by the reading error" in written
    assert {"share of the flow", "target", "within 10 % of the target"} <= set(written)


def test_flow_lines_differ_without_colour():
    _, figure = split_drawn("twenty, six flows, long")
    levels = [a for a in paper.lines(figure) if str(a.get_label()).startswith("level ")]
    assert len(levels) == 6
    assert len({str(a._dash_pattern) for a in levels}) == 6
    assert all(np.array_equal(a.get_color(), "0.0") for a in levels if isinstance(a, Line2D))
