"""The text of `dbox teach`: what a lean or a wrong lip does, in a table of 72 columns."""

from collections.abc import Sequence

import numpy as np

from dbox.fieldwork.lessons.cases import Case
from dbox.fieldwork.lessons.compare import Comparison
from dbox.fieldwork.lessons.one_lip import LipTable
from dbox.fieldwork.lessons.sweep import Sweep
from dbox.files.lessons.case_words import (
    BLANKS,
    CAUTION,
    INVENTED,
    QUESTION,
    Rows,
    answer,
    pours_said,
    readings,
    same_at_all_outlets,
    seen_at_outlets,
    seen_of_the_whole,
)
from dbox.files.notation import (
    gpm,
    gpm_litres,
    inches,
    inches_mm,
    litres_per_min,
    millimetres,
    percent,
)
from dbox_cli.output import noted, wrapped

LOW_WORDS = {
    "far": "the far side",
    "inlet": "the inlet side",
    "right": "the right side",
    "left": "the left side",
}
_MOST_ROWS, _MOST_FLOWS = 6, 4
_WIDTH, _CELL = 71, 15


def sweep_report(sweep: Sweep) -> list[str]:
    """Lines of at most 72 columns.

    Parameters
    ----------
    sweep : Sweep
        What was computed.
    """
    site, flows = sweep.site, sweep.site.flows
    lines = wrapped(f"{site.title}{' (invented)' if site.record.invented else ''}".strip() or "Box")
    lines += wrapped(_headline(sweep))
    what = "Share" if sweep.equal_targets else "Share over target"
    about = (
        f"then {LOW_WORDS[sweep.toward]} is let down. {what} of the worst line, and which it is:"
    )
    lines += ["", *wrapped(f"Lips level before the box leans; {about}")]
    for start in range(0, len(flows), _MOST_FLOWS):
        part = range(start, min(start + _MOST_FLOWS, len(flows)))
        lines += ["", *_sweep_table(sweep, part)]
    allowed = percent(sweep.tolerance.share, 0)
    lines += ["", *wrapped(f"Every line stays within {allowed} of its target:")]
    for flow, limit in zip(flows, sweep.limit, strict=True):
        lines += wrapped(f"  at {_name(flow.name, flow.inflow)}: {_limit(sweep, float(limit))}",
                         indent="    ")  # fmt: skip
    if sweep.tolerance.source:
        lines += ["", *wrapped(f"Tolerance from: {sweep.tolerance.source}")]
    return lines + noted(sweep.warnings)


def _headline(sweep: Sweep) -> str:
    amounts = [flow.inflow for flow in sweep.site.flows]
    weak, strong = int(np.argmin(amounts)), int(np.argmax(amounts))
    lean = min(0.125 * 0.0254, float(sweep.tilt[-1]))
    step = int(np.abs(sweep.tilt - lean).argmin())
    line = int(sweep.worst[weak, step])
    return (
        f"With {LOW_WORDS[sweep.toward]} {inches_mm(float(sweep.tilt[step]))} low, outlet "
        f"{sweep.site.outlets[line].label} gets {percent(float(sweep.share[weak, step, line]))} at "
        f"{gpm_litres(amounts[weak])} and {percent(float(sweep.share[strong, step, line]))} at "
        f"{gpm_litres(amounts[strong])}; its target is {percent(float(sweep.target[line]))}."
    )


def _sweep_table(sweep: Sweep, part: range) -> list[str]:
    flows = [sweep.site.flows[i] for i in part]
    lines = [f"  {'low by':<18}" + "".join(f"{gpm(flow.inflow):>12}" for flow in flows)]
    lines.append(f"  {'':<18}" + "".join(f"{litres_per_min(flow.inflow):>12}" for flow in flows))
    every = max(1, (sweep.tilt.size - 1) // _MOST_ROWS)
    for step in range(0, sweep.tilt.size, every):
        lean = float(sweep.tilt[step])
        row = f"  {inches(lean, parts=64):>8} {millimetres(lean):>9}"
        for i in part:
            label = sweep.site.outlets[int(sweep.worst[i, step])].label
            which = f" ({label})" if step and len(label) <= 2 else ""
            worst = percent(sweep.scale * float(sweep.over_target[i, step]))
            row += f"{worst}{which}".rjust(12)
        lines.append(row)
    return lines


def _limit(sweep: Sweep, limit: float) -> str:
    if limit == np.inf:
        return f"all the way to {inches_mm(float(sweep.tilt[-1]))}"
    if limit == 0:
        return "not even level"
    return f"up to {inches(limit, parts=64)} ({millimetres(limit)})"


def compare_report(comparison: Comparison) -> list[str]:
    """Lines of at most 72 columns.

    Parameters
    ----------
    comparison : Comparison
        What was computed.
    """
    flows = comparison.flows
    error = "low" if comparison.error < 0 else "high"
    weakest = gpm_litres(flows[comparison.weakest].inflow)
    lines = wrapped(
        f"{comparison.outlets} outlets, one lip {inches_mm(abs(comparison.error))} {error}: share "
        f"of its line, with the most forgiving opening at {weakest} first. Fair is "
        f"{percent(comparison.fair)}."
    )
    for start in range(0, len(flows), _MOST_FLOWS):
        part = range(start, min(start + _MOST_FLOWS, len(flows)))
        lines += ["", *_compare_table(comparison, part)]
    lines += ["", *wrapped(
        "Drop: water over level lips at the strongest flow; the inlet must stand higher than that. "
        "A narrow opening stops up sooner, which no number here shows (common practice, no source)."
    )]  # fmt: skip
    return lines + noted([comparison.caution] if comparison.caution else [])


def _compare_table(comparison: Comparison, part: range) -> list[str]:
    flows = [comparison.flows[i] for i in part]
    lines = [f"  {'opening':<16}" + "".join(f"{gpm(flow.inflow):>10}" for flow in flows)
             + f"{'drop':>14}"]  # fmt: skip
    lines.append(f"  {'':<16}" + "".join(f"{litres_per_min(flow.inflow):>10}" for flow in flows))
    for k in comparison.order:
        name, drop = comparison.kinds[k].name, float(comparison.drop[k])
        if len(name) > 15:
            lines.append(f"  {name}")
            name = ""
        shares = "".join(f"{percent(float(comparison.share[k, i])):>10}" for i in part)
        lines.append(f"  {name:<16}{shares}{inches(drop):>14}")
        heads = "".join(f"{millimetres(float(comparison.head[k, i])):>10}" for i in part)
        lines.append(f"  {'  head':<16}{heads}{millimetres(drop):>14}")
    return lines


def table_report(table: LipTable) -> list[str]:
    """Lines of at most 72 columns: the table of the handout.

    Parameters
    ----------
    table : LipTable
        What was computed.
    """
    lines = wrapped(
        f"{table.outlets} outlets, one lip wrong: share of its line. Fair is {percent(table.fair)}."
    )
    heads = [f"{inches(abs(e), parts=32)}" for e in table.error.tolist()]
    sides = ["low" if e < 0 else "HIGH" for e in table.error.tolist()]
    lines += ["", f"  {'total flow':<12}{'head':>8}" + "".join(f"{h:>10}" for h in heads)]
    lines.append(f"  {'':<20}" + "".join(f"{side:>10}" for side in sides))
    for flow, head, shares in zip(table.flows, table.level_head, table.share.tolist(), strict=True):
        lines.append(
            f"  {litres_per_min(flow.inflow):<12}{millimetres(float(head)):>8}"
            + "".join(f"{percent(share, 0):>10}" for share in shares)
        )
    return lines + noted(table.warnings)


def case_report(cases: Sequence[Case]) -> list[str]:
    """Lines of at most 72 columns: what each group is given.

    Parameters
    ----------
    cases : sequence of Case
        One for each group.
    """
    lines: list[str] = []
    for case in cases:
        lines += [case.shown.title, "", *_rows(readings(case)), "", *wrapped(pours_said(case)), ""]
        differing = seen_at_outlets(case)
        lines += [*_rows(differing), ""] if differing.rows else []
        alike = "; ".join(same_at_all_outlets(case))
        lines += wrapped(f"At every outlet alike: {alike}.")
        lines += ["", *(line for seen in seen_of_the_whole(case) for line in wrapped(seen))]
        lines += ["", *wrapped(QUESTION), *(f"  {blank + ':':<14}______" for blank in BLANKS), ""]
    return [*lines, *wrapped(INVENTED), *wrapped(CAUTION)]


def key_report(cases: Sequence[Case]) -> list[str]:
    """Lines of at most 72 columns: the key.

    Parameters
    ----------
    cases : sequence of Case
        One for each group.
    """
    lines: list[str] = []
    for case in cases:
        lines += [f"KEY to {case.site.title}"]
        for name, words in answer(case):
            lines += wrapped(f"{name}: {words}", first="  ", indent="    ")
        for reason in case.why:
            lines += wrapped(reason, first="  - ", indent="    ")
        lines.append("")
    return [*lines, *wrapped(INVENTED)]


def _rows(table: Rows) -> list[str]:
    """A table of a case; a name too long for its column gets a line of its own."""
    first = _WIDTH - _CELL * (len(table.heads) - 1)
    lines = []
    for name, *cells in (table.heads, *table.rows):
        if len(name) >= first:
            lines.append(name)
            name = ""
        lines.append(f"{name:<{first}}" + "".join(f"{cell:>{_CELL}}" for cell in cells))
    return lines


def _name(name: str, inflow: float) -> str:
    return gpm_litres(inflow) if name[:1].isdigit() else f"{name} ({litres_per_min(inflow)})"
