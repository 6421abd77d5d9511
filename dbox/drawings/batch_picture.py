"""How many boxes of a list are within tolerance, on one sheet."""

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from dbox.arrays import Array
from dbox.drawings.style import (
    BODY,
    EDGE,
    HAIR,
    INK,
    MEDIUM,
    MOST_FLOWS,
    OVER,
    SMALL,
    TINT,
    WATER,
    WITHIN,
    Sheet,
    pens,
    text_width,
    wrap,
)
from dbox.fieldwork.many_boxes import EDGES, Tally
from dbox.fieldwork.shares import VERDICTS
from dbox.fieldwork.site import Flow
from dbox.report.cautions import MODEL
from dbox.units import gpm_litres

_LOOKS: dict[str, tuple[str, dict[str, Any]]] = {
    "within": (f"{WITHIN.sign} within", {"facecolor": WITHIN.colour}),
    "outside": (f"{OVER.sign} outside", {"facecolor": OVER.colour, "hatch": OVER.hatch}),
    "cannot tell": ("? cannot tell", {"facecolor": TINT}),
}
"""How a verdict is called and drawn."""
_NAME_ROOM, _BAR, _STRIP = 1.9, 0.36, 1.85
_TOGETHER = 5
"""Bins of `EDGES` to a bar. [-]"""

_CAUTIONS = [
    "The worst line of a box is the one with the largest share over its target; 1 is as wanted.",
    "Cannot tell: the readings are too coarse for a verdict. Read again, or with a finer ruler.",
    MODEL,
]


@pens
def batch_figure(flows: tuple[Flow, ...], tally: Tally, name: str = "") -> Figure:
    """Draw what a list of boxes came to; name: of the list."""
    sheet = Sheet.blank()
    refused, lines = int(tally.refused[0]), [name] * bool(name)
    if refused:
        lines.append(f"{refused:,} rows could not be computed.")
    sheet.head(_headline(tally), *lines)
    drawn = flows[:MOST_FLOWS]
    more = len(flows) - len(drawn)
    sheet.foot([*_CAUTIONS, *[f"{more} more flows are in the results only."] * (more > 0)])
    if tally.boxes:
        _draw_verdicts(sheet, drawn, tally)
        _draw_worst(sheet, drawn, tally)
    return sheet.figure


def _headline(tally: Tally) -> str:
    """How many boxes are outside at one flow or another, and how many cannot be told."""
    if not tally.boxes:
        return "No box could be judged"
    within, outside, unknown = tally.verdicts.tolist()
    boxes = "1 box" if tally.boxes == 1 else f"{tally.boxes:,} boxes"
    return f"{outside:,} of {boxes} outside tolerance, {within:,} within, {unknown:,} cannot tell"


def whole_percents(counts: Array) -> list[int]:
    """Parts of a whole in per cent that add up to 100: the largest remainders are rounded up.

    >>> whole_percents(np.array([3, 26, 11]))
    [8, 65, 27]
    """
    exact = 100.0 * counts / counts.sum()
    parts = np.floor(exact).astype(int)
    order = np.argsort(parts - exact, kind="stable")
    parts[order[: 100 - int(parts.sum())]] += 1
    return [int(part) for part in parts]


def _draw_verdicts(sheet: Sheet, flows: tuple[Flow, ...], tally: Tally) -> None:
    """A bar for all flows and one for each, parted by verdict."""
    sheet.heading("Verdicts", "boxes, and parts of all in per cent")
    by_flow = zip(flows, tally.by_flow[: len(flows)], strict=True)
    rows = [("all flows", tally.verdicts), *((flow.name, counts) for flow, counts in by_flow)]
    height = len(rows) * _BAR
    left = sheet.left + _NAME_ROOM
    axes = sheet.axes(left, sheet.right, sheet.top - height, sheet.top)
    plate = {"facecolor": "white", "edgecolor": "none", "pad": 1.5}
    for row, (name, counts) in enumerate(rows):
        parts = counts / counts.sum()
        starts = np.cumsum(parts) - parts
        cells = zip(VERDICTS, counts.tolist(), whole_percents(counts), starts, parts, strict=True)
        for word, count, percent, start, part in cells:
            axes.barh(row, part, 0.62, start, **EDGE, **_LOOKS[word][1])
            room = part * (sheet.right - left) - 0.1
            texts = (f"{count:,} ({percent} %)", f"{count:,}")
            fits = [text for text in texts if text_width(text, SMALL) <= room]
            if fits:
                axes.text(start + part / 2, row, fits[0], ha="center", va="center",
                          fontsize=SMALL, bbox=plate)  # fmt: skip
        middle = sheet.top - (row + 0.5) * _BAR
        sheet.write(left - 0.1, middle, _cut(name, BODY), BODY, ha="right", va="center")
    axes.set(xlim=(0, 1), ylim=(len(rows) - 0.5, -0.5))
    axes.set_axis_off()
    sheet.top -= height + 0.05
    marks = [(Patch(**EDGE, **_LOOKS[word][1]), _LOOKS[word][0]) for word in VERDICTS]
    sheet.key(marks, (left, sheet.top))
    sheet.top -= 0.4


def _draw_worst(sheet: Sheet, flows: tuple[Flow, ...], tally: Tally) -> None:
    """A strip for each flow: how many boxes have a worst line so far over its target."""
    about = "how many boxes; solid: the middle box; dashed: one box in ten is worse"
    sheet.heading("Worst line of each box", about)
    height = min(_STRIP, (sheet.top - sheet.bottom - 0.45) / len(flows))
    left = sheet.left + _NAME_ROOM
    middle, most = tally.worst_at(0.5), tally.worst_at(0.9)
    for case, flow in enumerate(flows):
        top = sheet.top - case * height
        axes = sheet.axes(left, sheet.right, top - height + 0.18, top - 0.1)
        _draw_strip(
            axes, tally.worst[case], (middle[case], most[case]), last=case == len(flows) - 1
        )
        name = _cut(flow.name, BODY, "bold")
        sheet.write(sheet.left, top - 0.15, name, BODY, weight="bold")
        told = "" if flow.name[:1].isdigit() else f"{gpm_litres(flow.inflow)}\n"
        told += f"middle box {middle[case]:.2g} times\none in ten over {most[case]:.2g} times"
        sheet.write(sheet.left, top - 0.36, told)
    bottom = sheet.top - len(flows) * height - 0.05
    sheet.write(
        (left + sheet.right) / 2, bottom, "share of the worst line, times its target", ha="center"
    )


def _draw_strip(axes: Axes, boxes: Array, quantiles: tuple[float, float], *, last: bool) -> None:
    # the open bin, which comes last, is drawn as wide as the others
    lower = EDGES[:-1:_TOGETHER]
    width = lower[1] - lower[0]
    heights = np.add.reduceat(boxes, np.arange(0, boxes.size, _TOGETHER))
    axes.bar(lower, heights, width, align="edge", color=WATER.colour, edgecolor=INK, linewidth=HAIR)
    for quantile, style in zip(quantiles, ("-", (0, (4, 2))), strict=True):
        axes.axvline(quantile, color=INK, linewidth=MEDIUM, linestyle=style)
    axes.set(xlim=(1.0, EDGES[-2] + width), ylim=(0, 1.08 * max(heights.max(), 1e-9)))
    ticks = np.arange(1.0, EDGES[-2] + 0.01, 0.5)
    axes.set_xticks(ticks, [*(f"{tick:g}" for tick in ticks[:-1]), f"{ticks[-1]:g} +"])
    axes.tick_params(labelbottom=last)
    axes.locator_params(axis="y", nbins=4, prune="upper", integer=True)


def _cut(name: str, size: float, weight: str = "normal") -> str:
    return wrap(name, _NAME_ROOM - 0.5, size, weight, 1)[0]
