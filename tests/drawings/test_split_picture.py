"""Section and strips show the lips, levels, shares and bands of the result."""

import numpy as np
import pytest
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon

from dbox import Circle, Notch, PipeEnd, Slot
from dbox.drawings.split_picture import View, draw_strip, split_figure
from dbox.drawings.style import MEDIUM, OVER, TITLE, UNDER, WATER, WITHIN
from dbox.errors import DomainError
from dbox.fieldwork.shares import assess
from dbox.fieldwork.site import Flow, Target
from dbox.lengths import PLAIN
from dbox.report.split_report import title
from dbox.report.wording import sentences
from dbox.units import INCH, gpm, inches, litres_per_min, millimetres
from tests.drawings import paper
from tests.drawings.cases import NAMES, SIX, box, sites, split_drawn
from tests.fieldwork.sites import LITRE_PER_MINUTE
from tests.fieldwork.sites import box as lips_of


def drawn(site):
    assessment = assess(site, samples=100)
    return assessment, split_figure(site, assessment)


@pytest.mark.everyday(2)
@pytest.mark.parametrize("name", NAMES)
def test_water_and_lips_stand_at_the_heights_of_the_result(name):
    assessment, figure = split_drawn(name)
    waters = [("still water", 0.0)]
    for flow, level in zip(assessment.names[:6], assessment.result.level, strict=False):
        waters.append((f"level {flow}", level))
    for label, level in waters:
        (line,) = paper.named(figure, Line2D, label)
        assert np.array_equal(line.get_ydata(), [level, level])
    outlets = zip(sites()[name].outlets, assessment.lips.height, strict=True)
    for place, (outlet, lip) in enumerate(outlets):
        lips = paper.named(figure, Line2D, f"lip {outlet.label}")
        assert len(lips) == (not outlet.capped)
        for line in lips:
            assert np.array_equal(line.get_ydata(), [lip, lip])
            assert np.mean(line.get_xdata()) == pytest.approx(place)
    view = View.of(assessment, column=0.5, height=3.0)
    lips = assessment.lips.height[np.isfinite(assessment.lips.height)]
    assert view.low < min(lips.min(), 0.0)
    assert view.high > max(lips.max(), 0.0)
    assert view.upright == pytest.approx(3.0 / (view.high - view.low))
    assert view.level <= view.upright


def test_lips_are_written_in_sixteenths_and_millimetres():
    site = box(5, noise=3.0)
    assessment, figure = drawn(site)
    written = paper.texts(figure)
    for lip in assessment.lips.height:
        assert inches(lip, signed=True) in written
        assert millimetres(lip, signed=True) in written
    for level in assessment.result.level:
        assert PLAIN.both(level, signed=True) in written


@pytest.mark.slow
def test_units_go_to_the_head_where_columns_are_narrow_and_the_stretch_is_told():
    assessment, figure = drawn(box(20))
    written = paper.texts(figure)
    assert any("times the widths" in text for text in written)
    assert {"lip, in", "lip, mm"} <= set(written)
    for lip in assessment.lips.height:
        assert inches(lip, signed=True).removesuffix(" in") in written


@pytest.mark.everyday(2)
@pytest.mark.parametrize("name", [n for n in NAMES if "long" not in str(n.values[0])])
def test_each_outlet_is_labelled_once(name):
    site = sites()[name]
    _, figure = split_drawn(name)
    bold = [t.get_text() for t in paper.words(figure) if t.get_weight() == "bold"]
    for outlet in site.outlets:
        assert bold.count(outlet.label) == 1


def test_a_32nd_of_an_inch_is_seen_at_the_lips_and_the_scale_is_said():
    assessment, figure = split_drawn("off-level")
    view = View.of(assessment, column=0.9, height=2.0)
    assert view.upright * INCH / 32 >= 0.07
    (heading,) = [text for text in paper.texts(figure) if "times the widths" in text]
    drawn_at = float(heading.split("drawn ")[1].split(" times")[0])
    (hole,) = paper.named(figure, Polygon, "hole 1")
    wide, high = np.ptp(hole.get_window_extent(), axis=0)
    # a round hole is as high as wide; cut off by the view it is not, its outline is
    assert high / wide == pytest.approx(drawn_at, rel=0.06)


@pytest.mark.parametrize("name", ["off-level", "twelve, two capped", "every hole", "two"])
def test_in_true_proportions_a_round_hole_is_round_and_streams_are_as_wide_as_flows(name):
    assessment, figure = split_drawn(name)
    for outlet, share in zip(sites()[name].outlets, assessment.result.share.T, strict=True):
        wholes = paper.named(figure, Polygon, f"whole {outlet.label}")
        streams = paper.named(figure, Polygon, f"stream {outlet.label}")
        assert len(wholes) == len(streams) == (0 if outlet.capped else len(share))
        for whole in wholes if isinstance(outlet.opening, Circle) else ():
            box = whole.get_window_extent()
            assert box.height == pytest.approx(box.width, rel=0.01)
        widths = [np.ptp(stream.get_xy()[:, 0]) for stream in streams]
        assert widths == pytest.approx(share[: len(widths)] * _stream_scale(assessment, figure))


def _stream_scale(assessment, figure):
    """Paper over share, from the widest stream. [in]"""
    streams = [a for a in figure.findobj(Polygon) if str(a.get_label()).startswith("stream ")]
    return max(np.ptp(a.get_xy()[:, 0]) for a in streams) / assessment.result.share.max()


def test_water_in_true_proportions_stands_at_the_level_of_its_flow():
    assessment, figure = split_drawn("off-level")
    drawn_at = [
        line.get_ydata()[0]
        for line in paper.lines(figure)
        if line.get_color() == WATER.colour and line.get_linewidth() == MEDIUM
    ]
    assert drawn_at == pytest.approx(assessment.result.level)


@pytest.mark.parametrize("name", ["off-level", "tilted-rebed"])
def test_the_title_is_what_the_lowest_lip_gets(name):
    assessment, figure = split_drawn(name)
    lips = assessment.lips.height
    low = int(np.argmin(lips))
    under = np.median(np.delete(lips, low)) - lips[low]
    weak, strong = (f"{100 * assessment.result.share[k, low]:.0f} %" for k in (0, -1))
    gets = f"outlet {assessment.labels[low]} gets {weak} of a trickle, {strong} of a dose"
    (written,) = [t.get_text() for t in paper.words(figure) if t.get_fontsize() == TITLE]
    assert " ".join(written.split()) == f"{inches(under)} low: {gets}"


def test_a_title_says_no_more_than_the_readings_do():
    def title_of(low, **more):
        flows = [Flow(name=n, inflow=q * LITRE_PER_MINUTE) for n, q in (("drip", 2), ("dose", 99))]
        site = lips_of([low, 0.0, 0.0, 0.0], openings=Circle(0.05), flows=flows, **more)
        return title(site, assess(site, samples=400))

    assert title_of(0.0, spread=0.001).startswith("At best estimate every line gets its target")
    # half a spread is nothing that a ruler has shown, ten are
    assert title_of(-0.001, spread=0.002).startswith("Cannot tell: outlet 1 gets ")
    assert title_of(-0.004, spread=0.0004).startswith("5/32 in low: outlet 1 gets ")
    # outside for sure at the dose, though not to be told for the drip
    unsure = title_of(-0.004, spread=0.002, tolerance=0.001)
    assert unsure.startswith("Outlet 1 gets ")
    assert " to " in unsure.split(" of a drip")[0]
    # lines of other lengths want lips of other heights
    unequal = title_of(
        -0.004, spread=0.0004, target=Target(by="list", weights=(0.1, 0.3, 0.3, 0.3))
    )
    assert unequal.startswith("Outlet 1 gets ")
    assert unequal.endswith(" (target 10 %)")


def test_a_hole_is_to_scale_in_height():
    site = box(5, openings=(Circle(0.03), PipeEnd(0.1), Slot(0.02, 0.05)))
    assessment, figure = drawn(site)
    for outlet, lip in zip(site.outlets, assessment.lips.height, strict=True):
        hole, *_ = paper.named(figure, Polygon, f"whole {outlet.label}")
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
    corners = opening.outline(reach=height)
    across = [x for x, z in corners if np.isclose(z, min(height, opening.top))]
    if isinstance(opening, Slot) and opening.height:
        across = [x for x, _ in corners]
    assert np.ptp(across) == pytest.approx(width)
    assert corners[:, 1].min() == 0.0


def test_capped_outlets_are_hatched_and_say_so():
    _, figure = drawn(box(6, capped=(1, 4)))
    assert paper.texts(figure).count("capped") == 2
    for axes in figure.axes[1:5]:
        assert len([a for a in axes.patches if a.get_hatch() == "////"]) == 2


@pytest.mark.slow
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


def strip_of(assessment, flow=0):
    axes = Figure().add_subplot()
    draw_strip(axes, assessment, flow, column=0.6)
    return assessment, axes


def line(axes, label):
    (found,) = [a for a in axes.lines if a.get_label() == label]
    return found


@pytest.mark.everyday(2)
@pytest.mark.parametrize("name", NAMES)
def test_whiskers_end_at_the_band_and_bars_at_the_share(name):
    assessment, axes = strip_of(split_drawn(name)[0])
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


@pytest.mark.slow
def test_the_tolerance_is_shaded_about_each_target():
    assessment, axes = strip_of(split_drawn("unequal-lines")[0], flow=1)
    shaded = [a for a in axes.patches if np.isclose(a.get_alpha() or a.get_facecolor()[3], 0.3)]
    assert len(shaded) == len(assessment.labels)
    for band, target in zip(shaded, assessment.target, strict=True):
        assert band.get_y() == pytest.approx(100 * target * (1 - assessment.tolerance))
        assert band.get_height() == pytest.approx(200 * target * assessment.tolerance)


def test_without_a_tolerance_nothing_is_shaded_and_no_verdict_given():
    site = box(4, tolerance=None)
    assessment, figure = drawn(site)
    _, axes = strip_of(assessment)
    assert not [a for a in axes.patches if a.get_hatch()]
    written = paper.texts(figure)
    assert written.count("no tolerance given") == len(site.flows)
    assert not any("cannot tell" in text for text in written)


@pytest.mark.slow
def test_a_broken_whisker_shows_dry_lips_only_where_they_matter():
    """Five holes of 45 mm; at 1 L/min a lip 3 mm low may get nearly all, at 20 L/min it does not"""
    flows = [Flow(name=f"{q}", inflow=q * LITRE_PER_MINUTE) for q in (1, 20)]
    hole = Circle(0.045, coefficient=0.6)
    low = [0.0, -0.003, 0.0004, 0.0015, -0.0005]
    site = lips_of(low, openings=hole, spread=0.0004, flows=flows)
    assessment, axes = strip_of(assess(site, samples=400))
    for i, label in enumerate(assessment.labels):
        ends = [100 * assessment.share_rising_low[0, i], 100 * assessment.share_rising_high[0, i]]
        assert line(axes, f"rising {label}").get_ydata() == pytest.approx(ends)
    _, faster = strip_of(assessment, flow=1)
    assert not [a for a in faster.lines if str(a.get_label()).startswith("rising")]
    figure = split_figure(site, assessment)
    assert "while dry lips hold back" in paper.texts(figure)
    assert max(a.get_ylim()[1] for a in figure.axes[1:]) >= 100 * assessment.share_rising_high.max()
    level = lips_of([0.0] * 5, openings=hole, spread=0.0004, flows=flows)
    assert "while dry lips hold back" not in paper.texts(drawn(level)[1])


def test_capped_outlets_have_neither_target_nor_band():
    _, axes = strip_of(assess(box(5, capped=(2,)), samples=50))
    assert [a for a in axes.lines if a.get_label() in ("target 3", "band 3")] == []


@pytest.mark.everyday(1)
@pytest.mark.parametrize("name", ["off-level", "unequal-lines", "twenty, six flows, long"])
def test_each_strip_says_its_flow_its_amount_and_its_verdict(name):
    site = sites()[name]
    assessment, figure = split_drawn(name)
    written = paper.texts(figure)
    for flow, verdict in zip(site.flows, assessment.verdicts, strict=True):
        assert flow.name in written
        us, metric = gpm(flow.inflow), litres_per_min(flow.inflow)
        assert (f"{metric} ({us})" if site.metric else f"{us} ({metric})") in written
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


def test_shares_stand_under_their_bars_and_the_key_tells_what_marks_mean():
    _, figure = split_drawn("off-level")
    written = paper.texts(figure)
    # 46.1, 3.5 and 22.5 % of trickle, trickle and dose, to two digits
    assert {"▲ 46 %", "▼ 3.5 %", "? 23 %"} <= set(written)
    assert any(text.startswith("5 to 95 % band") for text in written)
    assert {"▲ over its share", "target", "within 10 % of the target"} <= set(written)


@pytest.mark.parametrize("name", ["off-level", "twelve, two capped", "unequal-lines"])
def test_a_bar_is_over_or_under_only_where_its_whole_band_is(name):
    assessment, _ = split_drawn(name)
    for flow, (low, high) in enumerate(
        zip(assessment.share_low, assessment.share_high, strict=True)
    ):
        axes = strip_of(assessment, flow)[1]
        least, most = (assessment.target * (1 + k * assessment.tolerance) for k in (-1, 1))
        for i, bar in enumerate(each.patches[0] for each in axes.containers):
            hatch = {OVER.hatch: "over", UNDER.hatch: "under"}.get(bar.get_hatch(), "")
            expected = "over" if low[i] > most[i] else "under" if high[i] < least[i] else ""
            assert hatch == (expected if assessment.target[i] else "")
            green = bar.get_facecolor() == to_rgba(WITHIN.colour)
            assert green == bool(assessment.target[i] and low[i] >= least[i] and high[i] <= most[i])


def test_flow_lines_differ_without_colour():
    _, figure = drawn(box(2, amounts=SIX))
    levels = [a for a in paper.lines(figure) if str(a.get_label()).startswith("level ")]
    assert len(levels) == 6
    assert len({str(a._dash_pattern) for a in levels}) == 6
    assert all(np.array_equal(a.get_color(), "0.0") for a in levels if isinstance(a, Line2D))
