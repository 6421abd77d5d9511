"""A run of a surge for machines and for people.

Shares are fractions. What did not happen or is not known is null, never 0 and never NaN.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from dbox.fieldwork.shares import NOTABLE, over_target
from dbox.fieldwork.surge import Outcome, Ponding
from dbox.report.text import bar, noted, wrapped
from dbox.report.wording import sentences
from dbox.units import DAY, HOUR, MINUTE, gallons, gpm, inches_mm, litres, millimetres
from dbox.units import percent_text as percent

Json = dict[str, Any]


def surge_json(outcome: Outcome, files: Sequence[str] = ()) -> Json:
    """The answer of `dbox surge --json`."""
    found = outcome.surge
    return {
        "event": found.event.name,
        "inflow_volume_m3": found.came,
        "balance_error_relative": found.balance_error,
        "peak_level_m": found.peak_level,
        "peak_level_s": found.peak_time,
        "seconds": found.seconds,
        "tank_peak_m": _number(found.tank_peak),
        "spilled_m3": float(found.spilled[-1]),
        "outlets": [_outlet(outcome, i) for i in range(len(outcome.labels))],
        "overloaded": [outcome.labels[i] for i in outcome.overloaded],
        "ponding": _ponding(outcome),
        "files": list(files),
        "warnings": sentences(outcome.warnings),
    }


def contrast_json(outcomes: Sequence[Outcome], files: Sequence[str] = ()) -> Json:
    """The answer of `dbox surge --contrast --json`."""
    return {"runs": [surge_json(outcome) for outcome in outcomes], "files": list(files)}


def _outlet(outcome: Outcome, i: int) -> Json:
    found = outcome.surge
    return {
        "label": outcome.labels[i],
        "volume_m3": float(found.volume[-1, i]),
        "share": float(found.share[i]),
        "target": float(outcome.target[i]),
        "peak_flow_m3_s": float(found.peak_flow[i]),
        "first_flow_s": _number(found.first_flow[i]),
        "trench_depth_m": _number(found.depth[-1, i]),
        "trench_full_s": _number(found.filled[i]),
        "surfaced_m3": float(found.surfaced[-1, i]),
        "load_m3_s": _number(outcome.load[i]),
        "capacity_m3_s": _number(outcome.capacity[i]),
    }


def _ponding(outcome: Outcome) -> Json | None:
    ponding = outcome.ponding
    if ponding is None:
        return None

    def label(line: int | None) -> str | None:
        return None if line is None else outcome.labels[line]

    return {
        "first": label(ponding.line),
        "first_s": _number(ponding.time),
        "level_box_first": label(ponding.level_line),
        "level_box_s": _number(ponding.level_time),
        "sooner_s": _number(ponding.sooner),
    }


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


_LABEL = 10
_BAR = 8
_CELL = 14
_ACROSS = 4
_CAUTION = "The tool models the box; local code, the permit and the inspector decide."


def report(outcome: Outcome) -> list[str]:
    """Lines of at most 72 columns."""
    found = outcome.surge
    lines = wrapped(outcome.site.title) if outcome.site.title else []
    lines += wrapped(
        f"{found.event.name}: {gallons(found.came)} ({litres(found.came)}), followed for "
        f"{duration(found.seconds)}. {_lead(outcome)}"
    )
    lines += ["", *_table(outcome), "", *_peaks(outcome)]
    lines += _loads(outcome)
    if outcome.ponding is not None:
        lines += ["", *wrapped(_report_ponding(outcome, outcome.ponding))]
    lines += noted(sentences(outcome.warnings))
    balance = f"Volumes add up to {found.balance_error:.0e} of what came, in {found.steps} steps."
    return [*lines, "", *wrapped(f"{balance} {_CAUTION}")]


def contrast_report(outcomes: tuple[Outcome, ...]) -> list[str]:
    """Lines of at most 72 columns: the same volume at every flow, side by side."""
    first = outcomes[0]
    lines = wrapped(first.site.title) if first.site.title else []
    lines += wrapped(
        f"The same {gallons(first.surge.came)} ({litres(first.surge.came)}) let into the same box "
        f"at each flow. {_contrast_lead(outcomes)}"
    )
    for start in range(0, len(outcomes), _ACROSS):
        lines += ["", *_side_by_side(outcomes[start : start + _ACROSS])]
    said = {o.surge.event.name: sentences(o.warnings) for o in outcomes}
    shared = [w for w in sentences(first.warnings) if all(w in each for each in said.values())]
    own = [f"{name}: {w}" for name, each in said.items() for w in each if w not in shared]
    lines += noted([*shared, *own])
    return [*lines, "", *wrapped(_CAUTION)]


def _contrast_lead(outcomes: tuple[Outcome, ...]) -> str:
    """The line that the weakest flow favours most, at the weakest and at the strongest flow."""
    weak, strong = (
        pick(outcomes, key=lambda o: float(o.surge.event.first[0])) for pick in (min, max)
    )
    best, _ = _extremes(weak)
    if best is None:
        return "Every line gets its target at the weakest flow already."
    return (
        f"Outlet {weak.labels[best]} gets {percent(float(weak.surge.share[best]))} at "
        f"{weak.surge.event.name} and {percent(float(strong.surge.share[best]))} at "
        f"{strong.surge.event.name}; its target is {percent(float(weak.target[best]))}."
    )


def _side_by_side(outcomes: tuple[Outcome, ...]) -> list[str]:
    flows = [float(o.surge.event.first[0]) for o in outcomes]
    names = [o.surge.event.name for o in outcomes]
    rises = [o.surge.peak_level - o.surge.system.still_level for o in outcomes]
    lines = [
        _row("", [name if len(name) < _CELL else f"{name[: _CELL - 2]}~" for name in names]),
        _row("flow", [gpm(flow) for flow in flows]),
        _row("takes", [duration(o.surge.came / q) for o, q in zip(outcomes, flows, strict=True)]),
        _row("water rose", [millimetres(rise) for rise in rises]),
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
            cells.append(f"{bar(share, target, whole, 6)}{percent(share):>7}")
        lines.append(_row(outlet.label, cells))
    return lines


def _row(head: str, cells: list[str]) -> str:
    return f"  {head[: _LABEL + 1]:<{_LABEL + 2}}" + "".join(f"{c:>{_CELL}}" for c in cells)


def _lead(outcome: Outcome) -> str:
    best, worst = _extremes(outcome)
    if best is None or worst is None:
        return "Every line gets its target."
    share, target = outcome.surge.share, outcome.target
    return (
        f"Outlet {outcome.labels[best]} gets {percent(float(share[best]))} of what left the box "
        f"and outlet {outcome.labels[worst]} {percent(float(share[worst]))}; targets are "
        f"{percent(float(target[best]))} and {percent(float(target[worst]))}."
    )


def _extremes(outcome: Outcome) -> tuple[int | None, int | None]:
    """Lines that are most over and most under their target; None where all get theirs."""
    share, target = outcome.surge.share, outcome.target
    over = over_target(share, target)
    if over.max() <= NOTABLE:
        return None, None
    return int(np.argmax(over)), int(np.argmin(over))


def _table(outcome: Outcome) -> list[str]:
    found = outcome.surge
    lines = [f"  {'outlet':<{_LABEL}}{'share':>7}{'volume':>11}{'peak':>12}{'starts':>13}  target"]
    whole = max(float(found.share.max()), 2 * float(outcome.target.max()))
    for i, outlet in enumerate(outcome.site.outlets):
        label = outlet.label if len(outlet.label) < _LABEL else outlet.label[: _LABEL - 2] + "~"
        if outlet.capped:
            lines.append(f"  {label:<{_LABEL}}{'capped':>7}")
            continue
        start = _start(float(found.first_flow[i]), float(found.volume[-1, i]))
        share, target = float(found.share[i]), float(outcome.target[i])
        lines.append(
            f"  {label:<{_LABEL}}{percent(share):>7}{gallons(float(found.volume[-1, i])):>11}"
            f"{gpm(float(found.peak_flow[i])):>12}{start:>13}"
            f"  {percent(target):>6} {bar(share, target, whole, _BAR)}"
        )
    return lines


def _start(first_flow: float, volume: float) -> str:
    if np.isfinite(first_flow):
        return duration(first_flow)
    return "only drips" if volume > 0 else "never"


def _peaks(outcome: Outcome) -> list[str]:
    found = outcome.surge
    over = found.peak_level - found.system.still_level
    text = (
        f"Water in the box stood highest at {duration(found.peak_time)}, {inches_mm(over)} over "
        "still water"
    )
    if np.isfinite(found.tank_peak):
        text += f"; in the tank {inches_mm(found.tank_peak)} over its outlet"
    return wrapped(f"{text}.")


def _loads(outcome: Outcome) -> list[str]:
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


def _report_ponding(outcome: Outcome, ponding: Ponding) -> str:
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
