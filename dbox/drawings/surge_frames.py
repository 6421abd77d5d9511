"""What a film of runs shows: its title, runs through one box at one moment, and its last still.

One run fills the page; several stand side by side, with one clock, one scale of heights and one of
streams. A figure has 72 dots to the inch: a point is a dot.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Polygon, Rectangle

from dbox.arrays import Array
from dbox.drawings.box_views import (
    BoxView,
    Columns,
    Names,
    Scale,
    ShareView,
    deepest,
    rows_needed,
)
from dbox.drawings.fonts import use_fonts
from dbox.drawings.style import (
    BOX,
    EDGE,
    GREY,
    INK,
    MEDIUM,
    OVER,
    PALE,
    TARGET,
    UNDER,
    WANTED,
    WARNING,
    WATER,
    Sheet,
    check_outlets,
    line_height,
    pens,
    spread_out,
    text_width,
    wrap,
)
from dbox.errors import DomainError, ScenarioError
from dbox.fieldwork.surge import FRAMES, SurgeOutcome, frame_times, shown_until
from dbox.hydraulics.surge.stepper import Moment
from dbox.report.surge_report import (
    FilmWords,
    clock,
    film_words,
    flow_words,
    name_of,
    not_shown,
    notes_side_by_side,
)
from dbox.report.text import duration
from dbox.report.wording import PLANNED, joined
from dbox.units import DAY, INCH, three_digits

FRAME = 0.08
"""Playing time of a frame; whole hundredths, as a GIF counts. [s]"""

OPENING, CLOSING = 1.52, 2.4
"""How long the title stands, and the last still; whole frames. [s] (judgement)"""

SHORTEST_LONGEST = (8.0, 30.0)
"""How long a film may last. [s] (judgement: time to see it, and memory for its frames)"""

DOTS = 72
"""Dots per inch: a point is a dot."""

LEAST_LETTER = 14.0
"""Size of the smallest letters. [pt] (judgement: read from the last row)"""

USUAL = (1280, 720)
"""Width and height that the layout is drawn for. [dots]"""

_LEAST_COLUMN = 0.6
"""Width of an outlet's column over the size of the smallest letters. [-] (judgement)"""

MOST_PANELS = 4
"""Runs that stand side by side."""


@dataclass(frozen=True)
class Show:
    """How a film is played."""

    size: tuple[int, int] = USUAL  # Width and height. [dots]
    # How long it lasts, title and last still included. [s]
    seconds: float = OPENING + FRAMES * FRAME + CLOSING
    # One speed throughout, over that of the water; None: slow where something is to be seen.
    speed: float | None = None
    least: float = LEAST_LETTER  # Size of the smallest letters. [pt]

    @property
    def scale(self) -> float:
        """Size over that which the layout is drawn for. [-]"""
        return min(self.size[0] / USUAL[0], self.size[1] / USUAL[1])

    def letter(self, dots: float) -> float:
        """Size of letters, never too small to be read. [pt]; dots: at the usual size."""
        return max(self.least, dots * self.scale)

    def px(self, dots: float) -> float:
        """So many dots of the usual size. [in]"""
        return dots * self.scale / DOTS

    def sheet(self, figure: Figure | None = None) -> Sheet:
        """An empty page of this size, or a figure made one."""
        width, height = (dots / DOTS for dots in self.size)
        figure = Figure() if figure is None else figure
        figure.set(size_inches=(width, height), dpi=DOTS)
        page = figure.add_axes((0, 0, 1, 1))
        page.set(xlim=(0, width), ylim=(0, height))
        page.set_axis_off()
        edge = 24 * self.scale / DOTS
        return Sheet(figure, page, edge, width - edge, edge, height - edge)

    def times(self, outcomes: Sequence[SurgeOutcome]) -> Array:
        """The moments of the runs that are shown; the last is their end. [s]"""
        runs = [outcome.surge for outcome in outcomes]
        end = max(run.seconds for run in runs)
        if self.speed is None:
            frames = round((self.seconds - OPENING - CLOSING) / FRAME)
            return np.append(frame_times(*runs, frames=frames)[:-1], end)
        until = max(shown_until(run) for run in runs)
        (least, most), stills = SHORTEST_LONGEST, OPENING + CLOSING
        if not least <= until / self.speed + stills <= most:
            slow, fast = (three_digits(until / (seconds - stills)) for seconds in (most, least))
            lasts = duration(until / self.speed + stills)
            raise ScenarioError(
                f"--speed {self.speed:g}: the film would last {lasts}, and a film lasts {least:g} "
                f"to {most:g} s; write {slow} to {fast}, or --seconds"
            )
        return np.append(np.arange(0.0, until, self.speed * FRAME), end)


def speed_words(speed: float) -> str:
    """How fast a film runs, to a step that the eye can follow; speed over that of the water.

    >>> speed_words(118.0), speed_words(1.02), speed_words(0.21)
    ('120 times as fast', 'as fast as the water', 'slowed down 5 times')
    """

    def stepped(times: float) -> float:
        tens = 10.0 ** np.floor(np.log10(times))
        return float(min(_STEPS, key=lambda step: abs(step * tens - times)) * tens)

    if speed < 0.92:
        return f"slowed down {stepped(1.0 / speed):,g} times"
    return f"{stepped(speed):,g} times as fast" if speed > 1.08 else "as fast as the water"


_STEPS = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


class SurgeFrame:
    """A figure that shows runs through one box at one moment, drawn in an empty figure or anew.

    timed: Whether it tells the time; a still of each run's highest water does not.
    """

    @pens
    def __init__(
        self, outcomes: Sequence[SurgeOutcome], how: Show | None = None,
        figure: Figure | None = None, *, timed: bool = True,
    ) -> None:  # fmt: skip
        self.outcomes, self.how = _checked(outcomes), how or Show()
        self.words, self.many = film_words(self.outcomes), len(self.outcomes) > 1
        self.timed, self.bars = timed, "share so far" if timed else "share"
        letter, px = self.how.letter, self.how.px
        self.sheet = sheet = self.how.sheet(figure)
        self.figure = sheet.figure
        self.clock = sheet.write(sheet.right, sheet.top, "", letter(36), ha="right", weight="bold")
        y, room = sheet.top, sheet.right - sheet.left
        self.speed = sheet.write(sheet.right, y, "", letter(18), ha="right")
        if timed:
            end = max(outcome.surge.seconds for outcome in self.outcomes)
            y -= 1.05 * line_height(letter(36))
            self.speed.set_y(y)
            y -= line_height(letter(18))
            since = "time of day" if self.outcomes[0].ponding else "since it began"
            sheet.write(sheet.right, y, since, letter(14), ha="right", color=GREY)
            y -= line_height(letter(14))
            wide = [(_LONGEST_SPEED, letter(18), "normal"), ("day 365, 23:59", letter(36), "bold")]
            room -= max(text_width(*each) for each in wide[: 1 + (end > DAY)]) + px(12)
        else:
            _notes(sheet, [_STILL, *_notes_on(outcomes)], letter(14))
        sheet.top = self._head(room)
        if self.many:
            _key(sheet, (sheet.left, sheet.top), sheet.left + room, letter(14), self.bars)
            sheet.top -= line_height(letter(14)) + px(6)
        sheet.top = min(sheet.top, y)
        self._draw_panels()
        if timed:
            self.show(0.0, 1.0)
        else:
            # each run with its water highest, and what its lines got in all
            self._move([o.surge.at(o.surge.peak_time) for o in self.outcomes])
        use_fonts([self.figure])
        for artist in self.moving:
            artist.set_animated(timed)

    def _head(self, room: float) -> float:
        """Write the finding, what runs in and, of one run, how it stands; gives what is free."""
        sheet, letter, y = self.sheet, self.how.letter, self.sheet.top
        y -= _title(sheet, self.words.title, self.how, (30, 22), room)
        size = letter(16)
        sheet.write(sheet.left, y, _about(self.words, self.outcomes[0], room, size), size)
        y -= line_height(size)
        self.status, self.room = [sheet.write(sheet.left, y, "", letter(18))], room
        return y if self.many else y - line_height(letter(18))

    def _draw_panels(self) -> None:
        sheet, px, small = self.sheet, self.how.px, self.how.letter(14)
        ticks = max(text_width(text, small) for text in ("+1-15/32 in", "100 %")) + px(8)
        gap, count = px(26), len(self.outcomes)
        width = (sheet.right - sheet.left - ticks + gap) / count - gap
        inlet = px(170) if not self.many else 0.3 * width
        runs, labels = [o.surge for o in self.outcomes], self.outcomes[0].labels
        if (width - inlet) / len(labels) < _LEAST_COLUMN * small / DOTS:
            wide, high = self.how.size
            raise ScenarioError(
                f"--size {wide}x{high} is too small for {len(labels)} outlets at {count} flows "
                "side by side; write a larger one, such as 1280x720"
            )
        columns = inlet * len(labels) / (width - inlet)
        scale = Scale.of(*runs, inlet=columns)
        shares = [run.running_share if self.timed else run.share for run in runs]
        whole = _whole(shares, self.outcomes)
        bars = sheet.bottom + 0.3 * (sheet.top - sheet.bottom)
        self.boxes: list[BoxView] = []
        self.shares: list[ShareView] = []
        top = sheet.top
        for place, outcome in enumerate(self.outcomes):
            left = sheet.left + ticks + place * (width + gap)
            upper = (self._name(outcome, left, width) if self.many else top) - line_height(small)
            ends = (left, left + width, bars, upper)
            streams = scale if self.timed else Scale.of(outcome.surge, inlet=columns)
            own = replace(scale, per_flow=streams.per_flow)
            box = BoxView(sheet, outcome, own, ends, small, inlet, ticks=place == 0)
            middle = left + 0.5 * inlet
            sheet.write(middle, upper + px(3), "inlet", small, ha="center", va="bottom")
            under = (sheet.bottom, bars - (px(10) if self.many else 1.3 * line_height(small)))
            share = ShareView(sheet, outcome, box.columns, under, whole, ticks=place == 0)
            self.boxes.append(box)
            self.shares.append(share)
        self.inset = self._aside(ticks + inlet, bars)

    def _name(self, outcome: SurgeOutcome, left: float, width: float) -> float:
        """Write which flow a panel is of; gives what is free below."""
        sheet, letter, y = self.sheet, self.how.letter, self.sheet.top
        inflow = float(outcome.surge.inflow.max())
        for text, size, weight in (
            (name_of(outcome), letter(20), "bold"),
            (flow_words(outcome, inflow), letter(14), "normal"),
        ):
            sheet.write(left, y, wrap(text, width, size, weight, 1)[0], size, weight=weight)
            y -= line_height(size)
        self.status.append(sheet.write(left, y, "", letter(14)))
        return y - line_height(letter(14))

    def _aside(self, width: float, bars: float) -> "Inset | None":
        """Under the inlet: how things are drawn; of one run also true proportions and the key."""
        sheet, px, small = self.sheet, self.how.px, self.how.letter(14)
        box, left, outcome = self.boxes[0], sheet.left, self.outcomes[0]
        y = box.floor_on_page - px(8)
        stretch = f"{box.stretch:.2g}" if box.stretch < 99.5 else f"{box.stretch:.0f}"
        true = stretch == "1"
        told = ["in true proportions" if true else f"lips drawn {stretch} times as high as wide"]
        usual = max(deepest(each.surge) for each in self.outcomes)
        if box.trenches and box.scale.depth < usual:
            told.append(f"trenches magnified: full is {outcome.site.lengths.one(box.scale.depth)}")
        for words in told:
            lines = wrap(words, width - px(8), small)
            if y - len(lines) * line_height(small) < bars:
                break
            sheet.write(left, y, "\n".join(lines), small, color=GREY)
            y -= len(lines) * line_height(small)
        if not self.many:
            _key(sheet, (box.columns.left, bars), box.columns.right, small, self.bars)
        if self.many or true:
            return None
        return Inset.fit(sheet, outcome, (left, y - px(6), width - px(20), bars + px(4)), small)

    @property
    def moving(self) -> list[Artist]:
        """What changes from one moment to the next, from the back to the front."""
        parts = [part for view in self.boxes for part in view.moving]
        parts += [part for view in self.shares for part in view.moving]
        inset = self.inset.moving if self.inset else []
        return [*parts, *inset, self.clock, self.speed, *self.status]

    @pens
    def show(self, time: float, speed: float) -> None:
        """Move everything to a time [s], passed at so many times the speed of the water."""
        self._move([outcome.surge.at(time) for outcome in self.outcomes])
        self.clock.set_text(clock(time))
        self.speed.set_text(speed_words(speed))

    def _move(self, states: Sequence[Moment]) -> None:
        lines = self.status[1:] if self.many else self.status
        views = zip(self.outcomes, self.boxes, self.shares, lines, states, strict=True)
        for outcome, box, share, line, now in views:
            box.show(now)
            share.show(now.share if self.timed else outcome.surge.share)
            line.set_text(self._state(outcome, now))
            line.set_color(WARNING.colour if now.overflow > 0 else "black")
        if self.inset:
            self.inset.show(states[0])

    def _state(self, outcome: SurgeOutcome, now: Moment) -> str:
        """How a run stands, in words that fit."""
        lengths, spills = outcome.site.lengths, now.overflow > 0
        over = now.level - outcome.surge.system.still_level
        rim = f"OVER THE RIM {flow_words(outcome, now.overflow)}"
        if self.many:
            return rim if spills else f"water up {lengths.one(over)}"
        comes = flow_words(outcome, now.inflow)
        texts = [
            *(f"in {comes}; water {words} over the lowest lip"
              for words in (lengths.both(over), lengths.one(over))),
            f"water up {lengths.one(over)}",
        ]  # fmt: skip
        if spills:
            texts = [f"{rim}; {text}" for text in texts]
        fitting = (text for text in texts if text_width(text, self.how.letter(18)) <= self.room)
        return next(fitting, texts[-1])


_LONGEST_SPEED = "slowed down 2,000 times"
_STILL = (
    "Water and streams when the water stands highest, the streams of each flow to a scale of their "
    "own; bars: share of all that passed."
)


class Inset:
    """The box in true proportions, its water moving."""

    def __init__(self, axes: Axes, outcome: SurgeOutcome, low: float) -> None:
        ends, self.low = axes.get_xlim(), low
        self.water = Rectangle((ends[0], low), ends[1] - ends[0], 0.0, zorder=1,
                               facecolor=(WATER.colour, 0.64), label="true water")  # fmt: skip
        axes.add_patch(self.water)
        self.walls = [axes.spines[side] for side in ("left", "right", "bottom")]
        self.show(outcome.surge.at(0.0))

    @classmethod
    def fit(
        cls, sheet: Sheet, outcome: SurgeOutcome, place: tuple[float, float, float, float],
        size: float,
    ) -> "Inset | None":  # fmt: skip
        """Fit it and its caption between left, top, width and bottom [in]; None without room."""
        (left, top, width, bottom), run = place, outcome.surge
        openings, lips, n = run.system.openings, run.system.lips, len(outcome.labels)
        is_open = np.isfinite(lips)
        tops = np.array([opening.top for opening in openings])
        reach = max(run.rise, float(np.max(tops, initial=INCH, where=tops < np.inf)))
        low = float(lips[is_open].min(initial=0.0))
        span = float((lips + np.minimum(tops, reach))[is_open].max(initial=low)) - low
        widest = max(float(np.ptp(opening.outline(reach)[:, 0])) for opening in openings)
        top -= line_height(size)
        column = width / n
        scale = min(0.7 * column / widest, (top - bottom) / (1.3 * span))
        if scale * min(widest, 1.3 * span) < 8 / DOTS:
            return None
        width = n * scale * widest / 0.7
        sheet.write(left, top + line_height(size), "true proportions:", size, color=GREY)
        axes = sheet.axes(left, left + width, top - 1.3 * span * scale, top)
        low -= 0.15 * span
        axes.set(xlim=(-0.5, n - 0.5), ylim=(low, low + 1.3 * span), xticks=[], yticks=[],
                 facecolor=PALE)  # fmt: skip
        for side in ("left", "right", "bottom"):
            axes.spines[side].set(visible=True, color=BOX.colour, linewidth=MEDIUM)
        for i in np.flatnonzero(is_open).tolist():
            corners = openings[i].outline(reach) * [0.7 / widest, 1.0] + (i, float(lips[i]))
            axes.add_patch(Polygon(corners, facecolor="white", zorder=0.5, **EDGE))
        return cls(axes, outcome, low)

    @property
    def moving(self) -> list[Artist]:
        """What changes from one moment to the next."""
        return [self.water, *self.walls]

    def show(self, now: Moment) -> None:
        """Move the water to a moment."""
        self.water.set_height(max(now.level - self.low, 0.0))


def _checked(outcomes: Sequence[SurgeOutcome]) -> Sequence[SurgeOutcome]:
    """The runs that are drawn."""
    if not outcomes:
        raise DomainError("there is no run to draw")
    check_outlets(len(outcomes[0].labels))
    return outcomes[:MOST_PANELS]


def _notes_on(outcomes: Sequence[SurgeOutcome]) -> list[str]:
    """What the runs are warned of, and which are not drawn."""
    more = [outcome.surge.event.name for outcome in outcomes[MOST_PANELS:]]
    left_out = [f"not drawn: {', '.join(more)}"] if more else []
    return [*joined(notes_side_by_side(outcomes[:MOST_PANELS])), *left_out]


_NOTES_PART = 0.3
"""Part of a page that notes take at most. [-] (judgement)"""


def _notes(sheet: Sheet, notes: Sequence[str], size: float) -> None:
    """Write notes at the bottom of what is free, as many as leave room for the rest."""
    each = [wrap(note, sheet.right - sheet.left, size) for note in notes]
    most = int(_NOTES_PART * (sheet.top - sheet.bottom) / line_height(size))
    lines = [line for note in each for line in note]
    if len(lines) > most:
        told = [k for k in range(len(each)) if sum(map(len, each[: k + 1])) < most]
        lines = [line for k in told for line in each[k]]
        lines.append(f"and {len(each) - len(told)} more, as the command writes")
    sheet.bottom += len(lines) * line_height(size)
    sheet.write(sheet.left, sheet.bottom, "\n".join(lines), size, color=GREY)
    sheet.bottom += 0.5 * line_height(size)


def _whole(shares: Sequence[Array], outcomes: Sequence[SurgeOutcome]) -> float:
    """Share that a full bar stands for: no bar is ever higher. [-]"""
    wanted = max(1.25 * float(outcome.target.max()) for outcome in outcomes)
    most = max(wanted, *(float(each.max()) for each in shares))
    return min(float(np.ceil(10 * most - 1e-9)) / 10, 1.0)


def _key(sheet: Sheet, corner: tuple[float, float], right: float, size: float, bars: str) -> None:
    """Write what the bars mean in one line up to a right edge. [in]"""
    line = Line2D([], [], color=INK, linewidth=1.5 * TARGET)
    looks = [{"facecolor": r.colour, "hatch": r.hatch} for r in (WATER, OVER, UNDER)]
    marks: list[Artist] = [*(Patch(**(look | EDGE)) for look in looks), line]
    for over, under in ((OVER.word, UNDER.word), ("over", "under")):
        words = [bars, f"{OVER.sign} {over}", f"{UNDER.sign} {under}", WANTED.word]
        if sum(text_width(each, size) + 3.6 * size / DOTS for each in words) < right - corner[0]:
            break
    sheet.key(list(zip(marks, words, strict=True)), corner, fontsize=size, handlelength=1.2,
              handletextpad=0.5, columnspacing=1.2)  # fmt: skip


def _title(sheet: Sheet, text: str, how: Show, dots: tuple[float, float], room: float) -> float:
    """Write a title in a line if letters between two sizes do it, else in two; its height. [in]"""
    large, small = (how.letter(each) for each in dots)
    size = large * min(1.0, 0.99 * room / text_width(text, large, "bold"))
    lines = [text]
    if size < small:
        size = 0.5 * (large + small)
        while size > how.least and len(wrap(text, room, size, "bold")) > 2:
            size = max(0.95 * size, how.least)
        # two lines of about one length
        widths = [part * room for part in np.linspace(0.55, 1.0, 10)]
        lines = next(
            (lines for w in widths if len(lines := wrap(text, w, size, "bold")) == 2),
            wrap(text, room, size, "bold", 2),
        )
    sheet.write(sheet.left, sheet.top, "\n".join(lines), size, weight="bold")
    return len(lines) * line_height(size)


def _about_parts(words: FilmWords, outcome: SurgeOutcome) -> list[str]:
    """What runs in, and what is said of the box."""
    site = outcome.site
    said = [*not_shown(outcome), *[PLANNED] * site.planned, *filter(None, [site.title])]
    return [words.about, *said]


def _about(words: FilmWords, outcome: SurgeOutcome, room: float, size: float) -> str:
    """What of that there is room for in a line."""
    parts = _about_parts(words, outcome)
    texts = ["; ".join(parts[:count]) for count in range(len(parts), 0, -1)]
    fitting = (text for text in texts if text_width(text, size) <= room)
    return next(fitting, wrap(texts[-1], room, size, most=1)[0])


_PLATE: dict[str, Any] = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.8}


@pens
def opening_figure(outcomes: Sequence[SurgeOutcome], how: Show) -> Figure:
    """What a film is going to show: the finding, what to watch for, and the lips."""
    sheet, letter, px = how.sheet(), how.letter, how.px
    room, small = sheet.right - sheet.left, letter(16)
    step = line_height(small)
    notes, outcomes = _notes_on(outcomes), _checked(outcomes)
    words, first = film_words(outcomes), outcomes[0]
    _notes(sheet, notes, letter(14))
    sheet.top -= _title(sheet, words.title, how, (48, 34), room) + px(8)
    about = "; ".join(_about_parts(words, first))
    for text, size, most in ((words.watch, letter(28), 2), (about, letter(18), 2)):
        lines = wrap(text, room, size, most=most)
        sheet.write(sheet.left, sheet.top, "\n".join(lines), size)
        sheet.top -= (len(lines) + 0.3) * line_height(size)
    # what is written stands before the wall
    sheet.page.set_zorder(1)
    run, inlet = first.surge, px(190)
    scale = Scale.of(*(outcome.surge for outcome in outcomes))
    left = sheet.left + text_width("+1-15/32 in", small) + px(8)
    place = (left, sheet.right, sheet.bottom, sheet.top - px(10))
    box = BoxView(sheet, first, scale, place, small, inlet)
    box.show(run.at(0.0))
    columns = box.columns
    if box.names.numbered:
        words_on = f"1 is {first.labels[0]}, then in order"
        lines = wrap(words_on, columns.left - sheet.left, small)[:3]
        y = max(box.floor_on_page - step, sheet.bottom + len(lines) * step)
        sheet.write(sheet.left, y, "\n".join(lines), small)
    heights = {i: first.site.lengths.one(lip - run.system.still_level, signed=True)
               for i, lip in enumerate(run.system.lips) if np.isfinite(lip)}  # fmt: skip
    if rows_needed(list(heights.values()), small, columns.width, "bold") > 1:
        # the unit stands beside the wall
        heights = {i: text.split()[0] for i, text in heights.items()}
    if rows_needed(list(heights.values()), small, columns.width, "bold") > 1:
        heights = {}
    for i, text in heights.items():
        y = box.on_page(float(run.system.lips[i])) - px(4)
        sheet.write(columns.middle(i), y, text, small, ha="center", weight="bold", bbox=_PLATE)
    names = ["highest"]
    if len(outcomes) > 1:
        names = [name_of(outcome) for outcome in outcomes]
    levels = [outcome.surge.peak_level for outcome in outcomes]
    wanted = [box.on_page(level) + 0.5 * step for level in levels]
    for name, level, y in zip(
        names, levels, spread_out(wanted, step, box.floor_on_page + step, sheet.top), strict=True
    ):
        box.axes.axhline(level, color=WATER.colour, linewidth=MEDIUM, linestyle=(0, (5, 3)))
        text = wrap(name, inlet - px(16), small, "bold", 1)[0]
        sheet.write(left + px(8), y, text, small, va="center", weight="bold", bbox=_PLATE)
    return sheet.figure


@pens
def closing_figure(outcomes: Sequence[SurgeOutcome], how: Show) -> Figure:
    """What a film has shown: what each line got."""
    outcomes = _checked(outcomes)
    words, sheet, letter, px = film_words(outcomes), how.sheet(), how.letter, how.px
    small = letter(14)
    room = sheet.right - sheet.left
    sheet.top -= _title(sheet, words.title, how, (36, 28), room) + px(6)
    lines = wrap(words.result, room, letter(24), most=3)
    sheet.write(sheet.left, sheet.top, "\n".join(lines), letter(24))
    sheet.top -= (len(lines) + 0.4) * line_height(letter(24))
    ticks, gap = text_width("100 %", small) + px(10), px(40)
    _key(sheet, (sheet.left + ticks, sheet.top), sheet.right, letter(16), "share")
    sheet.top -= 1.6 * line_height(letter(16))
    width = (sheet.right - sheet.left - ticks + gap) / len(outcomes) - gap
    # names of two panels meet in the middle of their gap; one rule for all makes them alike
    over = min(sheet.figure.get_figwidth() - sheet.right - 2 / DOTS, 0.5 * gap)
    whole = _whole([o.surge.share for o in outcomes], outcomes)
    for place, outcome in enumerate(outcomes):
        left = sheet.left + ticks + place * (width + gap)
        n = len(outcome.labels)
        size = letter(18 if width / n > px(90) else 14)
        columns = Columns(left, width / n, n, size, over)
        names = Names.of(outcome.labels, columns)
        names.write(sheet, columns, sheet.bottom + names.height)
        top = sheet.top
        if len(outcomes) > 1:
            name = name_of(outcome)
            sheet.write(left, top, wrap(name, width, letter(22), "bold", 1)[0], letter(22),
                        weight="bold")  # fmt: skip
            top -= 1.2 * line_height(letter(22))
        ends = (sheet.bottom + names.height + px(6), top)
        view = ShareView(sheet, outcome, columns, ends, whole, ticks=place == 0)
        view.show(outcome.surge.share)
    return sheet.figure


def contrast_figure(outcomes: Sequence[SurgeOutcome]) -> Figure:
    """Draw the box with its water highest, and the shares at the end, for each run.

    Notes
    -----
    Four runs are drawn; where there are more, the picture says which were left out.
    """
    figure = SurgeFrame(outcomes, _PAGE, timed=False).figure
    # letters are as wide as they will be in a file
    figure.set_dpi(200)
    return figure


_PAGE = Show(size=(660, 371), least=8.0)
"""A page across, for paper too."""
