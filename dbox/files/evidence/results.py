"""How is a diagnosis written for machines? JSON-ready objects in SI, the unit in the key.

What is not known is null, never 0 and never NaN.
"""

from typing import Any

import numpy as np

from dbox.fieldwork.diagnosis.advice import ADVICE
from dbox.fieldwork.diagnosis.diagnose import Answer, Diagnosis, Size
from dbox.fieldwork.diagnosis.fit import Finding
from dbox.fieldwork.diagnosis.next_look import Look
from dbox.fieldwork.diagnosis.overload import Overload
from dbox.fieldwork.site import Site
from dbox.files.evidence.words import look_words, seen_words
from dbox.files.units import MINUTE

Json = dict[str, Any]
_SIZES = {"drop": "m", "fault": "m", "leak": "m3_s"}


def diagnosis_json(diagnosis: Diagnosis) -> Json:
    """The answer of `dbox diagnose --json`.

    Parameters
    ----------
    diagnosis : Diagnosis
        From `diagnose`.

    Returns
    -------
    dict
        `causes`, `next_tests`, `normal`, `contradictions`, `overload`, `fits_well`, `warnings`.
    """
    site = diagnosis.site
    return {
        "causes": [_cause(site, answer) for answer in diagnosis.answers],
        "fits_well": diagnosis.fits_well,
        "next_tests": [_look(site, look) for look in diagnosis.looks],
        "normal": [{"topic": n.topic, "state": n.state, "text": n.text} for n in diagnosis.normal],
        "contradictions": [
            {"one": seen_words(site, pair.one), "other": seen_words(site, pair.other)}
            for pair in diagnosis.contradictions
        ],
        "overload": diagnosis.overload and _overload(site, diagnosis.overload),
        "warnings": list(diagnosis.warnings),
    }


def _cause(site: Site, answer: Answer) -> Json:
    return {
        "cause": answer.cause.key,
        "name": answer.cause.name,
        "outlet": _label(site, answer.outlet),
        "probability": answer.probability,
        "fits": bool(answer.fits),
        "for": _sentences(site, answer.speaks_for),
        "against": _sentences(site, answer.speaks_against),
        "fits_badly": _sentences(site, answer.fits_badly),
        "size": answer.size and _size(answer.size),
        "advice": list(ADVICE[answer.cause.key]),
    }


def _sentences(site: Site, findings: tuple[Finding, ...]) -> list[str]:
    return [seen_words(site, finding.seen) for finding in findings]


def _size(size: Size) -> Json:
    unit = _SIZES[size.kind]
    ends = {"low": size.low, "middle": size.middle, "high": size.high}
    return {"kind": size.kind, **{f"{name}_{unit}": value for name, value in ends.items()}}


def _look(site: Site, look: Look) -> Json:
    return {
        "test": look.name,
        "outlet": _label(site, look.outlet),
        "text": look_words(site, look),
        "expected_information_bits": look.bits,
        "effort": f"{look.minutes:.0f} min",
        "effort_s": look.minutes * MINUTE,
    }


def _overload(site: Site, over: Overload) -> Json:
    columns = {
        "share": over.share,
        "share_low": over.share_low,
        "share_high": over.share_high,
        "target": over.target,
        "share_rested": over.rested,
        "load_m_s": over.load,
        "load_reset_m_s": over.load_reset,
        "load_rested_m_s": over.load_rested,
        "acceptance_m_s": over.acceptance,
    }
    return {
        "outlet": _label(site, over.outlet),
        "daily_flow_m3_s": _number(over.daily_flow),
        "from_people": over.from_people,
        # null: not known, or never, which keeps_up tells apart
        "fills_in_s": _number(over.fills_in),
        "keeps_up": None if np.isnan(over.fills_in) else bool(np.isposinf(over.fills_in)),
        "known_since_s": site.evidence.since,
        "sealed_outlet": _label(site, over.sealed),
        **{
            f"share_before_sealed{end}": _number(value)
            for end, value in zip(("_low", "", "_high"), over.before, strict=True)
        },
        "outlets": [
            {"label": outlet.label, **{key: _number(value[i]) for key, value in columns.items()}}
            for i, outlet in enumerate(site.outlets)
        ],
    }


def _label(site: Site, outlet: int) -> str | None:
    return site.outlets[outlet].label if outlet >= 0 else None


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
