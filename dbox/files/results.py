"""How is a result written for machines? JSON-ready objects in SI, the unit in the key.

Shares are fractions. What is not known is null, never 0 and never NaN.
"""

from typing import Any

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.confidence import Assessment
from dbox.fieldwork.levelling.plan import Levelling
from dbox.fieldwork.site import Site
from dbox.files.notation import clock_text

Json = dict[str, Any]


def split_json(site: Site, assessment: Assessment) -> Json:
    """The answer of `dbox split --json`.

    Parameters
    ----------
    site : Site
        The box that was asked about.
    assessment : Assessment
        Its shares.

    Returns
    -------
    dict
        `cases`, `tolerance` and `warnings`.
    """
    tolerance = site.tolerance
    return {
        "cases": _cases(assessment),
        "tolerance": tolerance and {"share": tolerance.share, "source": tolerance.source},
        "warnings": list(assessment.warnings),
    }


def level_json(levelling: Levelling) -> Json:
    """The answer of `dbox level --json`.

    Parameters
    ----------
    levelling : Levelling
        What to do at the box.

    Returns
    -------
    dict
        `goal_lip_m`, `verdict`, `outlets`, `plane`, `lift`, `order`, `still_level_m`, `before`,
        `after` and `warnings`.
    """
    plane, lift = levelling.plane, levelling.lift
    labels = levelling.before.labels
    return {
        "goal_lip_m": _number(levelling.goal.height),
        "verdict": levelling.verdict,
        "outlets": [_outlet(levelling, i) for i in range(len(labels))],
        "plane": plane
        and {
            "slope_x": plane.slope_x,
            "slope_y": plane.slope_y,
            "residual_m": [_number(r) for r in plane.residual],
        },
        "lift": lift and {"far_end_m": lift.far_end, "right_side_m": lift.right_side},
        "order": [labels[i] for i in levelling.order],
        "still_level_m": levelling.still_level.tolist(),
        "before": _cases(levelling.before),
        "after": _cases(levelling.after),
        "warnings": [*levelling.warnings, *levelling.before.warnings],
    }


def _outlet(levelling: Levelling, i: int) -> Json:
    clocks = levelling.angle_before[i], levelling.angle_after[i]
    before, after = (None if np.isnan(angle) else clock_text(angle) for angle in clocks)
    return {
        "label": levelling.before.labels[i],
        "lip_m": _number(levelling.before.lips.height[i]),
        "move_m": _number(levelling.move[i]),
        "turn_deg": _number(np.degrees(levelling.turn[i])),
        "clock_before": before,
        "clock_after": after,
        "lip_after_m": _number(levelling.lip_after[i]),
        "reachable": bool(levelling.reachable[i]),
    }


def _cases(assessment: Assessment) -> list[Json]:
    result, inside = assessment.result, assessment.result.within_model_range
    return [
        {
            "name": name,
            "inflow_m3_s": float(result.inflow[case]),
            "level_m": float(result.level[case]),
            "overflow_m3_s": float(result.overflow[case]),
            "within_model_range": bool(inside[case]),
            "verdict": assessment.verdicts[case],
            "within_probability": _number(assessment.within_probability[case]),
            "jet_decides": bool(assessment.jet_decides[case]),
            "worst_over_target": float(assessment.worst_over_target[case]),
            "cv": float(assessment.cv[case]),
            "settling_spread_m": _number(assessment.settling_spread[case]),
            "outlets": _shares(assessment, case),
        }
        for case, name in enumerate(assessment.names)
    ]


def _shares(assessment: Assessment, case: int) -> list[Json]:
    result = assessment.result
    columns: dict[str, Array] = {
        "lip_m": assessment.lips.height,
        "head_m": result.head[case],
        "flow_m3_s": result.flow[case],
        "share": result.share[case],
        "share_low": assessment.share_low[case],
        "share_high": assessment.share_high[case],
        "target": assessment.target,
    }
    return [
        {"label": label, **{key: _number(column[i]) for key, column in columns.items()}}
        for i, label in enumerate(assessment.labels)
    ]


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
