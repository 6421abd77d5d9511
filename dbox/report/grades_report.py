"""Falls of pipes for machines and for people."""

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.grades import Falls, Grading, RunGrade
from dbox.fieldwork.readings import MOST_READINGS
from dbox.fieldwork.shares import SURE
from dbox.fieldwork.site import Site
from dbox.fieldwork.survey import Limit
from dbox.lengths import Lengths
from dbox.report.blocks import Block, Column, Heading, Paragraph, Section, Table, text, warned
from dbox.report.cautions import CODE, TRENCH
from dbox.report.encode import Json, encode, keyed, rows
from dbox.report.text import chance_text
from dbox.report.wording import sentences
from dbox.units import FOOT, INCH, gpm_litres, percent_text

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
    return f"{percent_text(slope, 2)}, {slope * FOOT / INCH:.2f} in per ft"


def findings(grading: Grading) -> list[str]:
    """Everything that is wrong or sags beyond the rod's error, in the order of the water's way."""
    said, both = [], grading.site.lengths.both
    for grade in grading.runs:
        name = grade.run.name
        for place, falls, i in _places(grade, grading.site.lengths):
            fall, wanted = float(falls.fall.flat[i]), float(falls.wanted.flat[i])
            if falls.verdicts[i] == "back-pitched":
                said.append(f"{place}: BACK-PITCHED, it rises {both(-fall)}")
            elif falls.verdicts[i] == "too flat":
                least = both(wanted)
                said.append(f"{place}: TOO FLAT, it falls {both(fall)} and ought to fall {least}")
        for i in np.flatnonzero(grade.belly).tolist():
            pond = float(grade.pond[i])
            words = f"{both(float(grade.sag[i]))} under the line between its neighbours"
            if pond > 0:
                words = f"BELLY, {words}; water {both(pond)} deep stays in it"
            else:
                words = f"sags, {words}, but drains"
            said.append(f"{name} at {grading.site.lengths.line(float(grade.at[i]))}: {words}")
    for drop in grading.drops:
        place, fall = f"inlet over outlet {drop.outlet}", float(drop.fall.fall)
        if drop.fall.verdicts[0] == "back-pitched":
            said.append(f"{place}: BELOW it by {both(-fall)}")
        elif drop.fall.verdicts[0] == "too flat":
            least = both(drop.limit.value)
            said.append(f"{place}: TOO SMALL a drop, {both(fall)}; {least} is wanted")
    for grade in grading.runs:
        if flows := _flow_names(grading, grade, "flatter than critical"):
            said.append(
                f"{grade.run.name}: FLATTER THAN CRITICAL at {flows}; water backs up to the mouth, "
                f"and the split of a free spill does not hold for outlet {grade.run.outlet}"
            )
    return said


def _places(grade: RunGrade, lengths: Lengths) -> list[tuple[str, Falls, int]]:
    """Every fall of a run with its name: the pieces, and the whole where that is another."""
    name, pieces = grade.run.name, grade.pieces
    found = [(f"{name}, {_piece(grade, i, lengths)}", pieces, i) for i in range(pieces.fall.size)]
    return [*found, (f"{name} as a whole", grade.whole, 0)] if len(found) > 1 else found


def _piece(grade: RunGrade, piece: int, lengths: Lengths) -> str:
    """A piece by its ends, as `0 to 4 ft`."""
    start, end = (lengths.line(float(at)) for at in grade.at[piece : piece + 2])
    return f"{start.split()[0]} to {end}"


def _flow_names(grading: Grading, grade: RunGrade, verdict: str) -> str:
    if grade.header is None:
        return ""
    pairs = zip(grading.flows, grade.header.verdicts, strict=True)
    return ", ".join(flow.name for flow, word in pairs if word == verdict)


def doubts(grading: Grading) -> list[str]:
    """Everything that the rod cannot tell, with what would settle it."""
    said = []
    most_taken = 1
    for grade in grading.runs:
        name, pieces = grade.run.name, grade.pieces
        taken = max(len(station.heights) for station in grade.run.stations)
        most_taken = max(taken, most_taken)
        unsure = [i for i, word in enumerate(pieces.verdicts) if word == "cannot tell"]
        if unsure:
            which = ", ".join(_piece(grade, i, grading.site.lengths) for i in unsure)
            settling = _settling(pieces.settling_repeats[unsure], taken)
            said.append(f"{name}, {which}: the rod cannot tell; {settling}")
        if grade.whole.verdicts == ("cannot tell",) and len(pieces.verdicts) > 1:
            settling = _settling(grade.whole.settling_repeats, taken)
            said.append(f"{name} as a whole: the rod cannot tell; {settling}")
        if flows := _flow_names(grading, grade, "cannot tell"):
            said.append(
                f"{name}: the rod cannot tell whether it is flatter than critical at {flows}"
            )
    for drop in grading.drops:
        if drop.fall.verdicts == ("cannot tell",):
            settling = _settling(drop.fall.settling_repeats, most_taken)
            said.append(f"inlet over outlet {drop.outlet}: the rod cannot tell; {settling}")
    return said


def _settling(repeats: Array, taken: int) -> str:
    most = float(np.max(repeats))
    if most > _FINEST_ROD:
        return "it is too near the limit for any rod"
    if most * taken > MOST_READINGS:
        return "more readings with this rod will not settle it, one with finer marks may"
    return f"{most:.0f} times as many readings would settle it"


def grades_json(grading: Grading) -> Json:
    """The answer of `dbox grades --json`."""
    answer: Json = encode(
        {
            "verdict": grading.verdict,
            "spread_m": grading.spread,
            "runs": [_run(grading, grade) for grade in grading.runs],
            "inlet_drops": [
                {
                    "from": drop.upper,
                    "to": drop.lower,
                    "outlet": drop.outlet,
                    "limit": _limit(drop.limit, "drop_m"),
                    "drop_m": drop.fall.fall,
                    "error_m": drop.fall.error,
                    "probability": drop.fall.probability,
                    "verdict": drop.fall.verdicts[0],
                }
                for drop in grading.drops
            ],
            "findings": findings(grading),
            "doubts": doubts(grading),
            "warnings": sentences(grading.warnings),
        }
    )
    return answer


def _run(grading: Grading, grade: RunGrade) -> Json:
    run, header = grade.run, grade.header
    ends = rows(from_m=grade.at[:-1], to_m=grade.at[1:])
    pieces = zip(ends, _falls(grade.pieces, grade.length), strict=True)
    return {
        "name": run.name,
        "kind": run.kind,
        "outlet": run.outlet,
        "limit": _limit(grade.limit, "slope"),
        "length_m": grade.span,
        **_falls(grade.whole, grade.span)[0],
        "fit_slope": grade.line.slope,
        "fit_slope_error": grade.line.slope_error,
        **keyed(grade, "capacity"),
        "stations": rows(
            name=[station.name for station in run.stations],
            residual_m=grade.line.residual,
            **keyed(grade, "at", "height", "error", "sag", "belly", "pond"),
        ),
        "pieces": [between | fall for between, fall in pieces],
        "flows": rows(
            name=[flow.name for flow in grading.flows],
            **keyed(header, "flow", "normal_depth", "critical_depth"),
            verdict=header.verdicts,
        )
        if header
        else [],
    }


def _falls(falls: Falls, length: Array | float) -> list[Json]:
    held = keyed(falls, "fall", "error", "probability") | {"slope": falls.fall / length}
    return rows(
        **{key: np.atleast_1d(value) for key, value in held.items()}, verdict=falls.verdicts
    )


def _limit(limit: Limit, key: str) -> Json:
    return {key: limit.value, "source": limit.source, "default": limit.default}


def report(site: Site, grading: Grading) -> list[str]:
    """Lines of at most 72 columns."""
    first, *rest = grades_blocks(grading)
    title = [Paragraph(site.title)] if site.title else []
    return text([[*title, *first], *rest, [Paragraph(f"{TRENCH} {CODE}")]])


def grades_blocks(grading: Grading) -> list[Section]:
    """The verdict with what is wrong, the limits, every run, the drops, and what is in doubt."""
    unsure = doubts(grading)
    sections: list[Section] = [
        [Heading(HEADLINES[grading.verdict]), *(Paragraph(f, "- ") for f in findings(grading))],
        _limits(grading),
        *(_run_blocks(grade, grading.site.lengths) for grade in grading.runs),
    ]
    if grading.drops:
        lines = []
        for drop in grading.drops:
            words = {"too flat": "TOO SMALL", "back-pitched": "BELOW"}
            word = words.get(drop.fall.verdicts[0], drop.fall.verdicts[0])
            lines.append(
                [f"outlet {drop.outlet}", *_cells(drop.fall, 0, None, grading.site.lengths), word]
            )
        heading = Heading("Inlet of the box over its outlets:")
        sections.append([heading, Table(_COLUMNS, lines)])
    if unsure:
        doubted = (Paragraph(sentence, "- ") for sentence in unsure)
        sections.append([Heading("What the rod cannot tell:"), *doubted])
    return [*sections, warned(grading.warnings)]


_COLUMNS = (
    Column("", 16),
    *(Column("", width, "right") for width in (10, 10, 9, 11)),
    Column("", 16),
)
"""Place, fall both ways, slope, chance of being enough, verdict."""


def _cells(falls: Falls, i: int, length: float | None, lengths: Lengths) -> list[str]:
    fall = float(falls.fall.flat[i])
    slope = "" if length is None else percent_text(fall / length, 2)
    chance = chance_text(float(falls.probability.flat[i]))
    return [*lengths.pair(fall), slope, chance]


def _limits(grading: Grading) -> Section:
    """How good the rod is, and each kind's limit once, with who asks for it."""
    origin = "assumed" if grading.survey.spread is None else "as stated"
    limits, lengths = grading.survey.limits, grading.site.lengths
    asked = [
        (kind, limits.fall(kind), slope_text(limits.fall(kind).value))
        for kind in dict.fromkeys(grade.run.kind for grade in grading.runs)
    ]
    if grading.drops:
        drop = limits.inlet_drop
        asked.append(("inlet over outlets", drop, lengths.both(drop.value)))
    return [
        Paragraph(
            f"One rod reading is good to {lengths.both(grading.spread)}, {origin}. The chance is "
            f"that of a fall being enough; sure is {100 * SURE:.0f} %."
        ),
        Heading("Limits:"),
        *(
            Paragraph(
                f"{name}: at least {value} ({'default, ' if limit.default else ''}{limit.source})",
                "  ",
                hang=2,
            )
            for name, limit, value in asked
        ),
    ]


def _run_blocks(grade: RunGrade, lengths: Lengths) -> Section:
    run, whole = grade.run, float(grade.whole.fall)
    name = run.name if run.kind in run.name.lower() else f"{run.name} ({run.kind})"
    lines = [
        [
            _piece(grade, i, lengths),
            *_cells(grade.pieces, i, float(grade.length[i]), lengths),
            _word(verdict),
        ]
        for i, verdict in enumerate(grade.pieces.verdicts)
    ]
    blocks: list[Block] = [
        Heading(
            f"{name}: {_word(grade.whole.verdicts[0])}, chance "
            f"{chance_text(float(grade.whole.probability))}; {lengths.both(whole)} in "
            f"{lengths.line(grade.span)}, {slope_text(whole / grade.span)}"
        ),
        Table(_COLUMNS, lines),
    ]
    if np.isfinite(grade.capacity):
        inside = f"inside {(run.diameter or 0.0) / INCH:.3f} in, n {run.roughness:.3f}"
        words = f"carries up to {gpm_litres(grade.capacity)} with a free surface ({inside})"
        blocks.append(Paragraph(words, "  ", hang=2))
    if grade.header:
        words = "not steeper than critical at every flow, see above"
        if set(grade.header.verdicts) == {"steep"}:
            words = "steeper than critical at every flow: the box spills freely into it"
        blocks.append(Paragraph(words, "  ", hang=2))
    return blocks


def _word(verdict: str) -> str:
    return verdict.upper() if verdict in ("too flat", "back-pitched") else verdict
