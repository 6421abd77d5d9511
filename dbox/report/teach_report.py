"""Numbers of a lesson and its cases, for machines and for people.

Shares are fractions in JSON and per cent in a table. What never happens within a sweep is null.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.evidence import OUTLET_WORDS, WORDS, OutletEvidence
from dbox.fieldwork.lesson_cases import Case
from dbox.fieldwork.lesson_sweeps import SIDES, Comparison, LipTable, Sweep
from dbox.fieldwork.site import Outlet
from dbox.files.evidence_words import NAMES
from dbox.report.cautions import LESSON
from dbox.report.split_report import Json
from dbox.report.text import noted, wrapped
from dbox.units import (
    LITRE,
    MINUTE,
    gpm,
    gpm_litres,
    inches,
    inches_mm,
    litres_per_min,
    millimetres,
)
from dbox.units import percent_text as percent


def sweep_json(sweep: Sweep) -> Json:
    """The answer of `dbox teach sweep --json`."""
    site, tolerance = sweep.site, sweep.tolerance
    return {
        "toward": sweep.toward,
        "invented": site.record.invented,
        "outlets": [
            {"label": outlet.label, "target": float(target)}
            for outlet, target in zip(site.outlets, sweep.target, strict=True)
        ],
        "tolerance": {"share": tolerance.share, "source": tolerance.source},
        "tilt_m": sweep.tilt.tolist(),
        "map_m": sweep.low.tolist(),
        "flows": [
            {
                "name": flow.name,
                "inflow_m3_s": flow.inflow,
                "level_head_m": float(sweep.level_head[i]),
                "within_to_m": float(sweep.limit[i]) if np.isfinite(sweep.limit[i]) else None,
                "shares": sweep.share[i].tolist(),
                "worst_outlet": [site.outlets[k].label for k in sweep.worst[i]],
                "worst_over_target": sweep.over_target[i].tolist(),
                "map_worst_over_target": sweep.map_over_target[i].tolist(),
                "map_off_target": sweep.map_off[i].tolist(),
            }
            for i, flow in enumerate(site.flows)
        ],
        "warnings": list(sweep.warnings),
    }


def sweep_csv(sweep: Sweep) -> str:
    """Curve and map of a sweep as one table, a row for each lean at each flow."""
    heads = [
        "part", "flow", "flow (L/min)", "far side low (mm)", "right side low (mm)",
        *(f"share {outlet.label} (%)" for outlet in sweep.site.outlets),
        "worst over target",
    ]  # fmt: skip
    far, right = (way * sweep.tilt for way in SIDES[sweep.toward])
    grid = np.meshgrid(sweep.low, sweep.low, indexing="ij")
    rows: list[list[str]] = []
    for i, flow in enumerate(sweep.site.flows):
        begin = [flow.name, _cell(flow.inflow * MINUTE / LITRE)]
        rows += _rows(["curve", *begin], far, right, sweep.share[i], sweep.over_target[i])
        rows += _rows(["map", *begin], *grid, sweep.map_share[i], sweep.map_over_target[i])
    return _csv(heads, rows)


def compare_json(comparison: Comparison) -> Json:
    """The answer of `dbox teach compare --json`."""
    kinds, flows = comparison.kinds, comparison.flows
    return {
        "error_m": comparison.error,
        "outlets": comparison.outlets,
        "fair": comparison.fair,
        "kinds": [
            {
                "name": kind.name,
                "drop_m": float(comparison.drop[k]),
                "flows": [
                    {
                        "name": flow.name,
                        "inflow_m3_s": flow.inflow,
                        "share": float(comparison.share[k, i]),
                        "head_m": float(comparison.head[k, i]),
                    }
                    for i, flow in enumerate(flows)
                ],
            }
            for k, kind in enumerate(kinds)
        ],
        "order": [kinds[k].name for k in comparison.order],
        "warnings": list(comparison.warnings),
    }


def compare_csv(comparison: Comparison) -> str:
    """A comparison as a table, a row for each opening at each flow."""
    heads = ["opening", "flow", "flow (L/min)", "error (mm)", "share (%)", "head (mm)"]
    rows = [
        [kind.name, flow.name, *map(_cell, (
            flow.inflow * MINUTE / LITRE, 1e3 * comparison.error,
            100 * comparison.share[k, i], 1e3 * comparison.head[k, i],
        ))]
        for k, kind in enumerate(comparison.kinds)
        for i, flow in enumerate(comparison.flows)
    ]  # fmt: skip
    return _csv(heads, rows)


def table_json(table: LipTable) -> Json:
    """The table of a handout as JSON."""
    return {
        "outlets": table.outlets,
        "fair": table.fair,
        "error_m": table.error.tolist(),
        "flows": [
            {
                "name": flow.name,
                "inflow_m3_s": flow.inflow,
                "level_head_m": float(table.level_head[i]),
                "share": table.share[i].tolist(),
            }
            for i, flow in enumerate(table.flows)
        ],
        "warnings": list(table.warnings),
    }


def cases_json(cases: Sequence[Case], *, key: bool) -> Json:
    """Mystery cases as JSON."""
    return {
        "seed": cases[0].seed,
        "invented": True,
        "cases": [_case(case) | (_answer(case) if key else {}) for case in cases],
    }


def _case(case: Case) -> Json:
    seen = asdict(case.shown.evidence)
    outlets = seen.pop("outlets")
    return {
        "title": case.shown.title,
        "evidence": seen,
        "outlets": [
            {
                "label": outlet.label,
                "readings_m": list(outlet.readings),
                "caught_m3_s": {pour.name: pour.catches[i] for pour in case.shown.pours},
                "evidence": outlets[i],
            }
            for i, outlet in enumerate(case.shown.outlets)
        ],
        "pours": [
            {
                "name": pour.name,
                "inflow_m3_s": pour.inflow,
                "order": [case.shown.outlets[i].label for i in pour.order],
            }
            for pour in case.shown.pours
        ],
    }


def _answer(case: Case) -> Json:
    label = case.site.outlets[case.outlet].label if case.outlet >= 0 else None
    return {
        "key": {
            "cause": case.cause,
            "outlet": label,
            "look": case.look,
            "look_shows": case.look_shows,
            "why": list(case.why),
        }
    }


def _rows(
    begin: list[str], far: Array, right: Array, share: Array, over: Array
) -> Iterable[list[str]]:
    columns = [1e3 * far, 1e3 * right, *np.moveaxis(100 * share, -1, 0), over]
    for cells in zip(*(np.ravel(column) for column in columns), strict=True):
        yield [*begin, *map(_cell, cells)]


def _cell(value: float) -> str:
    return f"{round(float(value), 6) + 0.0:.8g}"


def _csv(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows(rows)
    return text.getvalue()


QUESTION = "Guess first. What is wrong, and at which outlet? What single look would settle it?"
BLANKS = ("Cause", "Outlet", "How sure, %", "The one look")
INVENTED = "INVENTED DATA: a case made up for teaching; no such box was measured."


@dataclass(frozen=True)
class Rows:
    """A table: words over the columns, and the words of each row."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def readings(case: Case) -> Rows:
    """What was read and caught, one column for each outlet."""
    outlets = case.shown.outlets
    most = max(len(outlet.readings) for outlet in outlets)
    rows = [
        (f"lip over still water, reading {i + 1}", *(_reading(outlet, i) for outlet in outlets))
        for i in range(most)
    ]
    for pour in case.shown.pours:
        catches = ("" if c is None else litres_per_min(c) for c in pour.catches)
        rows.append((f"caught, {pour.name} {litres_per_min(pour.inflow)}", *catches))
        places = {outlet: str(place) for place, outlet in enumerate(pour.order, start=1)}
        started = (places.get(i, "never") for i in range(len(outlets)))
        rows.append((f"started, {pour.name}", *started))
    return Rows(("outlet", *(outlet.label for outlet in outlets)), tuple(rows))


def seen_at_outlets(case: Case) -> Rows:
    """What was seen of each outlet and its line, one column for each outlet."""
    outlets = case.shown.outlets
    seen = [case.shown.evidence.of_outlet(i) for i in range(len(outlets))]
    rows = [
        (NAMES[name], *(_outlet_word(each, name) for each in seen))
        for name in (*OUTLET_WORDS, "ground")
        if len({getattr(each, name) for each in seen}) > 1
    ]
    return Rows(("outlet", *(outlet.label for outlet in outlets)), tuple(rows))


def same_at_all_outlets(case: Case) -> tuple[str, ...]:
    """What was seen alike at every outlet, one sentence each."""
    seen = [case.shown.evidence.of_outlet(i) for i in range(len(case.shown.outlets))]
    return tuple(
        f"{NAMES[name]}: {_outlet_word(seen[0], name)}"
        for name in (*OUTLET_WORDS, "ground")
        if {getattr(each, name) for each in seen} != {None}
        and len({getattr(each, name) for each in seen}) == 1
    )


def seen_of_the_whole(case: Case) -> tuple[str, ...]:
    """What was seen of house, tank and box, one sentence each."""
    evidence = case.shown.evidence
    return tuple(
        f"{NAMES[name]}: {getattr(evidence, name)}"
        for name in WORDS
        if getattr(evidence, name) is not None
    )


def answer(case: Case) -> tuple[tuple[str, str], ...]:
    """The key: cause, outlet, the look that settles it and what it shows."""
    label = case.site.outlets[case.outlet].label if case.outlet >= 0 else ""
    where = f", outlet {label}" if case.look_of_outlet and label else ""
    if case.look_of_outlet and not label:
        where = ", any outlet"
    return (
        ("Cause", case.cause_name),
        ("Outlet", label or "the whole box"),
        ("The one look that settles it", f"{NAMES[case.look]}{where}"),
        ("It shows", case.look_shows),
    )


def pours_said(case: Case) -> str:
    """What was poured, and how good the numbers are."""
    poured = " and ".join(f"{p.name} {gpm_litres(p.inflow)}" for p in case.shown.pours)
    return (
        "Four 2 in holes and equal lines: outlet 1 in the left wall, 2 and 3 in the far wall, 4 in "
        "the right wall, seen from the inlet. A reading is good to 1/32 in, + above the water; a "
        f"catch to 5 %. Poured: {poured}."
    )


def _reading(outlet: Outlet, place: int) -> str:
    height = outlet.readings[place]
    return inches(height, signed=True, parts=32) if height else "0 in"


def _outlet_word(seen: OutletEvidence, name: str) -> str:
    value = getattr(seen, name)
    if value is None:
        return ""
    if name == "ground":
        return ", ".join(value) or "none"
    return str(value)


LOW_WORDS = {
    "far": "the far side",
    "inlet": "the inlet side",
    "right": "the right side",
    "left": "the left side",
}
_MOST_ROWS, _MOST_FLOWS = 6, 4
_WIDTH, _CELL = 71, 15


def sweep_report(sweep: Sweep) -> list[str]:
    """Lines of at most 72 columns."""
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
    """Lines of at most 72 columns."""
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
    """Lines of at most 72 columns: the table of the handout."""
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
    """Lines of at most 72 columns: what each group is given."""
    lines: list[str] = []
    for case in cases:
        lines += [
            case.shown.title,
            "",
            *_report_rows(readings(case)),
            "",
            *wrapped(pours_said(case)),
            "",
        ]
        differing = seen_at_outlets(case)
        lines += [*_report_rows(differing), ""] if differing.rows else []
        alike = "; ".join(same_at_all_outlets(case))
        lines += wrapped(f"At every outlet alike: {alike}.")
        lines += ["", *(line for seen in seen_of_the_whole(case) for line in wrapped(seen))]
        lines += ["", *wrapped(QUESTION), *(f"  {blank + ':':<14}______" for blank in BLANKS), ""]
    return [*lines, *wrapped(INVENTED), *wrapped(LESSON)]


def key_report(cases: Sequence[Case]) -> list[str]:
    """Lines of at most 72 columns: the key."""
    lines: list[str] = []
    for case in cases:
        lines += [f"KEY to {case.site.title}"]
        for name, words in answer(case):
            lines += wrapped(f"{name}: {words}", first="  ", indent="    ")
        for reason in case.why:
            lines += wrapped(reason, first="  - ", indent="    ")
        lines.append("")
    return [*lines, *wrapped(INVENTED)]


def _report_rows(table: Rows) -> list[str]:
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
