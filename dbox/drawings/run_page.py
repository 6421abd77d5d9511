"""A run as a page that plays it: its numbers, thinned to what a screen shows.

`page/runs.js` draws what stands here; nothing is computed there but where things lie between two
rows. Of the rows of a run those stay that hold the least or the greatest value of anything drawn,
in each of the columns that its time is cut into: what a curve as wide in dots would show. Of weeks
and years the water of each day is shown by its mean, since in a film their flushes would flicker.

The film has a clock of its own: (time of the run, time of the film) in pairs, straight between.
Where water moves a run is played at one speed, where it rests the clock hurries on. Runs side by
side keep one clock, which goes on faster once the quicker of them are through.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np

from dbox.arrays import Array
from dbox.drawings.box_views import Scale, deepest
from dbox.drawings.phone_page import page_html
from dbox.drawings.style import check_outlets
from dbox.errors import DomainError
from dbox.fieldwork.shares import NOTABLE
from dbox.fieldwork.surge import SurgeOutcome, highest_share, is_moving, shown_until
from dbox.hydraulics.surge.stepper import MIN_FLOW, Surge
from dbox.report.cautions import MODEL
from dbox.report.encode import Json, encode
from dbox.report.surge_report import film_words, level_words, not_shown, notes_side_by_side
from dbox.report.wording import PLANNED, joined
from dbox.units import DAY

COLUMNS = 720
"""Columns that the time of a run is cut into, where there is room for them all. [-] (judgement)"""

MOST_NUMBERS = 36_000
"""Numbers that a page has room for: about 180 kB. [-] (judgement)"""

MOVING_SECONDS, QUIET_SECONDS, PHASE_SECONDS = 36.0, 7.0, 14.0
"""How long the film shows moving water, at most the rest, and each phase of a contrast. [s]
(judgement)"""

LONGEST_PACED = 2.0 * DAY
"""Longer runs are played at one speed: a film has no time to stop at each use of water. [s]
(judgement)"""

LONGEST_FLUSHES = 14.0 * DAY
"""Of longer runs the water of a day is shown by its mean. [s] (judgement: a day then lasts less
than three seconds of the film)"""


def run_page(outcomes: Sequence[SurgeOutcome]) -> str:
    """Write the page of a run, or of several runs of one box side by side."""
    data = film_data(outcomes)
    return page_html(["scene", "runs"], {"film": data}, data["title"])


def film_data(outcomes: Sequence[SurgeOutcome]) -> Json:
    """Everything that the film shows, in SI; series as whole numbers of a step of their own."""
    if not outcomes:
        raise DomainError("there is no run to show")
    first = outcomes[0]
    site, run = first.site, first.surge
    check_outlets(len(first.labels))
    runs = [outcome.surge for outcome in outcomes]
    shown = [day_means(each) if each.seconds > LONGEST_FLUSHES else each for each in runs]
    scale = Scale.of(*shown)
    forms = list(dict.fromkeys(outlet.opening for outlet in site.outlets))
    rooms = MOST_NUMBERS // len(outcomes)
    words = film_words(outcomes)
    data: Json = encode({
        "title": site.title or "A discharge on its way through the box",
        "invented": site.record.invented,
        "planned": [*not_shown(first), *[PLANNED] * site.planned],
        "metric": site.metric,
        "ofDay": first.ponding is not None,
        "means": shown[0] is not run,
        "opening": f"{words.about[:1].upper()}{words.about[1:]}. {words.watch}",
        "finding": f"{words.title}.",
        "result": f"{words.result} {level_words(first)}".strip(),
        "notes": [*(f"! {note}." for note in joined(notes_side_by_side(outcomes))), MODEL],
        "low": scale.low,
        "high": scale.high,
        "still": run.system.still_level,
        "rim": run.system.rim,
        "perFlow": scale.per_flow,
        "leastFlow": MIN_FLOW,
        "allowed": NOTABLE - 1.0 if site.allowed is None else site.allowed,
        "deepest": max(deepest(each) for each in runs),
        "wholeShare": highest_share(outcomes),
        "outlines": [form.outline(scale.high - scale.low).round(5) for form in forms],
        "outlets": [
            {
                "label": outlet.label,
                "capped": outlet.capped,
                "target": target,
                "form": forms.index(outlet.opening),
                "pipe": trench and trench.pipe_height,
                "trench": trench and trench.depth,
            }
            for outlet, target, trench in zip(
                site.outlets, first.target, run.system.trenches, strict=True
            )
        ],
        "pace": pace(runs),
        "runs": [_run(*pair, rooms) for pair in zip(runs, shown, strict=True)],
    })  # fmt: skip
    return data


def day_means(run: Surge) -> Surge:
    """A run with one row for the end of each day; levels and flows are means over that day."""
    ends = np.append(np.arange(0.0, run.seconds, DAY), run.seconds)

    def at(values: Array) -> Array:
        columns = [np.interp(ends, run.time, column) for column in np.atleast_2d(values.T)]
        return np.stack(columns, -1).reshape(ends.size, *values.shape[1:])

    def mean(sums: Array) -> Array:
        each = np.diff(at(sums), axis=0) / np.diff(ends).reshape(-1, *[1] * (sums.ndim - 1))
        return np.concatenate([each[:1], each])

    def summed(rates: Array) -> Array:
        return np.append(0.0, np.cumsum(0.5 * (rates[1:] + rates[:-1]) * np.diff(run.time)))

    flow, level = mean(run.volume), mean(summed(run.level))
    return replace(
        run, time=ends, inflow=mean(summed(run.inflow)), tank_level=at(run.tank_level), level=level,
        flow=flow, volume=at(run.volume), overflow=mean(run.spilled), spilled=at(run.spilled),
        depth=at(run.depth), surfaced=at(run.surfaced), peak_level=float(level.max()),
        peak_flow=flow.max(0),
    )  # fmt: skip


def _run(run: Surge, shown: Surge, room: int) -> dict[str, Any]:
    rows = _fitting(shown, room)
    total = float(run.volume[-1].sum() + run.spilled[-1]) or 1.0
    most = max(float(each.max()) for each in (shown.inflow, shown.flow, shown.overflow)) or 1.0
    series = {
        "time": (shown.time, run.seconds / 1e6),
        "level": (shown.level, 1e-5),
        "inflow": (shown.inflow, most / 1e4),
        "overflow": (shown.overflow, most / 1e4),
        "flow": (shown.flow, most / 1e4),
        "volume": (shown.volume, total / 1e6),
        "depth": (np.nan_to_num(shown.depth), 1e-4),
    }
    return {
        "name": run.event.name,
        "seconds": run.seconds,
        "until": shown_until(run),
        "lips": run.system.lips,
        "lipsEnd": run.lips_end,
        "steps": {name: step for name, (_, step) in series.items()},
        **{name: _whole(values[rows], step) for name, (values, step) in series.items()},
    }


def _whole(values: Array, step: float) -> str | list[str]:
    """Values as whole numbers of a step; a column for each outlet."""
    counts = np.rint(values / step).astype(np.int64)
    columns = [" ".join(map(str, column)) for column in np.atleast_2d(counts.T).tolist()]
    return columns if values.ndim > 1 else columns[0]


def kept_rows(run: Surge, columns: int = COLUMNS) -> Array:
    """Places of the rows that are shown: first, last, least and greatest of each column."""
    drawn = np.column_stack([run.level, run.inflow, run.overflow, run.flow, run.depth])
    drawn = np.nan_to_num(drawn)
    place = np.minimum((run.time / run.seconds * columns).astype(int), columns - 1)
    ends = np.append(np.flatnonzero(np.diff(place, prepend=-1)), place.size)
    rows = {0, place.size - 1}
    for start, end in pairwise(ends.tolist()):
        part = drawn[start:end]
        rows |= {*(start + part.argmin(0)).tolist(), *(start + part.argmax(0)).tolist()}
    return np.array(sorted(rows))


def _fitting(run: Surge, room: int) -> Array:
    """The same for as many columns as there is room for numbers."""
    columns, per_row = COLUMNS, 4 + 3 * len(run.system.openings)
    while (rows := kept_rows(run, columns)).size * per_row > room and columns > 1:
        columns //= 2
    return rows


def pace(runs: Sequence[Surge]) -> list[tuple[float, float]]:
    """The film's clock: (time of the run, time of the film) in pairs. [s]"""
    end = max(run.seconds for run in runs)
    if len(runs) > 1:
        turns = [0.0, *sorted({shown_until(run) for run in runs})]
        pairs = [(time, PHASE_SECONDS * i) for i, time in enumerate(turns)]
    elif end > LONGEST_PACED:
        pairs = [(0.0, 0.0), (shown_until(runs[0]), MOVING_SECONDS)]
    else:
        pairs = _quiet_and_moving(runs[0])
    # what is left of the run goes by at once
    last, played = pairs[-1]
    return [*pairs, (end, played + 1.0)] if end > last else pairs


def _quiet_and_moving(run: Surge) -> list[tuple[float, float]]:
    until, moving = shown_until(run), is_moving(run)
    turns = 1 + np.flatnonzero(np.diff(moving))
    ends = np.unique(np.minimum(np.append(run.time[np.append(0, turns)], until), until))
    steps = np.diff(ends)
    middle = 0.5 * (ends[1:] + ends[:-1])
    busy = moving[np.clip(np.searchsorted(run.time, middle) - 1, 0, moving.size - 1)]
    water, rest = float(steps[busy].sum()), float(steps[~busy].sum())
    slow = MOVING_SECONDS / (water or until)
    fast = min(QUIET_SECONDS / rest, slow) if rest > 0 else slow
    played = np.append(0.0, np.cumsum(steps * np.where(busy, slow, fast)))
    return list(zip(ends.tolist(), played.tolist(), strict=True))
