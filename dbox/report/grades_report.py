"""Falls of pipes for machines and for people."""

from typing import Any

import numpy as np

from dbox.fieldwork.grades import Drop, Falls, Grading, RunGrade
from dbox.fieldwork.readings import MOST_READINGS
from dbox.fieldwork.shares import SURE
from dbox.fieldwork.site import Site
from dbox.fieldwork.survey import Limit
from dbox.report.text import noted, wrapped
from dbox.units import FOOT, INCH, feet, gpm_litres, inches, inches_mm, millimetres
from dbox.units import percent_text as percent

HEADLINES = {
    "within": "WITHIN: every fall that was read is enough.",
    "cannot tell": "CANNOT TELL: no fall is surely wrong, but the rod cannot tell whether all are "
    "enough.",
    "outside": "OUTSIDE: at least one fall is wrong.",
}
"""What a verdict on all runs is called."""

_FINEST_ROD = 25.0
"""Readings over those taken that no rod's finer marks make up for. [-] (judgement)"""


def slope_text(slope: float) -> str:
    """Write a fall over length both ways. [-]

    >>> slope_text(0.25 / 12)
    '2.08 %, 0.25 in per ft'
    """
    return f"{percent(slope, 2)}, {slope * FOOT / INCH:.2f} in per ft"


def piece_text(grade: RunGrade, piece: int) -> str:
    """Name a piece by its ends, as `0 to 4 ft`."""
    ends = (feet(float(at)).removesuffix(" ft") for at in grade.at[piece : piece + 2])
    return "{} to {} ft".format(*ends)


def limit_text(name: str, limit: Limit, value: str) -> str:
    """Write a limit with its source, a default marked as one."""
    mark = "default, " if limit.default else ""
    return f"{name}: at least {value} ({mark}{limit.source})"


def header_words(grade: RunGrade) -> str:
    """Say whether a header is steep, in one clause; empty where that is not known."""
    words = set(grade.header.verdicts) if grade.header else set()
    if words == {"steep"}:
        return "steeper than critical at every flow: the box spills freely into it"
    return "not steeper than critical at every flow, see above" if words else ""


def findings(grading: Grading) -> tuple[str, ...]:
    """Everything that is wrong or sags beyond the rod's error, in the order of the water's way."""
    said: list[str] = []
    for grade in grading.runs:
        said += _fall_findings(grade) + _belly_findings(grade)
    said += [sentence for drop in grading.drops for sentence in _drop_finding(drop)]
    for grade in grading.runs:
        said += _header_findings(grading, grade)
    return tuple(said)


def doubts(grading: Grading) -> tuple[str, ...]:
    """Everything that the rod cannot tell, with what would settle it."""
    said = []
    for grade in grading.runs:
        unsure = [i for i, word in enumerate(grade.pieces.verdicts) if word == "cannot tell"]
        if unsure:
            which = ", ".join(piece_text(grade, i) for i in unsure)
            said.append(
                f"{grade.run.name}, {which}: the rod cannot tell; "
                f"{_settling(grade.pieces.settling_repeats[unsure], _taken(grade))}"
            )
        if grade.whole.verdicts == ("cannot tell",) and len(grade.pieces.verdicts) > 1:
            said.append(
                f"{grade.run.name} as a whole: the rod cannot tell; "
                f"{_settling(grade.whole.settling_repeats, _taken(grade))}"
            )
        if grade.header and "cannot tell" in grade.header.verdicts:
            said.append(
                f"{grade.run.name}: the rod cannot tell whether it is flatter than critical at "
                f"{_flow_names(grading, grade, 'cannot tell')}"
            )
    taken = max(map(_taken, grading.runs), default=1)
    unsure_drops = [drop for drop in grading.drops if drop.fall.verdicts == ("cannot tell",)]
    said += [
        f"inlet over outlet {drop.outlet}: the rod cannot tell; "
        f"{_settling(drop.fall.settling_repeats, taken)}"
        for drop in unsure_drops
    ]
    return tuple(said)


def _taken(grade: RunGrade) -> int:
    """Most readings taken at one station of a run."""
    return max(len(station.heights) for station in grade.run.stations)


def _settling(repeats: object, taken: int) -> str:
    most = float(np.max(np.asarray(repeats)))
    if most > _FINEST_ROD:
        return "it is too near the limit for any rod"
    if most * taken > MOST_READINGS:
        return "more readings with this rod will not settle it, one with finer marks may"
    return f"{most:.0f} times as many readings would settle it"


def _fall_findings(grade: RunGrade) -> list[str]:
    name, pieces = grade.run.name, grade.pieces
    said = [
        f"{name}, {piece_text(grade, i)}: {_fall_words(pieces, i, word)}"
        for i, word in enumerate(pieces.verdicts)
        if word in ("too flat", "back-pitched")
    ]
    whole = grade.whole.verdicts[0]
    if whole in ("too flat", "back-pitched") and len(pieces.verdicts) > 1:
        said.append(f"{name} as a whole: {_fall_words(grade.whole, 0, whole)}")
    return said


def _fall_words(falls: Falls, index: int, word: str) -> str:
    fall, wanted = float(falls.fall.flat[index]), float(falls.wanted.flat[index])
    if word == "back-pitched":
        return f"BACK-PITCHED, it rises {inches_mm(-fall)}"
    return f"TOO FLAT, it falls {inches_mm(fall)} and ought to fall {inches_mm(wanted)}"


def _belly_findings(grade: RunGrade) -> list[str]:
    said = []
    for i in np.flatnonzero(grade.belly).tolist():
        sag, pond = float(grade.sag[i]), float(grade.pond[i])
        words = f"{inches_mm(sag)} under the line between its neighbours"
        if pond > 0:
            words = f"BELLY, {words}; water {inches_mm(pond)} deep stays in it"
        else:
            words = f"sags, {words}, but drains"
        said.append(f"{grade.run.name} at {feet(float(grade.at[i]))}: {words}")
    return said


def _drop_finding(drop: Drop) -> list[str]:
    word, fall = drop.fall.verdicts[0], float(drop.fall.fall)
    if word == "back-pitched":
        return [f"inlet over outlet {drop.outlet}: BELOW it by {inches_mm(-fall)}"]
    if word == "too flat":
        return [
            f"inlet over outlet {drop.outlet}: TOO SMALL a drop, {inches_mm(fall)}; "
            f"{inches_mm(drop.limit.value)} is wanted"
        ]
    return []


def _header_findings(grading: Grading, grade: RunGrade) -> list[str]:
    if grade.header is None or "flatter than critical" not in grade.header.verdicts:
        return []
    names = _flow_names(grading, grade, "flatter than critical")
    return [
        f"{grade.run.name}: FLATTER THAN CRITICAL at {names}; water backs up to the mouth, and the "
        f"split of a free spill does not hold for outlet {grade.run.outlet}"
    ]


def _flow_names(grading: Grading, grade: RunGrade, verdict: str) -> str:
    words = grade.header.verdicts if grade.header else ()
    return ", ".join(
        flow.name for flow, word in zip(grading.flows, words, strict=True) if word == verdict
    )


Json = dict[str, Any]


def grades_json(grading: Grading) -> Json:
    """The answer of `dbox grades --json`."""
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


_CAUTION = (
    "A trench can cave in: protection at 5 ft and deeper, a way out at 4 ft (29 CFR 1926.651-652). "
    "Local code, the permit and the inspector decide."
)


def report(site: Site, grading: Grading) -> list[str]:
    """Lines of at most 72 columns."""
    lines = wrapped(site.title) if site.title else []
    lines += wrapped(HEADLINES[grading.verdict])
    for sentence in findings(grading):
        lines += wrapped(sentence, first="- ", indent="  ")
    lines += ["", *wrapped(_spread_words(grading)), *_limits(grading)]
    for grade in grading.runs:
        lines += ["", *_grades_report_run(grade)]
    if grading.drops:
        lines += ["", *_drops(grading.drops)]
    unsure = doubts(grading)
    if unsure:
        lines += ["", "What the rod cannot tell:"]
        for sentence in unsure:
            lines += wrapped(sentence, first="- ", indent="  ")
    lines += noted(grading.warnings)
    return [*lines, "", *wrapped(_CAUTION)]


def _spread_words(grading: Grading) -> str:
    origin = "assumed" if grading.survey.spread is None else "as stated"
    return (
        f"One rod reading is good to {inches_mm(grading.spread)}, {origin}. The chance is that of "
        f"a fall being enough; sure is {100 * SURE:.0f} %."
    )


def _limits(grading: Grading) -> list[str]:
    """Each kind's limit once, with who asks for it."""
    kinds = dict.fromkeys(grade.run.kind for grade in grading.runs)
    limits = grading.survey.limits
    said = [
        limit_text(kind, limits.fall(kind), slope_text(limits.fall(kind).value)) for kind in kinds
    ]
    if grading.drops:
        drop = limits.inlet_drop
        said.append(limit_text("inlet over outlets", drop, inches_mm(drop.value)))
    lines = ["Limits:"]
    for sentence in said:
        lines += wrapped(sentence, first="  ", indent="    ")
    return lines


def _grades_report_run(grade: RunGrade) -> list[str]:
    run, length = grade.run, float(grade.at[-1] - grade.at[0])
    whole = float(grade.whole.fall)
    name = run.name if run.kind in run.name.lower() else f"{run.name} ({run.kind})"
    lines = wrapped(
        f"{name}: {_words(grade.whole.verdicts[0])}, chance "
        f"{_chance(float(grade.whole.probability))}; {inches_mm(whole)} in {feet(length)}, "
        f"{slope_text(whole / length)}"
    )
    for i, word in enumerate(grade.pieces.verdicts):
        fall = float(grade.pieces.fall[i])
        lines.append(
            f"  {piece_text(grade, i):<16}{inches(fall):>10}{millimetres(fall):>10}"
            f"{percent(fall / float(grade.length[i]), 2):>9}"
            f"{_chance(float(grade.pieces.probability[i])):>11}  {_words(word)}"
        )
    if grade.capacity == grade.capacity:
        lines += wrapped(
            f"carries up to {gpm_litres(grade.capacity)} with a free surface (inside "
            f"{(run.diameter or 0.0) / INCH:.3f} in, n {run.roughness:.3f})",
            first="  ",
            indent="    ",
        )
    if grade.header:
        lines += wrapped(header_words(grade), first="  ", indent="    ")
    return lines


def _drops(drops: tuple[Drop, ...]) -> list[str]:
    lines = ["Inlet of the box over its outlets:"]
    for drop in drops:
        fall = float(drop.fall.fall)
        lines.append(
            f"  {f'outlet {drop.outlet}'[:15]:<16}{inches(fall):>10}{millimetres(fall):>10}"
            f"{'':>9}{_chance(float(drop.fall.probability)):>11}  {_drop_words(drop)}"
        )
    return lines


def _drop_words(drop: Drop) -> str:
    words = {"too flat": "TOO SMALL", "back-pitched": "BELOW"}
    return words.get(drop.fall.verdicts[0], _words(drop.fall.verdicts[0]))


def _words(verdict: str) -> str:
    return verdict.upper() if verdict in ("too flat", "back-pitched") else verdict


def _chance(probability: float) -> str:
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"
