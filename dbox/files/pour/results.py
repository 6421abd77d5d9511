"""How is a pour test written for machines? JSON-ready objects in SI, the unit in the key.

What is not known or was not caught is null, never 0 and never NaN.
"""

from typing import Any

import numpy as np

from dbox.fieldwork.pour.finding import Finding
from dbox.fieldwork.pour.fit import LEAST_BLOCKAGE, LIP_SPREAD, PRIOR, Explanation
from dbox.fieldwork.pour.predict import Expectation, balance

Json = dict[str, Any]


def pour_json(
    expectation: Expectation, explanations: tuple[Explanation, ...], finding: Finding | None
) -> Json:
    """The answer of `dbox pour --json`.

    Parameters
    ----------
    expectation : Expectation
        The pours and what the readings say of them.
    explanations : tuple of Explanation
        From `explain`; empty where no pour is weighed.
    finding : Finding or None
        From `judge`; None where no pour is weighed.

    Returns
    -------
    dict
        `still_level_m`, `order`, `pours`, `finding`, `explanations`, `assumed` and `warnings`.
    """
    labels = [o.label for o in expectation.site.outlets]
    return {
        "still_level_m": expectation.still_level,
        "order": [labels[i] for i in expectation.order],
        "pours": [_pour(expectation, case) for case in range(len(expectation.pours))],
        "finding": _finding(finding, labels) if finding else _withheld(expectation),
        "explanations": [
            _explanation(e, labels, [expectation.pours[case].name for case in expectation.weighed])
            for e in explanations
        ],
        "assumed": {
            "prior": PRIOR,
            "lip_spread_m": LIP_SPREAD,
            "least_blockage": LEAST_BLOCKAGE,
        },
        "warnings": list(dict.fromkeys(expectation.warnings)),
    }


def _pour(expectation: Expectation, case: int) -> Json:
    pour, result = expectation.pours[case], expectation.result
    return {
        "name": pour.name,
        "inflow_m3_s": pour.inflow,
        "volume_m3": pour.volume,
        "jug_m3": pour.jug,
        "error": pour.error,
        "level_m": float(result.level[case]),
        "overflow_m3_s": float(result.overflow[case]),
        "settling_s": _number(expectation.settling[case]),
        "within_model_range": bool(result.within_model_range[case]),
        "jet_decides": bool(expectation.jet_decides[case]),
        "outlets": [_outlet(expectation, case, i) for i in range(len(result.openings))],
        "balance": _balance(expectation, case) if pour.done else None,
    }


def _outlet(expectation: Expectation, case: int, i: int) -> Json:
    flow, low, high = expectation.result.flow, expectation.low, expectation.high
    stands = expectation.stands[case, i]
    return {
        "label": expectation.site.outlets[i].label,
        "lip_m": _number(expectation.lips.height[i]),
        "first_probability": float(expectation.first_probability[i]),
        "share": float(expectation.result.share[case, i]),
        "flow_m3_s": float(flow[case, i]),
        "flow_low_m3_s": float(low[case, i]),
        "flow_high_m3_s": float(high[case, i]),
        "fill_s": _number(expectation.fill_time(flow)[case, i]),
        # the most flow fills the jug first
        "fill_low_s": _number(expectation.fill_time(high)[case, i]),
        "fill_high_s": _number(expectation.fill_time(low)[case, i]),
        "caught_m3_s": _number(expectation.caught[case, i]),
        "stands": None if np.isnan(stands) else ("below", "within", "above")[int(stands) + 1],
    }


def _balance(expectation: Expectation, case: int) -> Json:
    found = balance(expectation, case)
    return {
        "verdict": found.verdict,
        "caught_m3_s": found.caught,
        "missing_m3_s": found.missing,
        "missing_low_m3_s": found.low,
        "missing_high_m3_s": found.high,
        "not_caught": [expectation.site.outlets[i].label for i in found.uncaught],
    }


def _finding(finding: Finding, labels: list[str]) -> Json:
    second = finding.second_pour
    return {
        "verdict": finding.verdict,
        "outlet": None if finding.outlet is None else labels[finding.outlet],
        "kind": finding.kind,
        "probability": finding.probability,
        "second_pour": second
        and {
            "inflow_m3_s": second.inflow,
            "outlet": labels[second.outlet],
            "flow_m3_s": second.flow,
            "rival_flow_m3_s": second.rival_flow,
        },
        "readings_needed": finding.readings,
        "dry": [labels[i] for i in finding.dry],
    }


def _withheld(expectation: Expectation) -> Json | None:
    """Before the pour there is no finding; where the jet decides in every pour, none can be had."""
    if not any(pour.done for pour in expectation.pours):
        return None
    empty = ("outlet", "kind", "probability", "second_pour", "readings_needed")
    return {"verdict": "cannot tell", **dict.fromkeys(empty), "dry": []}


def _explanation(explanation: Explanation, labels: list[str], names: list[str]) -> Json:
    unit = {"agree": None, "height": "_m", "blockage": ""}[explanation.kind]
    ends = {"off": explanation.size, "off_low": explanation.low, "off_high": explanation.high}
    return {
        "explanation": explanation.kind,
        "outlet": None if explanation.outlet is None else labels[explanation.outlet],
        "probability": explanation.probability,
        "misfit_probability": explanation.chance,
        **({} if unit is None else {f"{key}{unit}": value for key, value in ends.items()}),
        "lips": [
            {"label": label, "lip_m": _number(lip), "error_m": float(error)}
            for label, lip, error in zip(
                labels, explanation.lip, explanation.lip_error, strict=True
            )
        ],
        "pours": [
            {"name": name, "flow_m3_s": flow.tolist()}
            for name, flow in zip(names, explanation.flow, strict=True)
        ],
    }


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
