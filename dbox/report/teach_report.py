"""Numbers of a lesson, for machines and for people.

Shares are fractions in JSON and per cent in a table. What never happens within a sweep is null.
"""

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from dbox.fieldwork.lessons import SIDES, Choice, Comparison, LipTable, Sweep
from dbox.fieldwork.site import Flow
from dbox.files.csv_table import csv_text
from dbox.hydraulics.openings import Circle, Notch, Opening, PipeEnd, Slot
from dbox.lengths import PLAIN, Lengths
from dbox.report.blocks import Column, Heading, Paragraph, Section, Table, columns, text, warned
from dbox.report.encode import Json, encode, rows
from dbox.report.wording import sentences
from dbox.units import (
    INCH,
    LITRE_PER_MINUTE,
    gpm,
    gpm_litres,
    inches,
    litres_per_min,
    millimetres,
    percent_text,
)


def amount(inflow: float, lengths: Lengths) -> str:
    """A flow in the unit of a job. [m3/s]"""
    return litres_per_min(inflow) if lengths.metric else gpm(inflow)


def both_amounts(inflow: float, lengths: Lengths) -> str:
    """A flow both ways, that of the job first. [m3/s]"""
    metric = f"{litres_per_min(inflow)} ({gpm(inflow)})"
    return metric if lengths.metric else gpm_litres(inflow)


def up_to(limit: float, lengths: Lengths) -> str:
    """A limit both ways, never more than it is; below a 64th of an inch in millimetres alone. [m]

    >>> up_to(0.0254 * 0.17, PLAIN), up_to(0.0003, PLAIN), up_to(0.0056, Lengths(metric=True))
    ('5/32 in (4.3 mm)', '0.3 mm', '5.6 mm (7/32 in)')
    """
    metric = millimetres(math.floor(limit * 1e4 + 1e-6) / 1e4)
    parts = math.floor(limit / INCH * 64 + 1e-6)
    pair = [f"{inches(parts / 64 * INCH, parts=64)}", metric]
    if not parts:
        return metric
    return f"{pair[lengths.metric]} ({pair[not lengths.metric]})"


def _flows(flows: Sequence[Flow], **columns: Any) -> list[Json]:
    """One object for each flow, its name and amount first."""
    names, inflow = [flow.name for flow in flows], [flow.inflow for flow in flows]
    return rows(name=names, inflow_m3_s=inflow, **columns)


def sweep_json(sweep: Sweep) -> Json:
    """The answer of `dbox teach sweep --json`."""
    labels = [outlet.label for outlet in sweep.site.outlets]
    answer: Json = encode({
        "toward": sweep.toward,
        "invented": sweep.site.record.invented,
        "outlets": rows(label=labels, target=sweep.target),
        "tolerance": sweep.tolerance,
        "tilt_m": sweep.tilt,
        "map_m": sweep.low,
        "flows": _flows(
            sweep.site.flows,
            level_head_m=sweep.level_head,
            within_to_m=sweep.limit,
            shares=sweep.share,
            worst_outlet=np.array(labels)[sweep.worst],
            worst_over_target=sweep.over_target,
            map_worst_over_target=sweep.map_over_target,
            map_off_target=sweep.map_off,
        ),
        "warnings": sentences(sweep.warnings),
    })  # fmt: skip
    return answer


def sweep_csv(sweep: Sweep) -> str:
    """Curve and map of a sweep as one table, a row for each lean at each flow."""
    heads = [
        "part", "flow", "flow (L/min)", "far side low (mm)", "right side low (mm)",
        *(f"share {outlet.label} (%)" for outlet in sweep.site.outlets),
        "worst over target",
    ]  # fmt: skip
    curve = [way * sweep.tilt for way in SIDES[sweep.toward]]
    grid = np.meshgrid(sweep.low, sweep.low, indexing="ij")
    lines = []
    for i, flow in enumerate(sweep.site.flows):
        for part, (far, right), share, over in (
            ("curve", curve, sweep.share[i], sweep.over_target[i]),
            ("map", grid, sweep.map_share[i], sweep.map_over_target[i]),
        ):
            columns = [1e3 * far, 1e3 * right, *np.moveaxis(100 * share, -1, 0), over]
            begin = part, flow.name, flow.inflow / LITRE_PER_MINUTE
            lines += [[*begin, *row] for row in zip(*map(np.ravel, columns), strict=True)]
    return _csv(heads, lines)


def compare_json(comparison: Comparison, choice: Choice | None = None) -> Json:
    """The answer of `dbox teach compare --json`."""
    names = [kind.name for kind in comparison.kinds]
    pairs = zip(comparison.share, comparison.head, strict=True)
    flows = [_flows(comparison.flows, share=share, head_m=head) for share, head in pairs]
    return {
        "error_m": comparison.error,
        "outlets": comparison.outlets,
        "fair": comparison.fair,
        "kinds": rows(name=names, drop_m=comparison.drop, flows=flows),
        "order": [names[k] for k in comparison.order],
        "warnings": [
            f"{name}: {sentence}"
            for name, table in zip(names, comparison.tables, strict=True)
            for sentence in sentences(table.warnings)
        ],
    } | ({"choice": _choice_json(choice)} if choice else {})


def _choice_json(choice: Choice) -> Json:
    """What openings ask of a box and forgive, at its weakest and strongest flow."""
    names = [kind.name for kind in choice.kinds]
    return {
        "flows": _flows(choice.flows),
        "spread_m": choice.spread,
        "tolerance": choice.site.tolerance and choice.site.tolerance.share,
        "kinds": rows(
            name=names,
            head_m=choice.head,
            drop_m=choice.head[:, 1],
            share_error=choice.error,
            settles_m=choice.settles,
            cures_m=choice.cures,
            clogs=[_CLOGS[type(kind.opening)] for kind in choice.kinds],
        ),
    }


_CLOGS: dict[type[Opening], str] = {
    Circle: "the smaller it is, the sooner hair, paper and scum lie over it; it drowns, then stops",
    Notch: "hair and slime sit in its point, where all of a trickle runs; above it stays open",
    Slot: "strings hang in it all the way up; open on top it goes on running over what is caught",
    PipeEnd: "passes nearly all there is; what lies on the bottom of the pipe raises its lip",
}
"""How each kind of opening clogs. (common practice, no source)"""


def compare_csv(comparison: Comparison) -> str:
    """A comparison as a table, a row for each opening at each flow."""
    heads = ["opening", "flow", "flow (L/min)", "error (mm)", "share (%)", "head (mm)"]
    return _csv(heads, [
        (kind.name, flow.name, flow.inflow / LITRE_PER_MINUTE, 1e3 * comparison.error,
         100 * comparison.share[k, i], 1e3 * comparison.head[k, i])
        for k, kind in enumerate(comparison.kinds)
        for i, flow in enumerate(comparison.flows)
    ])  # fmt: skip


def table_json(table: LipTable) -> Json:
    """The table of a handout as JSON."""
    return {
        "outlets": table.outlets,
        "fair": table.fair,
        "error_m": encode(table.error),
        "flows": _flows(table.flows, level_head_m=table.level_head, share=table.share),
        "warnings": sentences(table.warnings),
    }


def _csv(heads: Sequence[str], lines: Iterable[Sequence[str | float]]) -> str:
    """A table of words and numbers, these to six places."""
    return csv_text(heads, [
        [cell if isinstance(cell, str) else float(f"{round(float(cell), 6):.8g}") for cell in line]
        for line in lines
    ])  # fmt: skip


_MOST_ROWS, _MOST_FLOWS = 6, 4


def sweep_report(sweep: Sweep) -> list[str]:
    """Lines of at most 72 columns."""
    site, flows = sweep.site, sweep.site.flows
    side, allowed = f"the {sweep.toward} side", percent_text(sweep.tolerance.share, 0)
    lengths = site.lengths
    step, (weak, strong) = sweep.usual_step, sweep.ends
    line = sweep.worst[weak, step]
    what = "Share" if sweep.equal_targets else "Share over target"
    title = f"{site.title}{' (invented)' if site.record.invented else ''}".strip() or "Box"
    lead = (
        f"With {side} {lengths.both(sweep.tilt[step])} low, outlet {site.outlets[line].label} "
        f"gets {percent_text(sweep.share[weak, step, line])} at "
        f"{both_amounts(flows[weak].inflow, lengths)} and "
        f"{percent_text(sweep.share[strong, step, line])} at "
        f"{both_amounts(flows[strong].inflow, lengths)}; its target is "
        f"{percent_text(sweep.target[line])}."
    )
    about = (
        f"Lips level before the box leans; then {side} is let down. {what} of the worst line, and "
        "which it is:"
    )
    within = [Paragraph(f"Every line stays within {allowed} of its target:")]
    for flow, limit in zip(flows, sweep.limit.tolist(), strict=True):
        name = f"{flow.name} ({amount(flow.inflow, lengths)})"
        if flow.name[:1].isdigit():
            name = both_amounts(flow.inflow, lengths)
        words = "not even level"
        if limit == np.inf:
            words = f"all the way to {lengths.both(sweep.tilt[-1])}"
        elif limit > 0:
            words = f"up to {up_to(limit, lengths)}"
        within.append(Paragraph(f"at {name}: {words}", "  ", hang=2))
    source = sweep.tolerance.source
    return text([
        [Paragraph(title), Paragraph(lead)],
        [Paragraph(about)],
        *([_leans(sweep, part)] for part in _parts(flows)),
        within,
        [Paragraph(f"Tolerance from: {source}")] if source else [],
        warned(sweep.warnings),
    ])  # fmt: skip


def _leans(sweep: Sweep, part: range) -> Table:
    """The worst line at each of some leans, for some of the flows."""
    lines, metric = [], sweep.site.metric
    for step in range(0, sweep.tilt.size, max(1, (sweep.tilt.size - 1) // _MOST_ROWS)):
        lean = float(sweep.tilt[step])
        lines.append([inches(lean, parts=64), millimetres(lean)][:: -1 if metric else 1])
        for i in part:
            label = sweep.site.outlets[sweep.worst[i, step]].label
            which = f" ({label})" if step and len(label) <= 2 else ""
            share = percent_text(sweep.scale * sweep.over_target[i, step])
            lines[-1].append(f"{share}{which}")
    heads = [Column("low by", 8, "right"), Column("", 10, "right")]
    return Table([*heads, *_over_columns([sweep.site.flows[i] for i in part], 12, metric)],
                 lines)  # fmt: skip


def _parts(flows: Sequence[Flow]) -> list[range]:
    """Places of as many flows as stand side by side."""
    starts = range(0, len(flows), _MOST_FLOWS)
    return [range(start, min(start + _MOST_FLOWS, len(flows))) for start in starts]


def _over_columns(flows: Sequence[Flow], width: int, metric: bool) -> list[Column]:
    """Gallons and litres a minute over the columns of some flows, that of the job first."""
    pairs = [(gpm(f.inflow), litres_per_min(f.inflow))[:: -1 if metric else 1] for f in flows]
    return [Column("\n".join(pair), width, "right") for pair in pairs]


def compare_report(
    comparison: Comparison, choice: Choice | None = None, lengths: Lengths = PLAIN
) -> list[str]:
    """Lines of at most 72 columns."""
    error, flows = comparison.error, comparison.flows
    lead = (
        f"A made-up box with {comparison.outlets} outlets, one lip {lengths.both(abs(error))} "
        f"{'low' if error < 0 else 'high'}: share of its line, with the most forgiving opening at "
        f"{both_amounts(flows[comparison.weakest].inflow, lengths)} first. "
        f"Fair is {percent_text(comparison.fair)}."
    )
    tables = []
    for part in _parts(flows):
        wide = 10 if len(part) > 3 else 12
        heads = _over_columns([flows[i] for i in part], wide, lengths.metric)
        lines = []
        for k in comparison.order:
            cells = [(comparison.share[k, i], comparison.head[k, i]) for i in part]
            drop = comparison.drop[k]
            lines.append([
                f"{comparison.kinds[k].name}\n  head",
                *(f"{percent_text(share)}\n{millimetres(head)}" for share, head in cells),
                "\n".join(lengths.pair(drop)),
            ])  # fmt: skip
        columns = [Column("opening", 16, whole=True), *heads, Column("drop", 14, "right")]
        tables.append([Table(columns, lines)])
    about = (
        "Drop: water over level lips at the strongest flow; the inlet must stand higher than that. "
        "A narrow opening stops up sooner, which no number here shows (common practice, no source)."
    )
    chosen = _choice_blocks(choice, comparison.order.tolist()) if choice else []
    return text([[Paragraph(lead)], *tables, [Paragraph(about)], *chosen, warned(comparison.notes)])


def _choice_blocks(choice: Choice, order: Iterable[int]) -> list[Section]:
    """Openings side by side, and what the columns mean."""
    site, (weak, strong), metric = choice.site, choice.flows, choice.site.metric
    weakest, strongest = (amount(f.inflow, site.lengths) for f in (weak, strong))
    off = site.lengths.one(choice.spread)

    def cell(metres: float, unknown: str = "-") -> str:
        if np.isnan(metres) or not 0.0 < metres < np.inf:
            return unknown if np.isnan(metres) else "never" if metres else "not even\nlevel"
        pair = inches(metres, parts=64), millimetres(metres)
        return "\n".join(pair[::-1] if metric else pair)

    kinds = [(choice.kinds[k], k) for k in order]
    lines = [
        [
            kind.name,
            *(cell(float(head)) for head in choice.head[k]),
            percent_text(float(choice.error[k])),
            cell(float(choice.settles[k]), f"no\n{'target' if site.target_open else 'tolerance'}"),
            cell(float(choice.cures[k])),
        ]
        for kind, k in kinds
    ]
    heads = {
        f"water at\n{weakest}": 12, f"water at\n{strongest}": 12, f"a lip off\n{off}": 12,
        "a side may\nsettle": 11, "inserts\ncure": 10,
    }  # fmt: skip
    title = f"{site.title}{' (invented)' if site.record.invented else ''}".strip() or "this box"
    allowed = site.tolerance and f" {percent_text(site.tolerance.share, 0)}"
    about = (
        f"To choose by, in {title}: water over level lips at the weakest and at "
        "the strongest flow; the inlet must stand higher over the lips than the latter. Then, at "
        f"the weakest flow: what one lip {off} off moves a share by, over its target, and how far "
        f"a side may settle till a line is outside{allowed or ' a tolerance'}. Last, how unequal "
        "the pipes may stand for inserts to make up for it: twice their offset."
    )
    table = Table([Column("opening", 13, whole=True), *columns(heads, "right")], lines)
    clogs = [Paragraph(f"{kind.name}: {_CLOGS[type(kind.opening)]}", "  ", 2) for kind, _ in kinds]
    return [
        [Paragraph(about), table],
        [Paragraph("How they clog (common practice, no source):"), *clogs],
    ]


def lip_blocks(table: LipTable, lengths: Lengths = PLAIN) -> list[Section]:
    """The table of the handout: flows down, errors across."""
    fair = percent_text(table.fair)
    errors = [
        Column(f"{lengths.one(abs(e))}\n{'low' if e < 0 else 'HIGH'}", 9, "right")
        for e in table.error.tolist()
    ]
    heads = [Column("total flow", 12), Column("water over\nlevel lips", 12, "right"), *errors]
    lines = [
        [
            f"{litres_per_min(flow.inflow)}\n{gpm(flow.inflow)}",
            "\n".join(lengths.pair(head)),
            *(percent_text(share, 0) for share in shares),
        ]
        for flow, head, shares in zip(table.flows, table.level_head, table.share, strict=True)
    ]
    words = f"{table.outlets} outlets, one lip wrong: share of its line. Fair is {fair}."
    return [[Heading(words)], [Table(heads, lines)]]


def table_report(table: LipTable, lengths: Lengths = PLAIN) -> list[str]:
    """Lines of at most 72 columns: the table of the handout."""
    return text([*lip_blocks(table, lengths), warned(table.warnings)])
