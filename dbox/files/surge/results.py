"""How is a run written for machines? JSON-ready objects in SI, the unit in the key.

Shares are fractions. What did not happen or is not known is null, never 0 and never NaN.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from dbox.fieldwork.surge.run import Outcome

Json = dict[str, Any]


def surge_json(outcome: Outcome, files: Sequence[str] = ()) -> Json:
    """The answer of `dbox surge --json`.

    Parameters
    ----------
    outcome : Outcome
        The run.
    files : sequence of str
        Files that were written.

    Returns
    -------
    dict
        `event`, `inflow_volume_m3`, `balance_error_relative`, `peak_level_m`, `peak_level_s`,
        `seconds`, `tank_peak_m`, `spilled_m3`, `outlets`, `overloaded`, `ponding`, `files` and
        `warnings`.
    """
    found = outcome.surge
    return {
        "event": found.event.name,
        "inflow_volume_m3": found.came,
        "balance_error_relative": found.balance_error,
        "peak_level_m": found.peak_level,
        "peak_level_s": found.peak_time,
        "seconds": found.seconds,
        "tank_peak_m": _number(found.tank_peak),
        "spilled_m3": float(found.spilled[-1]),
        "outlets": [_outlet(outcome, i) for i in range(len(outcome.labels))],
        "overloaded": [outcome.labels[i] for i in outcome.overloaded],
        "ponding": _ponding(outcome),
        "files": list(files),
        "warnings": list(dict.fromkeys(outcome.warnings)),
    }


def contrast_json(outcomes: Sequence[Outcome], files: Sequence[str] = ()) -> Json:
    """The answer of `dbox surge --contrast --json`.

    Parameters
    ----------
    outcomes : sequence of Outcome
        One run for each flow.
    files : sequence of str
        Files that were written.

    Returns
    -------
    dict
        `runs`, each as `surge_json`, and `files`.
    """
    return {"runs": [surge_json(outcome) for outcome in outcomes], "files": list(files)}


def _outlet(outcome: Outcome, i: int) -> Json:
    found = outcome.surge
    return {
        "label": outcome.labels[i],
        "volume_m3": float(found.volume[-1, i]),
        "share": float(found.share[i]),
        "target": float(outcome.target[i]),
        "peak_flow_m3_s": float(found.peak_flow[i]),
        "first_flow_s": _number(found.first_flow[i]),
        "trench_depth_m": _number(found.depth[-1, i]),
        "trench_full_s": _number(found.filled[i]),
        "surfaced_m3": float(found.surfaced[-1, i]),
        "load_m3_s": _number(outcome.load[i]),
        "capacity_m3_s": _number(outcome.capacity[i]),
    }


def _ponding(outcome: Outcome) -> Json | None:
    ponding = outcome.ponding
    if ponding is None:
        return None

    def label(line: int | None) -> str | None:
        return None if line is None else outcome.labels[line]

    return {
        "first": label(ponding.line),
        "first_s": _number(ponding.time),
        "level_box_first": label(ponding.level_line),
        "level_box_s": _number(ponding.level_time),
        "sooner_s": _number(ponding.sooner),
    }


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
