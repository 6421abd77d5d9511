"""Numbers of a lesson, for machines and for people.

Shares are fractions in JSON and per cent in a table. What never happens within a sweep is null.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from dbox.fieldwork.lessons import SIDES, Choice, Comparison, LipTable, Sweep
from dbox.fieldwork.site import Flow, Site
from dbox.files.csv_table import csv_text
from dbox.hydraulics.openings import Circle, Notch, Opening, PipeEnd, Slot
from dbox.lengths import PLAIN, Lengths
from dbox.report.blocks import Column, Heading, Paragraph, Section, Table, text, warned
from dbox.report.encode import Json, encode, rows
from dbox.report.text import TOGETHER
from dbox.report.wording import sentences
from dbox.units import (
    FINE_PARTS,
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


def sweep_finding(sweep: Sweep) -> str:
    """What the line that gets the most gets of the weakest and of the strongest flow."""
    flows, lengths = sweep.site.flows, sweep.site.lengths
    step, (weak, strong) = sweep.usual_step, sweep.ends
    line = sweep.worst[weak, step]
    lead = f"{sweep.toward.capitalize()} side {lengths.both(sweep.tilt[step])} low"
    if sweep.over_target[weak, step] < _NOTHING:
        return f"{lead}: every line keeps its target"
    gets = " and ".join(
        f"{percent_text(sweep.share[i, step, line])} at {both_amounts(flows[i].inflow, lengths)}"
        for i in dict.fromkeys((weak, strong))
    )
    return (
        f"{lead}: outlet {sweep.site.outlets[line].label} gets {gets}; its target is "
        f"{percent_text(sweep.target[line])}"
    )


_NOTHING = 1.005
"""Share over target that is as wanted. [-] (judgement)"""


def sweep_report(sweep: Sweep) -> list[str]:
    """Lines of at most 72 columns."""
    lengths, source = sweep.site.lengths, sweep.tolerance.source
    what = "share" if sweep.equal_targets else "share over target"
    allowed = percent_text(sweep.tolerance.share, 0)
    within = [Paragraph(f"Every line stays within {allowed} of its target:")]
    ends = {0.0: "not even level", np.inf: f"all the way to {lengths.both(sweep.tilt[-1])}"}
    for flow, limit in zip(sweep.site.flows, sweep.limit.tolist(), strict=True):
        name = "" if flow.name[:1].isdigit() else f"{flow.name}, "
        words = ends.get(limit) or f"up to {up_to(limit, lengths)}"
        within.append(Paragraph(f"{name}{both_amounts(flow.inflow, lengths)}: {words}", "  ", 2))
    about = (
        f"{titled(sweep.site)}: its lips are level until the {sweep.toward} side is let down. The "
        f"worst line's {what}, and in brackets which line it is:"
    )
    return text([
        [Paragraph(_held(f"{sweep_finding(sweep)}."))],
        [Paragraph(about)],
        *([_leans(sweep, part)] for part in _parts(sweep.site.flows)),
        within,
        [Paragraph(f"Tolerance from: {source}")] if source else [],
        warned(sweep.warnings),
    ])  # fmt: skip


def titled(site: Site) -> str:
    """The title of a box, and that it is made up where it is."""
    unsaid = site.record.invented and "invented" not in site.title
    return f"{site.title or 'A box'}{' (invented)' * unsaid}"


def _leans(sweep: Sweep, part: range) -> Table:
    """The worst line at each of some leans, for some of the flows."""
    lines, fine = [], replace(sweep.site.lengths, parts=FINE_PARTS)
    for step in range(0, sweep.tilt.size, max(1, (sweep.tilt.size - 1) // _MOST_ROWS)):
        lines.append([*fine.pair(float(sweep.tilt[step]))])
        for i in part:
            label = sweep.site.outlets[sweep.worst[i, step]].label
            which = f" ({label})" if step and len(label) <= 2 else ""
            share = percent_text(sweep.scale * sweep.over_target[i, step])
            lines[-1].append(f"{share}{which}")
    heads = [Column("low by", 8, "right"), Column("", 10, "right")]
    return Table([*heads, *_over_columns(sweep.site.flows, part, 12, fine)], lines)


def _parts(flows: Sequence[Flow]) -> list[range]:
    """Places of as many flows as stand side by side."""
    starts = range(0, len(flows), _MOST_FLOWS)
    return [range(start, min(start + _MOST_FLOWS, len(flows))) for start in starts]


def _over_columns(flows: Sequence[Flow], part: range, width: int, lengths: Lengths) -> list[Column]:
    """Gallons and litres a minute over the columns of some flows, that of the job first."""
    both = [both_amounts(flows[i].inflow, lengths).rstrip(")") for i in part]
    return [Column(each.replace(" (", "\n"), width, "right") for each in both]


def error_text(error: float, lengths: Lengths) -> str:
    """How far a lip is off, and which way. [m]"""
    return f"{lengths.both(abs(error))} {'low' if error < 0 else 'high'}"


def compare_finding(comparison: Comparison, lengths: Lengths) -> str:
    """What the line with the wrong lip gets of the weakest flow, by the best opening and worst."""
    weak, order = comparison.weakest, comparison.order.tolist()
    gets = " to ".join(
        f"{percent_text(comparison.share[k, weak])} ({comparison.kinds[k].name})"
        for k in dict.fromkeys((order[0], order[-1]))
    )
    return (
        f"One lip {error_text(comparison.error, lengths)} at "
        f"{both_amounts(comparison.flows[weak].inflow, lengths)}: its line gets {gets}; fair is "
        f"{percent_text(comparison.fair)}"
    )


CLOGS = "a narrow opening clogs sooner; no number here shows that (common practice, no source)"


def compare_report(
    comparison: Comparison, choice: Choice | None = None, lengths: Lengths = PLAIN
) -> list[str]:
    """Lines of at most 72 columns."""
    tables = []
    for part in _parts(comparison.flows):
        lines = []
        for k in comparison.order:
            cells = [(comparison.share[k, i], comparison.head[k, i]) for i in part]
            lines.append([
                f"{comparison.kinds[k].name}\n  water",
                *(f"{percent_text(share)}\n{millimetres(head)}" for share, head in cells),
                "\n".join(lengths.pair(comparison.drop[k])),
            ])  # fmt: skip
        columns = [
            Column("opening", 14, whole=True),
            *_over_columns(comparison.flows, part, 11, lengths),
            Column("drop", 12, "right"),
        ]
        tables.append([Table(columns, lines)])
    about = (
        f"A made-up box with {comparison.outlets} outlets. The share of the line with the wrong "
        "lip, the most forgiving opening first; under it the water over level lips:"
    )
    drop = (
        "Drop: the water at the strongest flow; the inlet must stand higher than that. "
        f"{CLOGS.capitalize()}."
    )
    chosen = _choice_blocks(choice, comparison.order.tolist()) if choice else []
    return text([
        [Paragraph(_held(f"{compare_finding(comparison, lengths)}."))],
        [Paragraph(about)],
        *tables,
        [Paragraph(drop)],
        *chosen,
        warned(comparison.notes),
    ])  # fmt: skip


def _choice_blocks(choice: Choice, order: Iterable[int]) -> list[Section]:
    """Openings side by side, and what the columns mean."""
    site, (weak, strong) = choice.site, choice.flows
    fine = replace(site.lengths, parts=FINE_PARTS)

    def cell(metres: float, unknown: str = "-") -> str:
        rare = {0.0: "not even\nlevel", np.inf: "never"}
        return unknown if np.isnan(metres) else rare.get(metres) or "\n".join(fine.pair(metres))

    # where there is but one flow, its water is told once
    waters = [0, 1] if weak != strong else [0]
    unsaid = f"no\n{'target' if site.target_open else 'tolerance'}"
    heads = [f"water at\n{amount(choice.flows[at].inflow, fine)}" for at in waters]
    heads += [f"a lip off\n{fine.one(choice.spread)}", "a side may\nsettle", "inserts\ncure"]
    lines, clogs = [], [Paragraph("How they clog (common practice, no source):")]
    for k in order:
        name, clog = choice.kinds[k].name, _CLOGS[type(choice.kinds[k].opening)]
        clogs.append(Paragraph(f"{name}: {clog}", "  ", 2))
        lines.append([
            name,
            *(cell(float(choice.head[k, at])) for at in waters),
            percent_text(float(choice.error[k])),
            cell(float(choice.settles[k]), unsaid),
            cell(float(choice.cures[k])),
        ])  # fmt: skip
    limit = f"{percent_text(site.tolerance.share, 0)} off" if site.tolerance else "outside"
    about = (
        f"a lip off: what that moves a share by, of its target, at {amount(weak.inflow, fine)}",
        f"a side may settle: till a line is {limit} at that flow",
        "inserts cure: pipes that stand so unequal, twice the offset",
    )
    table = [Column("opening", 14, whole=True), *(Column(head, 11, "right") for head in heads)]
    return [
        [Paragraph(f"To choose by. {titled(site)}:"), Table(table, lines)],
        [Paragraph(each, "  ", 2) for each in about],
        clogs,
    ]


def _held(sentence: str) -> str:
    """A sentence in which no number is parted from its sign of per cent."""
    return sentence.replace(" %", f"{TOGETHER}%")


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
