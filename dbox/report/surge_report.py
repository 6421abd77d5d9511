"""A run of a surge for machines and for people.

Shares are fractions. What did not happen or is not known is null, never 0 and never NaN.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dbox.fieldwork.surge import Ponding, SurgeOutcome
from dbox.hydraulics.surge.stepper import Surge
from dbox.notes import Note
from dbox.report.blocks import Column, Paragraph, Section, Table, columns, text, warned
from dbox.report.cautions import MODEL
from dbox.report.encode import Json, encode, rows
from dbox.report.split_report import flow_of, low_words, share_text
from dbox.report.text import bar, duration
from dbox.report.wording import PLANNED, sentences
from dbox.units import (
    DAY,
    GALLON,
    LITRE,
    gallons,
    gpm,
    litres,
    litres_per_min,
    millimetres,
    percent_text,
)


def surge_json(outcome: SurgeOutcome, files: Sequence[str] = ()) -> Json:
    """The answer of `dbox surge --json`."""
    found, ponding, labels = outcome.surge, outcome.ponding, (*outcome.labels, None)
    answer: Json = encode({
        "event": found.event.name,
        "planned": outcome.site.planned,
        "inflow_volume_m3": found.inflow_volume,
        "balance_error_relative": found.balance_error,
        "peak_level_m": found.peak_level,
        "peak_level_s": found.peak_time,
        "seconds": found.seconds,
        "tank_peak_m": found.tank_peak,
        "spilled_m3": found.spilled[-1],
        "outlets": rows(
            label=outcome.labels,
            volume_m3=found.volume[-1],
            share=found.share,
            share_rising_low=outcome.rising[0],
            share_rising_high=outcome.rising[1],
            target=outcome.target,
            peak_flow_m3_s=found.peak_flow,
            first_flow_s=found.first_flow,
            trench_depth_m=found.depth[-1],
            trench_full_s=found.time_full,
            surfaced_m3=found.surfaced[-1],
            load_m3_s=outcome.load,
            capacity_m3_s=outcome.capacity,
        ),
        "overloaded": [labels[i] for i in outcome.overloaded],
        "ponding": ponding and {
            "first": labels[-1 if ponding.line is None else ponding.line],
            "first_s": ponding.time,
            "level_box_first": labels[-1 if ponding.level_line is None else ponding.level_line],
            "level_box_s": ponding.level_time,
            "sooner_s": ponding.sooner,
        },
        "files": files,
        "warnings": sentences(outcome.warnings),
    })  # fmt: skip
    if outcome.behind:
        answer["boxes"] = [
            {"behind": outcome.labels[i], **surge_json(box)} for i, box in outcome.behind
        ]
        answer["lines"] = rows(
            label=outcome.lines, volume_m3=outcome.lines.values(), share=outcome.line_shares
        )
    return answer


def contrast_json(outcomes: Sequence[SurgeOutcome], files: Sequence[str] = ()) -> Json:
    """The answer of `dbox surge --contrast --json`."""
    return {"runs": [surge_json(outcome) for outcome in outcomes], "files": list(files)}


def volume_text(run: Surge) -> str:
    """How much ran in."""
    return f"{gallons(run.inflow_volume)} ({litres(run.inflow_volume)})"


def rough(volume: float, *, metric: bool) -> str:
    """A volume in the unit of the job, to two digits. [m3]

    >>> rough(249.9, metric=True), rough(0.2911, metric=False)
    ('250,000 L', '77 gal')
    """
    unit, name = (LITRE, "L") if metric else (GALLON, "gal")
    if volume < 0.05 * unit:
        return f"0 {name}"
    return f"{float(f'{volume / unit:.2g}'):,.10g} {name}"


def ran_in(outcome: SurgeOutcome) -> str:
    """What ran in and how much of it, in the unit of the job first."""
    run = outcome.surge
    return f"{run.event.name or 'flow'}: {volume_words(outcome, run.inflow_volume, both=True)}"


def day_of(seconds: float) -> int:
    """The day of a run, from 1, in which a time falls; seconds [s]."""
    return int(seconds // DAY) + 1


def finding(outcome: SurgeOutcome) -> str:
    """What a run came to, in a line; of days also which trench it filled."""
    ponding = outcome.ponding
    if ponding is None or outcome.surge.seconds <= DAY:
        return _dealt(outcome)
    if ponding.line is None:
        fills = "; no trench fills to its pipe" * any(outcome.site.works.trenches)
        return f"{_dealt(outcome)}{fills}"
    full, day = np.flatnonzero(np.isfinite(outcome.surge.time_full)), day_of(ponding.time)
    first, rest = outcome.labels[ponding.line], [i for i in full.tolist() if i != ponding.line]
    share = share_text(float(outcome.surge.share[ponding.line]))
    over = ponding.line in outcome.overloaded
    said = f"its trench is {'overloaded from' if over else 'full to its pipe on'} day {day}"
    more = ""
    if rest:
        few = f"outlet{'s' * (len(rest) > 1)} {' and '.join(outcome.labels[i] for i in rest)}"
        more = (
            f"; {few if len(rest) < 3 else f'{len(rest)} more'} fill{'s' * (len(rest) == 1)} later"
        )
    return f"Outlet {first} gets {share}, {said}{more}"


def level_words(outcome: SurgeOutcome) -> str:
    """What a level box would do in the same days; nothing where there is no trench."""
    ponding = outcome.ponding
    if ponding is None or not any(outcome.site.works.trenches):
        return ""
    if ponding.level_line is None:
        return f"With all lips level no trench would fill in {duration(outcome.surge.seconds)}."
    day = day_of(ponding.level_time)
    return f"With all lips level the first trench would be full to its pipe on day {day}."


def _dealt(outcome: SurgeOutcome) -> str:
    """Who gets the most of a run and who the least."""
    run, labels, name = outcome.surge, outcome.labels, outcome.surge.event.name or "flow"
    if outcome.extremes is None:
        return f"Every line gets its target of {flow_of(name)}"
    best, worst = outcome.extremes
    low = low_words(outcome.site, outcome.target, run.system.lips, best)
    most = f"outlet {labels[best]} gets {_gets(outcome, best)} of {flow_of(name)}"
    most = f"{low}: {most}" if low else f"{most[0].upper()}{most[1:]}"
    return f"{most}, outlet {labels[worst]} gets {_gets(outcome, worst)}"


def report(outcome: SurgeOutcome) -> list[str]:
    """Lines of at most 72 columns."""
    found, share, target = outcome.surge, outcome.surge.share, outcome.target
    lead = "Every line gets its target."
    if outcome.extremes:
        best, worst = outcome.extremes
        lead = (
            f"Outlet {outcome.labels[best]} gets {percent_text(share[best])} of what left "
            f"the box and outlet {outcome.labels[worst]} {percent_text(share[worst])}; "
            f"targets are {percent_text(target[best])} and {percent_text(target[worst])}."
        )
    ran = f"{found.event.name}: {volume_text(found)}, followed for {duration(found.seconds)}."
    both = outcome.site.lengths.both
    peaks = (
        f"Water in the box stood highest at {duration(found.peak_time)}, {both(found.rise)} "
        "over still water"
    )
    if np.isfinite(found.tank_peak):
        peaks += f"; in the tank {both(found.tank_peak)} over its outlet"
    error = max(run.balance_error for run in outcome.runs)
    balance = f"Volumes add up to {error:.0e} of what came, in {found.steps} steps."
    return text([
        [Paragraph(outcome.site.title), *_planned(outcome), Paragraph(f"{ran} {lead}")],
        [_table(outcome)],
        [Paragraph(f"{peaks}.")],
        *_of_lines(outcome, outcome.site.works.people),
        *_behind(outcome, outcome.site.works.people),
        [Paragraph(f"{balance} {MODEL}")],
    ])  # fmt: skip


def _planned(outcome: SurgeOutcome) -> Section:
    return [Paragraph(PLANNED)] if outcome.site.planned else []


def _of_lines(outcome: SurgeOutcome, people: int | None) -> list[Section]:
    """What the lines of a box get, which ponds first, and where the model is weak."""
    ponding = outcome.ponding
    return [
        _loads(outcome, people),
        [Paragraph(ponding_words(outcome, ponding))] if ponding else [],
        warned(outcome.warnings),
    ]


def _behind(outcome: SurgeOutcome, people: int | None, path: str = "") -> list[Section]:
    """The boxes that outlets feed; of all of them together what each line gets."""
    sections: list[Section] = []
    for i, box in outcome.behind:
        way = f"{path}{outcome.labels[i]}"
        found = box.surge
        words = (
            f"Box behind outlet {way}: {volume_text(found)} came; its water stood highest at "
            f"{duration(found.peak_time)}, {box.site.lengths.both(found.rise)} over still water."
        )
        sections += [
            [Paragraph(box.site.title), Paragraph(words)],
            [_table(box)],
            *_of_lines(box, people),
            *_behind(box, people, f"{way}/"),
        ]
    if outcome.behind and not path:
        gets = zip(outcome.lines.items(), outcome.line_shares, strict=True)
        lines = [[line, percent_text(share), gallons(got)] for (line, got), share in gets]
        heads = [Column("line", 10, whole=True), *columns({"share": 7, "volume": 11}, "right")]
        sections.append([Paragraph("Through to every line:"), Table(heads, lines)])
    return sections


def notes_side_by_side(outcomes: Sequence[SurgeOutcome]) -> list[Note]:
    """What all runs are warned of, then what only some are, with their names."""
    all_of = {outcome.surge.event.name: outcome.warnings for outcome in outcomes}
    shared = [note for note in outcomes[0].warnings if all(note in n for n in all_of.values())]
    own = [
        note.under(name) for name, notes in all_of.items() for note in notes if note not in shared
    ]
    return [*shared, *own]


def contrast_report(outcomes: tuple[SurgeOutcome, ...]) -> list[str]:
    """Lines of at most 72 columns: the same volume at every flow, side by side."""
    first = outcomes[0]
    # the line that the weakest flow favours most, at the weakest and at the strongest flow
    weak, strong = (pick(outcomes, key=_poured) for pick in (min, max))
    lead = "Every line gets its target at the weakest flow already."
    if weak.extremes:
        best, _ = weak.extremes
        lead = (
            f"Outlet {weak.labels[best]} gets {percent_text(weak.surge.share[best])} at "
            f"{weak.surge.event.name} and {percent_text(strong.surge.share[best])} at "
            f"{strong.surge.event.name}; its target is {percent_text(weak.target[best])}."
        )
    ran = f"The same {volume_text(first.surge)} let into the same box at each flow."
    starts = range(0, len(outcomes), _ACROSS)
    return text([
        [Paragraph(first.site.title), *_planned(first), Paragraph(f"{ran} {lead}")],
        *(_side_by_side(outcomes[start : start + _ACROSS]) for start in starts),
        warned(notes_side_by_side(outcomes)),
        [Paragraph(MODEL)],
    ])  # fmt: skip


@dataclass(frozen=True)
class FilmWords:
    """What a film of runs through one box says."""

    title: str  # The finding.
    about: str  # What runs in.
    watch: str  # What to look for.
    result: str  # What it came to.


def film_words(outcomes: Sequence[SurgeOutcome]) -> FilmWords:
    """Of one run who gets how much; of several what the line most favoured gets at each end."""
    if len(outcomes) > 1:
        return _contrast_words(outcomes)
    (outcome,) = outcomes
    run, labels = outcome.surge, outcome.labels
    result = f"Every line got its target of {volume_words(outcome, run.inflow_volume)}."
    if outcome.extremes:
        best, worst = outcome.extremes
        volumes = [volume_words(outcome, run.volume[-1, i]) for i in (best, worst)]
        wanted = volume_words(outcome, outcome.target[best] * run.volume[-1].sum())
        result = (
            f"Outlet {labels[best]} got {volumes[0]}, its target is {wanted}; "
            f"outlet {labels[worst]} got {volumes[1]}."
        )
    starts = np.where(np.isfinite(run.first_flow), run.first_flow, np.inf)
    first, late = int(starts.argmin()), int(np.where(np.isfinite(starts), starts, -1.0).argmax())
    if np.isinf(starts[first]):
        watch = "No line starts."
    elif starts[late] - starts[first] < 1.0:
        watch = "All lines start together: watch the water over each lip."
    else:
        watch = (
            f"Watch: outlet {labels[first]} starts first; outlet {labels[late]} waits "
            f"{duration(starts[late] - starts[first])} more."
        )
    return FilmWords(finding(outcome), ran_in(outcome), watch, result)


def _contrast_words(outcomes: Sequence[SurgeOutcome]) -> FilmWords:
    weak, strong = (pick(outcomes, key=_poured) for pick in (min, max))
    names = [o.surge.event.name.removesuffix(" (default)") for o in (weak, strong)]
    whole = volume_words(weak, weak.surge.inflow_volume)
    both = volume_words(weak, weak.surge.inflow_volume, both=True)
    about = f"the same {both} let into the same box at each flow"
    rises = [weak.site.lengths.one(o.surge.rise) for o in (weak, strong)]
    watch = (
        f"Watch the lips: the water stands {rises[0]} over the lowest at {names[0]}, "
        f"{rises[1]} at {names[1]}."
    )
    found = weak if weak.extremes else strong
    if not found.extremes:
        title = f"Every line gets its target at {names[0]} and at {names[1]}"
        return FilmWords(title, about, watch, f"Every line got its target of {whole}.")
    best, _ = found.extremes
    of = [f"{_gets(o, best)} of {flow_of(n)}" for o, n in zip((weak, strong), names, strict=True)]
    low = low_words(weak.site, weak.target, weak.surge.system.lips, best)
    most = f"outlet {weak.labels[best]} gets {', '.join(of)}"
    title = f"{low}: {most}" if low else f"{most[0].upper()}{most[1:]}"
    got = [
        f"{volume_words(o, o.surge.volume[-1, best])} at {name}"
        for o, name in zip((weak, strong), names, strict=True)
    ]
    wanted = volume_words(weak, weak.target[best] * weak.surge.volume[-1].sum())
    result = (
        f"Of {whole} outlet {weak.labels[best]} got {' and '.join(got)}; its target is {wanted}."
    )
    return FilmWords(title, about, watch, result)


def _gets(outcome: SurgeOutcome, i: int) -> str:
    return share_text(float(outcome.surge.share[i]))


def flow_words(outcome: SurgeOutcome, flow: float) -> str:
    """A flow both ways, in the unit of the job first. [m3/s]"""
    first, second = (litres_per_min, gpm) if outcome.site.metric else (gpm, litres_per_min)
    return f"{first(flow)} ({second(flow)})"


def volume_words(outcome: SurgeOutcome, volume: float, *, both: bool = False) -> str:
    """A volume in the unit of the job, or both ways with that first. [m3]"""
    metric = outcome.site.metric
    first, second = (rough(volume, metric=unit) for unit in (metric, not metric))
    return f"{first} ({second})" if both else first


_ACROSS, _CELL, _NAME = 4, 14, 12
"""Runs side by side, columns of each of them, and of what is told."""


def _poured(outcome: SurgeOutcome) -> float:
    """The flow of a run that lets a volume in evenly. [m3/s]"""
    return float(outcome.surge.event.first[0])


def _side_by_side(outcomes: tuple[SurgeOutcome, ...]) -> Section:
    heads = [Column(o.surge.event.name, _CELL, "right") for o in outcomes]
    plain = [Column("", column.width, "right") for column in heads]
    flow_text = litres_per_min if outcomes[0].site.metric else gpm
    told = [
        ["flow", *(flow_text(_poured(o)) for o in outcomes)],
        ["takes", *(duration(o.surge.inflow_volume / _poured(o)) for o in outcomes)],
        ["water rose", *(millimetres(o.surge.rise) for o in outcomes)],
    ]
    whole = max(float(o.surge.share.max()) for o in outcomes)
    lines = []
    for i, outlet in enumerate(outcomes[0].site.outlets):
        pairs = [(float(o.surge.share[i]), float(o.target[i])) for o in outcomes]
        cells = [f"{bar(s, target, whole, 6)}{percent_text(s):>7}" for s, target in pairs]
        lines.append([outlet.label, *cells])
        if outlet.capped:
            lines[-1][1:] = ["capped", *[""] * (len(cells) - 1)]
    for place, label in enumerate(outcomes[0].lines):
        if label not in outcomes[0].labels:
            lines.append([label, *(percent_text(o.line_shares[place]) for o in outcomes)])
    return [
        Table([Column("", _NAME), *heads], told),
        Paragraph("share of outlet", "  "),
        Table([Column("", _NAME), *plain], lines),
    ]


_OUTLETS = (
    Column("outlet", 10),
    *columns({"share": 7, "volume": 11, "peak": 12, "starts": 13}, "right"),
    Column("target", 17),
)


def _table(outcome: SurgeOutcome) -> Table:
    found, lines = outcome.surge, []
    whole = max(float(found.share.max()), 2 * float(outcome.target.max()))
    for i, outlet in enumerate(outcome.site.outlets):
        if outlet.capped:
            lines.append([outlet.label, "capped", "", "", "", ""])
            continue
        start = "only drips" if found.volume[-1, i] > 0 else "never"
        if np.isfinite(found.first_flow[i]):
            start = duration(float(found.first_flow[i]))
        share, target = float(found.share[i]), float(outcome.target[i])
        lines.append([
            outlet.label, percent_text(share), gallons(found.volume[-1, i]),
            gpm(found.peak_flow[i]), start,
            f"{percent_text(target):>6} {bar(share, target, whole, 8)}",
        ])  # fmt: skip
    return Table(_OUTLETS, lines)


def _loads(outcome: SurgeOutcome, people: int | None) -> Section:
    """What each line gets a day of what its trench takes, where both are known."""
    lines = []
    known = np.isfinite(outcome.load) & np.isfinite(outcome.capacity)
    for i in np.flatnonzero(known).tolist():
        load, takes = float(outcome.load[i]) * DAY, float(outcome.capacity[i]) * DAY
        verdict = "OVERLOADED" if i in outcome.overloaded else f"{100 * load / takes:.0f} %"
        depth = millimetres(float(outcome.surge.depth[-1, i]))
        gets = [gallons(load), f" of{gallons(takes):>9} a day ", verdict]
        lines.append([outcome.labels[i], *gets, f" water {depth}"])
    if not lines:
        return []
    gets_words = "What each line gets a day"
    if outcome.ponding is None:
        gets_words = f"At these shares of what {people} people send, each line gets"
    words = f"{gets_words}, of what its trench takes when full to its pipe; water in it at the end:"
    amounts = [Column("", width, "right") for width in (9, 19, 11)]
    return [Paragraph(words), Table([Column("", 10), *amounts, Column("", 14)], lines)]


def ponding_words(outcome: SurgeOutcome, ponding: Ponding) -> str:
    """Which line ponds first, and what a level box would do."""
    whole = duration(outcome.surge.seconds)
    level = (
        f"with all lips level none would in {whole}"
        if ponding.level_line is None
        else f"with all lips level the first would after {duration(ponding.level_time)}"
    )
    if ponding.line is None:
        return f"No trench stands full to its pipe in {whole}; {level}."
    sooner = ponding.sooner
    brought = f": {duration(sooner)} later" if np.isfinite(sooner) and sooner > 0 else ""
    return (
        f"FIRST TO POND: outlet {outcome.labels[ponding.line]}, full to its pipe after "
        f"{duration(ponding.time)}; {level}{brought}."
    )
