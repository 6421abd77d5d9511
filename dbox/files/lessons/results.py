"""How are a lesson's numbers handed on? JSON in SI, and tables for a spreadsheet.

Shares are fractions in JSON and per cent in a table. What never happens within a sweep is null.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import asdict

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.lessons.cases import Case
from dbox.fieldwork.lessons.compare import Comparison
from dbox.fieldwork.lessons.one_lip import LipTable
from dbox.fieldwork.lessons.sweep import SIDES, Sweep
from dbox.files.results import Json
from dbox.files.units import LITRE, MINUTE


def sweep_json(sweep: Sweep) -> Json:
    """The answer of `dbox teach sweep --json`.

    Parameters
    ----------
    sweep : Sweep
        What was computed.

    Returns
    -------
    dict
        `toward`, `outlets`, `tolerance`, `tilt_m`, `map_m`, `flows` and `warnings`; the map's
        rows are leans to the far side, its columns leans to the right.
    """
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
    """Curve and map of a sweep as one table, a row for each lean at each flow.

    Parameters
    ----------
    sweep : Sweep
        What was computed.

    Returns
    -------
    str
        Cells parted by commas; the first column is `curve` or `map`.
    """
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
    """The answer of `dbox teach compare --json`.

    Parameters
    ----------
    comparison : Comparison
        What was computed.

    Returns
    -------
    dict
        `error_m`, `outlets`, `fair`, `kinds` in their order, `order` by forgiveness at the weakest
        flow, and `warnings`.
    """
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
    """A comparison as a table, a row for each opening at each flow.

    Parameters
    ----------
    comparison : Comparison
        What was computed.

    Returns
    -------
    str
        Cells parted by commas.
    """
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
    """The table of a handout as JSON.

    Parameters
    ----------
    table : LipTable
        What was computed.

    Returns
    -------
    dict
        `outlets`, `fair`, `error_m`, `flows` with their shares, and `warnings`.
    """
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
    """Mystery cases as JSON.

    Parameters
    ----------
    cases : sequence of Case
        One for each group.
    key : bool
        Whether the answers are told.

    Returns
    -------
    dict
        `seed`, `invented` and `cases`; heights in m over still water, catches in m3/s, what nobody
        looked at is null.
    """
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
