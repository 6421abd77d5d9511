"""How are falls written for machines? JSON-ready objects in SI, the unit in the key."""

from typing import Any

import numpy as np

from dbox.fieldwork.grades.assess import Drop, Grading, RunGrade
from dbox.fieldwork.grades.falls import Falls
from dbox.fieldwork.records.survey import Limit
from dbox.files.grades.words import doubts, findings

Json = dict[str, Any]


def grades_json(grading: Grading) -> Json:
    """The answer of `dbox grades --json`.

    Parameters
    ----------
    grading : Grading
        The falls.

    Returns
    -------
    dict
        `verdict`, `spread_m`, `runs`, `inlet_drops`, `findings`, `doubts` and `warnings`. Heights
        are over the line of sight of the rod, or the datum of the elevations.
    """
    return {
        "verdict": grading.verdict,
        "spread_m": grading.spread,
        "runs": [_run(grading, grade) for grade in grading.runs],
        "inlet_drops": [_drop(drop) for drop in grading.drops],
        "findings": list(findings(grading)),
        "doubts": list(doubts(grading)),
        "warnings": list(grading.warnings),
    }


def _run(grading: Grading, grade: RunGrade) -> Json:
    run, length = grade.run, float(grade.at[-1] - grade.at[0])
    return {
        "name": run.name,
        "kind": run.kind,
        "outlet": run.outlet,
        "limit": _limit(grade.limit, "slope"),
        "length_m": length,
        **_fall(grade.whole, 0, length),
        "fit_slope": grade.line.slope,
        "fit_slope_error": grade.line.slope_error,
        "capacity_m3_s": _number(grade.capacity),
        "stations": [_station(grade, i) for i in range(len(run.stations))],
        "pieces": [
            {
                "from_m": float(grade.at[i]),
                "to_m": float(grade.at[i + 1]),
                **_fall(grade.pieces, i, float(grade.length[i])),
            }
            for i in range(len(grade.length))
        ],
        "flows": _flows(grading, grade),
    }


def _station(grade: RunGrade, i: int) -> Json:
    return {
        "name": grade.run.stations[i].name,
        "at_m": float(grade.at[i]),
        "height_m": float(grade.height[i]),
        "error_m": float(grade.error[i]),
        "residual_m": float(grade.line.residual[i]),
        "sag_m": _number(grade.sag[i]),
        "belly": bool(grade.belly[i]),
        "pond_m": float(grade.pond[i]),
    }


def _fall(falls: Falls, i: int, length: float) -> Json:
    fall = float(falls.fall.flat[i])
    return {
        "fall_m": fall,
        "error_m": float(falls.error.flat[i]),
        "slope": fall / length,
        "probability": float(falls.probability.flat[i]),
        "verdict": falls.verdicts[i],
    }


def _drop(drop: Drop) -> Json:
    return {
        "from": drop.upper,
        "to": drop.lower,
        "outlet": drop.outlet,
        "limit": _limit(drop.limit, "drop_m"),
        "drop_m": float(drop.fall.fall),
        "error_m": float(drop.fall.error),
        "probability": float(drop.fall.probability),
        "verdict": drop.fall.verdicts[0],
    }


def _limit(limit: Limit, key: str) -> Json:
    return {key: limit.value, "source": limit.source, "default": limit.default}


def _flows(grading: Grading, grade: RunGrade) -> list[Json]:
    header = grade.header
    if header is None:
        return []
    return [
        {
            "name": flow.name,
            "flow_m3_s": float(header.flow[i]),
            "normal_depth_m": float(header.normal_depth[i]),
            "critical_depth_m": float(header.critical_depth[i]),
            "verdict": header.verdicts[i],
        }
        for i, flow in enumerate(grading.flows)
    ]


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
