"""A run of a surge for machines and for people.

Shares are fractions. What did not happen or is not known is null, never 0 and never NaN.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from dbox.errors import outlets_text
from dbox.fieldwork.surge import SurgeOutcome
from dbox.notes import Note
from dbox.report.blocks import Column, Paragraph, Section, Table, columns, text, warned
from dbox.report.cautions import MODEL
from dbox.report.encode import Json, encode, rows
from dbox.report.split_report import flow_of, low_words, share_text
from dbox.report.text import TOGETHER, bar, duration
from dbox.report.wording import PLANNED, sentences
from dbox.units import DAY, GALLON, HOUR, LITRE, gpm, litres_per_min, percent_text


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


def volume_words(outcome: SurgeOutcome, volume: float, *, both: bool = False) -> str:
    """A volume to two digits in the unit of the job, or both ways with that first. [m3]"""
    metric = outcome.site.metric
    first, second = (_rough(volume, metric=unit) for unit in (metric, not metric))
    return f"{first} ({second})" if both else first


def _rough(volume: float, *, metric: bool) -> str:
    """A volume to two digits. [m3]

    >>> _rough(249.9, metric=True), _rough(0.2911, metric=False)
    ('250,000 L', '77 gal')
    """
    unit, name = (LITRE, "L") if metric else (GALLON, "gal")
    if volume < 0.05 * unit:
        return f"0 {name}"
    return f"{float(f'{volume / unit:.2g}'):,.10g} {name}"


def flow_words(outcome: SurgeOutcome, flow: float, *, both: bool = True) -> str:
    """A flow both ways with the unit of the job first, or in that alone. [m3/s]"""
    first, second = (litres_per_min, gpm) if outcome.site.metric else (gpm, litres_per_min)
    return f"{first(flow)} ({second(flow)})" if both else first(flow)


def clock(seconds: float, *, fine: bool = True) -> str:
    """Write the time of a run as a clock shows it, a day ending at 24:00; seconds [s].

    fine: Whether the first day shows seconds.

    >>> clock(95.2), clock(93784.0), clock(95.2, fine=False)
    ('0:01:35', 'day 2, 2:03', '0:01')
    """
    whole = round(seconds)
    day = max(ceil(whole / DAY), 1)
    hours, rest = divmod(whole - (day - 1) * int(DAY), int(HOUR))
    minutes = f"{hours}:{rest // 60:02d}"
    return f"day {day}, {minutes}" if day > 1 else minutes + fine * f":{rest % 60:02d}"


def _when(outcome: SurgeOutcome, seconds: float) -> str:
    """A time by the clock where the run is one of days, else since it began; seconds [s]."""
    return duration(seconds) if outcome.ponding is None else clock(seconds, fine=False)


def day_of(seconds: float) -> int:
    """The day of a run, from 1, in which a time falls; seconds [s]."""
    return int(seconds // DAY) + 1


def name_of(outcome: SurgeOutcome) -> str:
    """What a run is called."""
    return (outcome.surge.event.name or "flow").removesuffix(" (default)")


def ran_in(outcome: SurgeOutcome) -> str:
    """What ran in and how much of it, in the unit of the job first."""
    return f"{name_of(outcome)}: {volume_words(outcome, outcome.surge.inflow_volume, both=True)}"


def not_shown(outcome: SurgeOutcome) -> list[str]:
    """What a picture or film of a box says of those that it feeds."""
    fed = [outcome.labels[i] for i, _ in outcome.behind]
    return [f"FIRST BOX ONLY: what {outlets_text(fed)} feeds is not shown"] if fed else []


def finding(outcome: SurgeOutcome, of: str = "") -> str:
    """What a run came to, in a line; of days also which trench it filled.

    of: What the shares are of; left out, the run by its name.
    """
    ponding, run, dealt = outcome.ponding, outcome.surge, _dealt(outcome, of)
    if ponding is None:
        return dealt
    if ponding.line is None:
        return dealt + "; no trench fills to its pipe" * any(outcome.site.works.trenches)
    full, day = np.flatnonzero(np.isfinite(run.time_full)), day_of(ponding.time)
    rest = [outcome.labels[i] for i in full.tolist() if i != ponding.line]
    over = ponding.line in outcome.overloaded
    said = f"its trench is {'overloaded from' if over else 'full to its pipe on'} day {day}"
    more = ""
    if rest:
        few = outlets_text(rest) if len(rest) < 3 else f"{len(rest)} more"
        more = f"; {few} fill{'s' * (len(rest) == 1)} later"
    first = f"Outlet {outcome.labels[ponding.line]} gets {_gets(outcome, ponding.line)}"
    return f"{first}, {said}{more}"


def _dealt(outcome: SurgeOutcome, of: str) -> str:
    """Who gets the most of a run and who the least, and what none gets."""
    of, run, rim = of or flow_of(name_of(outcome)), outcome.surge, ""
    spilled = float(run.spilled[-1])
    if spilled > _SPILLED * run.inflow_volume:
        of, rim = f"what stays of {of}", f"; {volume_words(outcome, spilled)} go over the rim"
    if outcome.extremes is None:
        return f"Every line gets its target of {of}{rim}"
    best, worst = outcome.extremes
    most = _most(outcome, best, f"{_gets(outcome, best)} of {of}")
    return f"{most}, outlet {outcome.labels[worst]} gets {_gets(outcome, worst)}{rim}"


_SPILLED = 0.005
"""Part of the water over the rim that a finding tells. [-] (judgement)"""


def _most(outcome: SurgeOutcome, i: int, share: str) -> str:
    """What the line most over its target gets, and by how much its lip stands low."""
    low = low_words(outcome.site, outcome.target, outcome.surge.system.lips, i)
    return f"{f'{low}: o' if low else 'O'}utlet {outcome.labels[i]} gets {share}"


def _gets(outcome: SurgeOutcome, i: int) -> str:
    return share_text(float(outcome.surge.share[i]))


def _targets(outcome: SurgeOutcome, lines: Sequence[int]) -> str:
    """The targets of the lines that a finding names."""
    each = dict.fromkeys(share_text(float(outcome.target[i])) for i in lines)
    if outcome.site.target_open or not each:
        return ""
    return f"Target{'s' * (len(each) > 1)}: {' and '.join(each)}."


def level_words(outcome: SurgeOutcome) -> str:
    """What a level box would do in the same days; nothing where no trench fills in a single one."""
    ponding, seconds = outcome.ponding, outcome.surge.seconds
    if ponding is None or not any(outcome.site.works.trenches):
        return ""
    if ponding.level_line is not None:
        day = day_of(ponding.level_time)
        return f"With all lips level the first trench would be full to its pipe on day {day}."
    if ponding.line is None and seconds <= DAY:
        return ""
    return f"With all lips level no trench would fill in {duration(seconds)}."


def _overloaded(outcome: SurgeOutcome) -> str:
    """Which lines get more than their trenches can take, and how much."""
    each = [
        f"outlet {outcome.labels[i]} gets {_a_day(outcome, outcome.load[i])} a day, its trench can "
        f"take {_a_day(outcome, outcome.capacity[i])}"
        for i in outcome.overloaded
    ]
    at = "" if outcome.ponding else " at these shares"
    return f"OVERLOADED{at}: {'; '.join(each)}." if each else ""


def _a_day(outcome: SurgeOutcome, flow: float) -> str:
    return volume_words(outcome, flow * DAY)


def _paragraphs(*texts: str) -> list[Paragraph]:
    return [Paragraph(words.replace(" %", f"{TOGETHER}%")) for words in texts if words]


def report(outcome: SurgeOutcome) -> list[str]:
    """Lines of at most 72 columns."""
    found, site, words = outcome.surge, outcome.site, film_words([outcome])
    lead = f"{words.title}. {words.targets}".strip()
    ran = f"{words.about[0].upper()}{words.about[1:]}, followed for {duration(found.seconds)}."
    tank = ""
    if np.isfinite(found.tank_peak):
        tank = f" In the tank it rose to {site.lengths.both(found.tank_peak)} over the outlet."
    error = max(run.balance_error for run in outcome.runs)
    return text([
        _paragraphs(
            site.title, PLANNED * site.planned, lead, _overloaded(outcome), level_words(outcome)
        ),
        [Paragraph(f"{ran} {_highest(outcome)}{tank}")],
        [_table(outcome)],
        _loads(outcome, site.works.people),
        warned(outcome.warnings),
        *_behind(outcome, site.works.people),
        [Paragraph(f"Not accounted for: {percent_text(error, 3)} of what ran in. {MODEL}")],
    ])  # fmt: skip


def _highest(outcome: SurgeOutcome) -> str:
    rise, when = outcome.site.lengths.both(outcome.surge.rise), outcome.surge.peak_time
    return f"Water in the box stood highest at {_when(outcome, when)}: {rise} over still water."


def _behind(outcome: SurgeOutcome, people: int | None, path: str = "") -> list[Section]:
    """The boxes that outlets feed; of all of them together what each line gets."""
    sections: list[Section] = []
    for i, box in outcome.behind:
        way = f"{path}{outcome.labels[i]}"
        came = volume_words(box, box.surge.inflow_volume, both=True)
        told = f"{finding(box, 'it')}. {_targets(box, box.extremes or ())}".strip()
        words = f"Box behind outlet {way}: {came} came. {told} {_highest(box)}"
        sections += [
            _paragraphs(box.site.title, words, _overloaded(box), level_words(box)),
            [_table(box)],
            _loads(box, people),
            warned(box.warnings),
            *_behind(box, people, f"{way}/"),
        ]
    if outcome.behind and not path:
        gets = zip(outcome.lines.items(), outcome.line_shares, strict=True)
        lines = [[line, share_text(part), volume_words(outcome, got)] for (line, got), part in gets]
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


_ACROSS, _CELL, _NAME = 4, 14, 12
"""Runs side by side, columns of each of them, and of what is told."""


def contrast_report(outcomes: Sequence[SurgeOutcome]) -> list[str]:
    """Lines of at most 72 columns: the same volume at every flow, side by side."""
    site, words = outcomes[0].site, film_words(outcomes)
    about = f"{words.about[0].upper()}{words.about[1:]}:"
    starts = range(0, len(outcomes), _ACROSS)
    return text([
        _paragraphs(
            site.title, PLANNED * site.planned, f"{words.title}. {words.targets}".strip(), about
        ),
        *(_side_by_side(outcomes[start : start + _ACROSS]) for start in starts),
        warned(notes_side_by_side(outcomes)),
        [Paragraph(MODEL)],
    ])  # fmt: skip


@dataclass(frozen=True)
class FilmWords:
    """What a film of runs through one box says, and the first lines of their text."""

    title: str  # The finding.
    targets: str  # Those of the lines that it names.
    about: str  # What runs in.
    watch: str  # What to look for.
    result: str  # What it came to.


def film_words(outcomes: Sequence[SurgeOutcome]) -> FilmWords:
    """Of one run who gets how much; of several what the line most favoured gets at each end."""
    if len(outcomes) > 1:
        return _contrast_words(outcomes)
    (outcome,) = outcomes
    run, labels, named = outcome.surge, outcome.labels, outcome.extremes or ()
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
    return FilmWords(finding(outcome), _targets(outcome, named), ran_in(outcome), watch, result)


def _contrast_words(outcomes: Sequence[SurgeOutcome]) -> FilmWords:
    weak, strong = ends = [pick(outcomes, key=_poured) for pick in (min, max)]
    names = [name_of(outcome) for outcome in ends]
    whole, both = (volume_words(weak, weak.surge.inflow_volume, both=b) for b in (False, True))
    about = f"the same {both} let into the same box at each flow"
    rises = [weak.site.lengths.one(o.surge.rise) for o in ends]
    watch = (
        f"Watch the lips: the water stands {rises[0]} over the lowest at {names[0]}, "
        f"{rises[1]} at {names[1]}."
    )
    extremes = weak.extremes or strong.extremes
    if not extremes:
        title = f"Every line gets its target at {names[0]} and at {names[1]}"
        return FilmWords(title, "", about, watch, f"Every line got its target of {whole}.")
    best, _ = extremes
    of = [f"{_gets(o, best)} of {flow_of(n)}" for o, n in zip(ends, names, strict=True)]
    got = [
        f"{volume_words(o, o.surge.volume[-1, best])} at {name}"
        for o, name in zip(ends, names, strict=True)
    ]
    wanted = volume_words(weak, weak.target[best] * weak.surge.volume[-1].sum())
    result = (
        f"Of {whole} outlet {weak.labels[best]} got {' and '.join(got)}; its target is {wanted}."
    )
    title = _most(weak, best, ", ".join(of))
    return FilmWords(title, _targets(weak, (best,)), about, watch, result)


def _poured(outcome: SurgeOutcome) -> float:
    """The flow of a run that lets a volume in evenly. [m3/s]"""
    return float(outcome.surge.event.first[0])


def _side_by_side(outcomes: Sequence[SurgeOutcome]) -> Section:
    heads = [Column(name_of(o), _CELL, "right") for o in outcomes]
    plain = [Column("", column.width, "right") for column in heads]
    told = [
        ["flow", *(flow_words(o, _poured(o), both=False) for o in outcomes)],
        ["let in for", *(duration(o.surge.inflow_volume / _poured(o)) for o in outcomes)],
        ["water rose", *(o.site.lengths.one(o.surge.rise) for o in outcomes)],
    ]
    whole = max(float(o.surge.share.max()) for o in outcomes)
    lines = []
    for i, outlet in enumerate(outcomes[0].site.outlets):
        pairs = [(float(o.surge.share[i]), float(o.target[i])) for o in outcomes]
        cells = [f"{bar(s, target, whole, 6)}{share_text(s):>7}" for s, target in pairs]
        lines.append([outlet.label, *cells])
        if outlet.capped:
            lines[-1][1:] = ["capped", *[""] * (len(cells) - 1)]
    for place, label in enumerate(outcomes[0].lines):
        if label not in outcomes[0].labels:
            lines.append([label, *(share_text(o.line_shares[place]) for o in outcomes)])
    return [
        Table([Column("", _NAME), *heads], told),
        Paragraph("share of outlet", "  "),
        Table([Column("", _NAME), *plain], lines),
    ]


_OUTLETS = (
    Column("outlet", 10),
    *columns({"share": 7, "volume": 11, "peak": 12, "starts": 14}, "right"),
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
            start = _when(outcome, float(found.first_flow[i]))
        share, target = float(found.share[i]), float(outcome.target[i])
        lines.append([
            outlet.label, share_text(share), volume_words(outcome, float(found.volume[-1, i])),
            flow_words(outcome, float(found.peak_flow[i]), both=False), start,
            f"{share_text(target):>5} {bar(share, target, whole, 8)}",
        ])  # fmt: skip
    return Table(_OUTLETS, lines)


def _loads(outcome: SurgeOutcome, people: int | None) -> Section:
    """What each line gets a day of what its trench takes, where both are known."""
    lines = []
    known = np.isfinite(outcome.load) & np.isfinite(outcome.capacity)
    for i in np.flatnonzero(known).tolist():
        load, takes = outcome.load[i], outcome.capacity[i]
        verdict = "OVERLOADED" if i in outcome.overloaded else f"{100 * load / takes:.0f} %"
        depth = outcome.site.lengths.tick(float(outcome.surge.depth[-1, i]))
        of = f" of{_a_day(outcome, takes):>9} a day "
        lines.append([outcome.labels[i], _a_day(outcome, load), of, verdict, f" water {depth}"])
    if not lines:
        return []
    gets = "What each line gets a day"
    if outcome.ponding is None:
        gets = f"At these shares of what {people} people send, each line gets a day"
    words = f"{gets}, of what its trench can take when full to its pipe; water in it at the end:"
    amounts = [Column("", width, "right") for width in (9, 19, 11)]
    return [Paragraph(words), Table([Column("", 10), *amounts, Column("", 14)], lines)]
