"""How are falls said in the units of the trade? Sentences that the report and the sheets share."""

import numpy as np

from dbox.fieldwork.grades.assess import Drop, Grading, RunGrade
from dbox.fieldwork.grades.falls import Falls
from dbox.fieldwork.readings import MOST_READINGS
from dbox.fieldwork.records.survey import Limit
from dbox.files.notation import feet, inches_mm, percent
from dbox.files.units import FOOT, INCH

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
    """Everything that is wrong or sags beyond the rod's error, in the order of the water's way.

    Parameters
    ----------
    grading : Grading
        The falls.

    Returns
    -------
    tuple of str
        One sentence each; empty where nothing is.
    """
    said: list[str] = []
    for grade in grading.runs:
        said += _fall_findings(grade) + _belly_findings(grade)
    said += [sentence for drop in grading.drops for sentence in _drop_finding(drop)]
    for grade in grading.runs:
        said += _header_findings(grading, grade)
    return tuple(said)


def doubts(grading: Grading) -> tuple[str, ...]:
    """Everything that the rod cannot tell, with what would settle it.

    Parameters
    ----------
    grading : Grading
        The falls.

    Returns
    -------
    tuple of str
        One sentence for a run; empty where all is clear.
    """
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
