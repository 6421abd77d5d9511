"""The text of `dbox grades`: what is wrong first, then every run with its pieces."""

from dbox.fieldwork.confidence import SURE
from dbox.fieldwork.grades.assess import Drop, Grading, RunGrade
from dbox.fieldwork.site import Site
from dbox.files.grades.words import (
    HEADLINES,
    doubts,
    findings,
    header_words,
    limit_text,
    piece_text,
    slope_text,
)
from dbox.files.notation import feet, gpm_litres, inches, inches_mm, millimetres, percent
from dbox.files.units import INCH
from dbox_cli.output import noted, wrapped

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
        lines += ["", *_run(grade)]
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


def _run(grade: RunGrade) -> list[str]:
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
