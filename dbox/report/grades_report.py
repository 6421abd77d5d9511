"""Falls of pipes for machines and for people."""

from collections import defaultdict
from collections.abc import Sequence
from math import ceil

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.falls_plan import Aims, block_for
from dbox.fieldwork.grades import Falls, Flatness, Grading, RunGrade
from dbox.fieldwork.readings import MOST_READINGS
from dbox.fieldwork.shares import SURE
from dbox.fieldwork.site import Site
from dbox.fieldwork.survey import RUN_KINDS, Limit
from dbox.lengths import Lengths
from dbox.report.blocks import Block, Column, Heading, Paragraph, Section, Table, text, warned
from dbox.report.cautions import CODE, TRENCH, UTILITIES
from dbox.report.encode import Json, encode, keyed, rows
from dbox.report.text import chance_text
from dbox.report.wording import sentences
from dbox.units import FOOT, INCH, gpm_litres, inches, percent_text

HEADLINES = {
    "within": "WITHIN: every fall that was read is enough.",
    "cannot tell": "CANNOT TELL: no fall is surely wrong, but not all are surely enough.",
    "outside": "OUTSIDE: at least one fall is wrong.",
    "planned": "PLANNED, NO FALL MEASURED: the water runs down all the way.",
}
"""What a verdict on all runs is called."""

_FINEST_ROD = 25.0
"""Readings over those taken that no rod's finer marks make up for. [-] (judgement)"""


_PROTECTED = 5 * FOOT
"""Depth of a trench from which it is protected. [m] (29 CFR 1926.652)"""


def slope_text(slope: float) -> str:
    """Write a fall over length both ways. [-]

    >>> slope_text(0.25 / 12)
    '2.08 %, 0.25 in per ft'
    """
    return f"{percent_text(slope, 2)}, {slope * FOOT / INCH:.2f} in per ft"


def findings(grading: Grading) -> list[str]:
    """Everything that is wrong or sags beyond the error, in the order of the water's way."""
    said, both = [], grading.site.lengths.both
    said += plan_findings(grading.plan) if grading.plan else []
    for grade in grading.runs:
        name = grade.run.name
        if grade.flatness:
            said += _trench_findings(grade, grade.flatness, grading.site.lengths)
            continue
        for place, falls, i in _places(grade, grading.site.lengths):
            fall, verdict = float(falls.fall.flat[i]), falls.verdicts[i]
            moves = f"it {'rises' if fall < 0 else 'falls'} {both(abs(fall))}"
            least = f"; at least {both(float(falls.wanted.flat[i]))} is wanted"
            if verdict in ("back-pitched", "too flat"):
                said.append(f"{place}: {_word(verdict)}, {moves}{least * (verdict == 'too flat')}")
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
                f"{grade.run.name}: FLATTER THAN CRITICAL at {flows}; water backs up to its mouth, "
                f"and the split, worked out for a free spill, does not hold at outlet "
                f"{grade.run.outlet}"
            )
    return said


def plan_findings(aims: Aims) -> list[str]:
    """What the plan asks for that cannot be had, or that is less than its limits."""
    both, alike = aims.site.lengths.both, defaultdict[str, list[str]](list)
    for stretch in aims.stretches:
        if stretch.left < 0 and both(-stretch.left) != both(0.0):
            words = (
                f"{both(-stretch.left)} SHORT of the fall that is wanted; it has "
                f"{both(stretch.fall)} and needs {both(stretch.wanted)}"
            )
            alike[words].append(stretch.name)
        if stretch.short:
            words = (
                f"falls {both(stretch.fall)}; at least {both(stretch.least)} is asked for "
                f"({stretch.limit.source})"
            )
            alike[words].append(stretch.name)
    said = [f"plan, {', '.join(names)}: {words}" for words, names in alike.items()]
    for flow, over in zip(aims.site.flows, aims.inlet_over_water.tolist(), strict=True):
        if over < 0:
            said.append(
                f"plan, box: at {flow.name} the water stands {both(-over)} over the inlet's invert "
                "and backs up toward the tank"
            )
    for point in aims.points:
        if point.cover < 0:
            said.append(
                f"plan, {point.name}: the pipe stands {both(-point.cover)} out of the ground"
            )
    deepest = max(aims.points, key=lambda point: float(np.nan_to_num(point.depth, nan=-np.inf)))
    if deepest.depth >= _PROTECTED - 1e-9:
        said.append(
            f"plan, {deepest.name}: {both(deepest.depth)} under the ground; dig nothing so deep "
            "without protection against a cave-in"
        )
    return said


def _trench_findings(grade: RunGrade, flat: Flatness, lengths: Lengths) -> list[str]:
    """What is wrong with a trench bottom."""
    if flat.counts != "wrong":
        return []
    allowed = ""
    if flat.allowed:
        allowed = f"; {lengths.both(flat.allowed.value)} is allowed ({flat.allowed.source})"
    if flat.verdict == "uneven":
        high, low = (lengths.line(float(grade.at[i])) for i in (flat.high, flat.low))
        words = f"UNEVEN, at {high} it stands {lengths.both(flat.difference)} over {low}{allowed}"
    else:
        leans = f"{lengths.both(abs(flat.lean))} {flat.verdict.removeprefix('leans ')}"
        against = f", against its design, which is {flat.meant}" if flat.against else ""
        words = f"LEANS {leans}{against}{allowed}"
    return [f"{grade.run.name}: {words}"]


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
    """Everything that the readings cannot tell, with what would settle it."""
    said = []
    most_taken = 1
    for grade in grading.runs:
        name, pieces = grade.run.name, grade.pieces
        if grade.flatness:
            if grade.flatness.verdict == "cannot tell" and grade.flatness.allowed:
                said.append(f"{name}: the {grade.method} cannot tell whether it is flat")
            continue
        unsure = [i for i, word in enumerate(pieces.verdicts) if word == "cannot tell"]
        where = [_piece(grade, i, grading.site.lengths) for i in unsure]
        whole = grade.whole.verdicts == ("cannot tell",)
        if grade.run.blocks:
            where += ["as a whole"] * whole
            if where:
                said.append(
                    f"{name}, {', '.join(where)}: the level cannot tell; turn it end for end to "
                    "see its own error, or read it with a rod"
                )
            continue
        taken = max(len(station.heights) for station in grade.run.stations)
        most_taken = max(taken, most_taken)
        if unsure:
            settling = _settling(pieces.settling_repeats[unsure], taken)
            said.append(f"{name}, {', '.join(where)}: the rod cannot tell; {settling}")
        if whole and len(pieces.verdicts) > 1:
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
            "level_spread": grading.level_spread,
            "block_spread_m": grading.block_spread,
            "plan": grading.plan and _plan(grading.plan),
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
    pieces = zip(ends, _falls(grade.pieces, grade.length, grade.flatness), strict=True)
    return {
        "name": run.name,
        "kind": run.kind,
        "outlet": run.outlet,
        "lean": run.lean,
        "method": grade.method,
        "level_m": run.level if run.blocks else None,
        "every_m": run.every,
        "blocks_m": run.blocks,
        "limit": grade.limit and _limit(grade.limit, "most_m" if grade.flatness else "slope"),
        "length_m": grade.span,
        **_falls(grade.whole, grade.span, grade.flatness)[0],
        "flatness": grade.flatness and keyed(grade.flatness),
        "fit_slope": grade.line.slope,
        "fit_slope_error": grade.line.slope_error,
        **keyed(grade, "capacity"),
        "stations": rows(
            name=[station.name for station in run.stations] or [""] * grade.at.size,
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


def _falls(falls: Falls, length: Array | float, flat: Flatness | None) -> list[Json]:
    """Falls with their verdicts; those of a trench bottom are held to nothing one by one."""
    held = keyed(falls, "fall", "error", "probability") | {"slope": falls.fall / length}
    found = rows(
        **{key: np.atleast_1d(value) for key, value in held.items()}, verdict=falls.verdicts
    )
    if flat is None:
        return found
    return [each | {"probability": None, "verdict": flat.verdict} for each in found]


def _plan(aims: Aims) -> Json:
    return {
        "by": aims.plan.by,
        "points": [keyed(point) for point in aims.points],
        "stretches": [
            keyed(stretch, "name", "length", "wanted", "fall", "least")
            | {"slope": stretch.slope, "left_m": stretch.left}
            | {"block_m": block_for(stretch.slope, aims.plan.level)}
            for stretch in aims.stretches
        ],
        "level_m": aims.plan.level,
        "inlet_over_water": rows(
            name=[flow.name for flow in aims.site.flows], height_m=aims.inlet_over_water
        ),
    }


def _limit(limit: Limit, key: str) -> Json:
    return {key: limit.value, "source": limit.source, "default": limit.default}


def report(site: Site, grading: Grading) -> list[str]:
    """Lines of at most 72 columns."""
    first, *rest = grades_blocks(grading)
    title = [Paragraph(site.title)] if site.title else []
    dig = f"{UTILITIES} " * (grading.plan is not None)
    return text([[*title, *first], *rest, [Paragraph(f"{dig}{TRENCH} {CODE}")]])


def grades_blocks(grading: Grading) -> list[Section]:
    """The verdict with what is wrong, the limits, every run, the drops, and what is in doubt."""
    unsure = doubts(grading)
    headline = HEADLINES[grading.verdict]
    if not grading.runs and grading.verdict == "outside":
        headline = "PLANNED, NO FALL MEASURED: the plan falls short."
    sections: list[Section] = [
        [Heading(headline), *(Paragraph(f, "- ") for f in findings(grading))],
        *(plan_blocks(grading.plan) if grading.plan else ()),
        _limits(grading),
        *(_run_blocks(grade, grading.site.lengths) for grade in grading.runs),
    ]
    levels = {grade.run.level for grade in grading.runs if grade.run.blocks and grade.run.level}
    if grading.plan:
        levels.add(grading.plan.plan.level)
    sections += [_block_table(grading, level) for level in sorted(levels)]
    if grading.drops:
        words = {"too flat": "TOO SMALL", "back-pitched": "BELOW"}
        lines = [
            [f"outlet {drop.outlet}", *_cells(drop.fall, 0, None, grading.site.lengths),
             words.get(drop.fall.verdicts[0], drop.fall.verdicts[0])]
            for drop in grading.drops
        ]  # fmt: skip
        sections.append([Heading("Inlet of the box over its outlets:"), Table(_COLUMNS, lines)])
    if unsure:
        doubted = (Paragraph(sentence, "- ") for sentence in unsure)
        sections.append([Heading("What the readings cannot tell:"), *doubted])
    return [*sections, warned(grading.warnings)]


_COLUMNS = (
    Column("", 16),
    *(Column(head, width, "right")
      for head, width in (("fall", 10), ("", 10), ("slope", 9), ("chance", 11))),
    Column("", 16),
)  # fmt: skip
"""Place, fall both ways, slope, chance of being enough, verdict."""


def _cells(falls: Falls, i: int, length: float | None, lengths: Lengths) -> list[str]:
    fall = float(falls.fall.flat[i])
    slope = "" if length is None else percent_text(fall / length, 2)
    chance = chance_text(float(falls.probability.flat[i]))
    return [*lengths.pair(fall), slope, chance]


def plan_blocks(aims: Aims) -> list[Section]:
    """What the rod is to read at every point, the falls between, and the inlet over the water."""
    lengths, points = aims.site.lengths, aims.points

    def known(name: str) -> bool:
        return any(np.isfinite(getattr(point, name)) for point in points)

    names = [f"{point.name}{' (given)' * point.given}" for point in points]
    shown: list[tuple[Column, Sequence[str]]] = [(Column("point", 26), names)]
    if known("rod"):
        first, second = zip(*(lengths.pair(point.rod) for point in points), strict=True)
        shown.append((Column("rod", 13, "right"), first))
        if not known("elevation"):
            shown.append((Column("", 10, "right", on_paper=13), second))
    if known("elevation"):
        texts = [elevation_text(point.elevation, lengths) for point in points]
        shown.append((Column("elevation", 10, "right", on_paper=13), texts))
    for name, width in (("depth", 11), ("cover", 10)):
        if known(name):
            texts = [_ground_text(getattr(point, name), lengths) for point in points]
            shown.append((Column(name, width, "right", on_paper=12), texts))
    words = "A trench bottom is level: the rod reads the same all along it."
    if known("depth"):
        words += " Depth is under the ground, cover over the inside top of the pipe."
    if not known("rod"):
        words += " For rod readings enter benchmark_rod, what the rod reads on the benchmark."
    return [
        [
            Heading("Planned rod readings to aim for (greater = lower):" if known("rod")
                    else "Planned elevations to aim for:"),
            Table([head for head, _ in shown], [*zip(*(cells for _, cells in shown), strict=True)]),
            Paragraph(words),
        ],
        _planned_falls(aims),
    ]  # fmt: skip


def elevation_text(metres: float, lengths: Lengths) -> str:
    """Write an elevation to a hundredth of a foot, or a millimetre. [m]

    >>> elevation_text(30.48, Lengths())
    '100.00 ft'
    """
    return f"{metres:.3f} m" if lengths.metric else f"{metres / FOOT:.2f} ft"


def _ground_text(metres: float, lengths: Lengths) -> str:
    """A depth to a quarter of an inch, or a centimetre: ground is no finer. [m]"""
    if np.isnan(metres):
        return ""
    return f"{100 * metres:.0f} cm" if lengths.metric else inches(metres, parts=4)


def _planned_falls(aims: Aims) -> Section:
    lengths, level = aims.site.lengths, aims.plan.level
    rows = []
    for stretch in aims.stretches:
        pipe = np.isfinite(stretch.length)
        rows.append([
            stretch.name,
            lengths.line(stretch.length) if pipe else "",
            lengths.one(stretch.fall),
            percent_text(stretch.slope, 2) if pipe else "",
            block_text(block_for(stretch.slope, level), lengths) if pipe else "",
            "" if np.isnan(stretch.left) else lengths.one(stretch.left),
        ])  # fmt: skip
    heads = [Column("stretch", 18), *(
        Column(head, width, "right") for head, width in
        (("length", 9), ("fall", 11), ("", 9), ("block", 11), ("left over", 12))
    )]  # fmt: skip
    blocks: list[Block] = [
        Heading(f"Planned falls; block under the low end of a {lengths.line(level)} level:"),
        Table(heads, rows),
    ]
    for flow, over in zip(aims.site.flows, aims.inlet_over_water.tolist(), strict=True):
        if over >= 0:
            words = f"At {flow.name} the inlet's invert stands {lengths.both(over)} over the water."
            blocks.append(Paragraph(words, "  ", hang=2))
    return blocks


def block_text(height: float, lengths: Lengths) -> str:
    """Write a block rounded up, to a sixteenth of an inch or a millimetre. [m]

    >>> block_text(0.0121920, Lengths()), block_text(0.0121920, Lengths(metric=True))
    ('1/2 in', '13 mm')
    """
    step = 0.001 if lengths.metric else INCH / 16
    rounded = step * ceil(height / step - 1e-6)
    return f"{1000 * rounded:.0f} mm" if lengths.metric else lengths.one(rounded)


_ORDINARY_FALLS = {"1/8 in per ft": 1 / 96, "1/4 in per ft": 1 / 48, "1 %": 0.01}
"""Falls that pipes are laid to. [-] (by definition)"""


def _block_table(grading: Grading, level: float) -> Section:
    """Which block stands for a fall under a level of some length. [m]"""
    lengths = grading.site.lengths
    falls = dict(_ORDINARY_FALLS) | {
        f"least of a {kind}": limit.value
        for kind, limit in _held(grading).items()
        if kind != "trench"
    }
    rows = [
        [name, percent_text(slope, 2), block_text(block_for(slope, level), lengths)]
        for name, slope in falls.items()
    ]
    return [
        Heading(f"Block under the low end of a {lengths.line(level)} level, bubble between the "
                "lines (rounded up):"),
        Table([Column("fall", 26), Column("", 10, "right"), Column("block", 12, "right")], rows),
    ]  # fmt: skip


def _held(grading: Grading) -> dict[str, Limit]:
    """The limit of each kind of run that was read or is planned."""
    planned = [stretch.limit for stretch in grading.plan.stretches] if grading.plan else []
    read, limits = {grade.run.kind for grade in grading.runs}, grading.survey.limits
    each = {kind: limits.of(kind) for kind in RUN_KINDS}
    return {
        kind: limit
        for kind, limit in each.items()
        if limit and (kind in read or any(limit is used for used in planned))
    }


def _limits(grading: Grading) -> Section:
    """How good the readings are, and each kind's limit once, with who asks for it."""
    survey, lengths = grading.survey, grading.site.lengths
    asked = [
        (kind, limit, lengths.both(limit.value) if kind == "trench" else slope_text(limit.value))
        for kind, limit in _held(grading).items()
    ]
    if grading.drops or grading.plan:
        drop = survey.limits.inlet_drop
        asked.append(("inlet over outlets", drop, lengths.both(drop.value)))
    words = []
    if any(not grade.run.blocks for grade in grading.runs):
        origin = "assumed" if survey.spread is None else "as stated"
        words.append(f"One rod reading is good to {lengths.both(grading.spread)}, {origin}.")
    if any(grade.run.blocks for grade in grading.runs):
        words.append(
            f"One block with its bubble is good to {lengths.both(grading.block_spread)}; the level "
            f"errs by {percent_text(grading.level_spread, 2)}, the same way at each place."
        )
    if words:
        words.append(f"Chance: that a fall is enough; sure means {100 * SURE:.0f} %.")
    return [
        *[Paragraph(" ".join(words))] * bool(words),
        Heading("Limits:"),
        *(
            Paragraph(
                f"{name}: {'at most' if name == 'trench' else 'at least'} {value} "
                f"({'default, ' if limit.default else ''}{limit.source})",
                "  ",
                hang=2,
            )
            for name, limit, value in asked
        ),
    ]


def _run_blocks(grade: RunGrade, lengths: Lengths) -> Section:
    run, whole, flat = grade.run, float(grade.whole.fall), grade.flatness
    name = run.name if run.kind in run.name.lower() else f"{run.name} ({run.kind})"
    lines = []
    for i, verdict in enumerate(grade.pieces.verdicts):
        *fall, chance = _cells(grade.pieces, i, float(grade.length[i]), lengths)
        end = ["", ""] if flat else [chance, _word(verdict)]
        lines.append([_piece(grade, i, lengths), *fall, *end])
    if flat:
        way = "its end" if flat.lean >= 0 else "the box"
        words = (
            f"{name}: {flat.verdict if flat.counts != 'wrong' else flat.verdict.upper()}; the line "
            f"through it falls {lengths.both(abs(flat.lean))} toward {way} in "
            f"{lengths.line(grade.span)}, known to {lengths.both(flat.lean_error)}"
        )
    else:
        words = (
            f"{name}: {_word(grade.whole.verdicts[0])}, chance "
            f"{chance_text(float(grade.whole.probability))}; {lengths.both(whole)} in "
            f"{lengths.line(grade.span)}, {slope_text(whole / grade.span)}"
        )
    below = []
    if run.blocks and run.level:
        every = f", once every {lengths.line(run.every)}" if run.every else ""
        straight = ", the pipe taken as straight between" * bool(every)
        below.append(f"by blocks under a {lengths.line(run.level)} level{every}{straight}")
    if np.isfinite(grade.capacity):
        inside = f"inside {(run.diameter or 0.0) / INCH:.3f} in, n {run.roughness:.3f}"
        below.append(f"carries up to {gpm_litres(grade.capacity)} with a free surface ({inside})")
    if grade.header:
        steep = set(grade.header.verdicts) == {"steep"}
        below.append(
            "steeper than critical at every flow: the box spills freely into it"
            if steep else "not steeper than critical at every flow, see above"
        )  # fmt: skip
    notes = (Paragraph(each, "  ", hang=2) for each in below)
    return [Heading(words), Table(_COLUMNS, lines), *notes]


def _word(verdict: str) -> str:
    return verdict.upper() if verdict in ("too flat", "back-pitched") else verdict
