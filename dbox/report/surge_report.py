"""A run of a surge for machines and for people.

Shares are fractions. What did not happen or is not known is null, never 0 and never NaN.
"""

from collections.abc import Sequence

import numpy as np

from dbox.fieldwork.surge import Ponding, SurgeOutcome
from dbox.hydraulics.surge.stepper import Surge
from dbox.notes import Note
from dbox.report.cautions import MODEL
from dbox.report.encode import Json, encode, rows
from dbox.report.text import bar, noted, wrapped
from dbox.report.wording import sentences
from dbox.units import (
    DAY,
    HOUR,
    MINUTE,
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
    return answer


def contrast_json(outcomes: Sequence[SurgeOutcome], files: Sequence[str] = ()) -> Json:
    """The answer of `dbox surge --contrast --json`."""
    return {"runs": [surge_json(outcome) for outcome in outcomes], "files": list(files)}


_LABEL = 10
_BAR = 8
_CELL = 14
_ACROSS = 4


def volume_text(run: Surge) -> str:
    """How much ran in."""
    return f"{gallons(run.inflow_volume)} ({litres(run.inflow_volume)})"


def report(outcome: SurgeOutcome) -> list[str]:
    """Lines of at most 72 columns."""
    found, share, target = outcome.surge, outcome.surge.share, outcome.target
    lines = wrapped(outcome.site.title) if outcome.site.title else []
    lead = "Every line gets its target."
    if outcome.extremes:
        best, worst = outcome.extremes
        lead = (
            f"Outlet {outcome.labels[best]} gets {percent_text(float(share[best]))} of what left "
            f"the box and outlet {outcome.labels[worst]} {percent_text(float(share[worst]))}; "
            f"targets are {percent_text(float(target[best]))} and "
            f"{percent_text(float(target[worst]))}."
        )
    ran = f"{found.event.name}: {volume_text(found)}, followed for {duration(found.seconds)}."
    lines += wrapped(f"{ran} {lead}")
    lines += ["", *_table(outcome), ""]
    both = outcome.site.lengths.both
    peaks = (
        f"Water in the box stood highest at {duration(found.peak_time)}, {both(found.rise)} "
        "over still water"
    )
    if np.isfinite(found.tank_peak):
        peaks += f"; in the tank {both(found.tank_peak)} over its outlet"
    lines += [*wrapped(f"{peaks}."), *_loads(outcome)]
    if outcome.ponding is not None:
        lines += ["", *wrapped(_report_ponding(outcome, outcome.ponding))]
    lines += noted(sentences(outcome.warnings))
    balance = f"Volumes add up to {found.balance_error:.0e} of what came, in {found.steps} steps."
    return [*lines, "", *wrapped(f"{balance} {MODEL}")]


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
    lines = wrapped(first.site.title) if first.site.title else []
    lines += wrapped(
        f"The same {volume_text(first.surge)} let into the same box at each flow. "
        f"{_contrast_lead(outcomes)}"
    )
    for start in range(0, len(outcomes), _ACROSS):
        lines += ["", *_side_by_side(outcomes[start : start + _ACROSS])]
    lines += noted(sentences(notes_side_by_side(outcomes)))
    return [*lines, "", *wrapped(MODEL)]


def _contrast_lead(outcomes: tuple[SurgeOutcome, ...]) -> str:
    """The line that the weakest flow favours most, at the weakest and at the strongest flow."""
    weak, strong = (pick(outcomes, key=_poured) for pick in (min, max))
    if not weak.extremes:
        return "Every line gets its target at the weakest flow already."
    best, _ = weak.extremes
    return (
        f"Outlet {weak.labels[best]} gets {percent_text(float(weak.surge.share[best]))} at "
        f"{weak.surge.event.name} and {percent_text(float(strong.surge.share[best]))} at "
        f"{strong.surge.event.name}; its target is {percent_text(float(weak.target[best]))}."
    )


def _poured(outcome: SurgeOutcome) -> float:
    """The flow of a run that lets a volume in evenly. [m3/s]"""
    return float(outcome.surge.event.first[0])


def _side_by_side(outcomes: tuple[SurgeOutcome, ...]) -> list[str]:
    names = [o.surge.event.name for o in outcomes]
    flow_text = litres_per_min if outcomes[0].site.metric else gpm
    lines = [
        _row("", [name if len(name) < _CELL else f"{name[: _CELL - 2]}~" for name in names]),
        _row("flow", [flow_text(_poured(o)) for o in outcomes]),
        _row("takes", [duration(o.surge.inflow_volume / _poured(o)) for o in outcomes]),
        _row("water rose", [millimetres(o.surge.rise) for o in outcomes]),
        "  share of outlet",
    ]
    whole = max(float(o.surge.share.max()) for o in outcomes)
    for i, outlet in enumerate(outcomes[0].site.outlets):
        if outlet.capped:
            lines.append(_row(outlet.label, ["capped"]))
            continue
        cells = []
        for outcome in outcomes:
            share, target = float(outcome.surge.share[i]), float(outcome.target[i])
            cells.append(f"{bar(share, target, whole, 6)}{percent_text(share):>7}")
        lines.append(_row(outlet.label, cells))
    return lines


def _row(head: str, cells: list[str]) -> str:
    return f"  {head[: _LABEL + 1]:<{_LABEL + 2}}" + "".join(f"{c:>{_CELL}}" for c in cells)


def _table(outcome: SurgeOutcome) -> list[str]:
    found = outcome.surge
    lines = [f"  {'outlet':<{_LABEL}}{'share':>7}{'volume':>11}{'peak':>12}{'starts':>13}  target"]
    whole = max(float(found.share.max()), 2 * float(outcome.target.max()))
    for i, outlet in enumerate(outcome.site.outlets):
        label = outlet.label if len(outlet.label) < _LABEL else outlet.label[: _LABEL - 2] + "~"
        if outlet.capped:
            lines.append(f"  {label:<{_LABEL}}{'capped':>7}")
            continue
        start = "only drips" if found.volume[-1, i] > 0 else "never"
        if np.isfinite(found.first_flow[i]):
            start = duration(float(found.first_flow[i]))
        share, target = float(found.share[i]), float(outcome.target[i])
        lines.append(
            f"  {label:<{_LABEL}}{percent_text(share):>7}{gallons(float(found.volume[-1, i])):>11}"
            f"{gpm(float(found.peak_flow[i])):>12}{start:>13}"
            f"  {percent_text(target):>6} {bar(share, target, whole, _BAR)}"
        )
    return lines


def _loads(outcome: SurgeOutcome) -> list[str]:
    lines = []
    known = np.isfinite(outcome.load) & np.isfinite(outcome.capacity)
    for i in np.flatnonzero(known).tolist():
        load, takes = float(outcome.load[i]) * DAY, float(outcome.capacity[i]) * DAY
        depth = float(outcome.surge.depth[-1, i])
        verdict = "OVERLOADED" if i in outcome.overloaded else f"{100 * load / takes:.0f} %"
        lines.append(
            f"  {outcome.labels[i][: _LABEL - 1]:<{_LABEL}}{gallons(load):>9} of"
            f"{gallons(takes):>9} a day {verdict:>11}   water {millimetres(depth)}"
        )
    if not lines:
        return []
    gets = "What each line gets a day"
    if outcome.ponding is None:
        gets = f"At these shares of what {outcome.site.works.people} people send, each line gets"
    head = f"{gets}, of what its trench takes when full to its pipe; water in it at the end:"
    return ["", *wrapped(head), *lines]


def _report_ponding(outcome: SurgeOutcome, ponding: Ponding) -> str:
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


def duration(seconds: float) -> str:
    """Write a time as people say it, to three digits or to the second.

    >>> duration(95.0), duration(7200.0), duration(593869.0)
    ('1 min 35 s', '2 h', '6.87 days')
    """
    if seconds < MINUTE:
        return f"{seconds:.0f} s"
    if seconds < HOUR:
        minutes, rest = divmod(round(seconds), 60)
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    size, unit = (HOUR, "h") if seconds < 2 * DAY else (DAY, "days")
    return f"{seconds / size:.3g} {unit}"
