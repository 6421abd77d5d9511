"""Boxes in series: the share of every line behind all of them.

What an outlet lets out is the inflow of the box that it feeds, so shares multiply from box to box.
Each draw of a box gives the inflow of the box behind it, which is drawn apart: that box is split at
the flow which it really gets, draw by draw. The best estimate is one draw more, the first.

No box behind another backs water up into it.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array, Result
from dbox.errors import DomainError
from dbox.fieldwork.inlet import ways
from dbox.fieldwork.readings import lips_or_plan
from dbox.fieldwork.shares import (
    BAND,
    SAMPLES,
    assess,
    coefficient_doubts,
    outlet_flows,
    target_shares,
)
from dbox.fieldwork.site import Flow, Site
from dbox.hydraulics.surge.parts import SupplyPipe
from dbox.notes import Note


@dataclass(frozen=True, kw_only=True, eq=False)
class Lines(Result):
    """Shares of the lines behind all boxes at every flow; arrays are read-only."""

    labels: tuple[str, ...]  # The labels of the outlets on the way to each line, as `2/1`.
    share: Array  # (flows, lines) Share of what the first box lets out. [-]
    share_low: Array  # (flows, lines) Lower end of the 5 to 95 per cent band of each share. [-]
    share_high: Array  # (flows, lines) Upper end of it. [-]
    target: Array  # (lines,) Wanted share: the product of the targets on the way. [-]
    warnings: tuple[Note, ...]  # Where the boxes behind the first are weak.


@dataclass(frozen=True, eq=False)
class _Line:
    """One line: its path, its shares (flows, 1 + draws) and its target. [-]"""

    path: tuple[str, ...]
    share: Array
    target: float


def fed(site: Site) -> list[tuple[int, Site]]:
    """The outlets that feed another box, each with that box.

    >>> from dbox import Circle
    >>> fed(Site.of([0.0, 0.0], Circle(0.05)))
    []
    """
    return [(i, outlet.feeds) for i, outlet in enumerate(site.outlets) if outlet.feeds]


def lines_behind(box: Site) -> tuple[float | None, float | None]:
    """Length and bottom area of all lines of a box; None where one is not known. [m], [m2]"""
    lines = [outlet for outlet in box.outlets if not outlet.capped]

    def whole(known: list[float | None]) -> float | None:
        return None if None in known else sum(each or 0.0 for each in known)

    return whole([line.line_length for line in lines]), whole([line.line_area for line in lines])


def fed_by(site: Site, boxes: Sequence[Site | None]) -> Site:
    """A site with the boxes that its outlets feed, each by the header where it has no [supply]."""
    headers = site.works.headers or (None,) * len(boxes)

    def through(box: Site, header: SupplyPipe | None) -> Site:
        return replace(box, works=replace(box.works, supply=box.works.supply or header))

    return replace(site, outlets=tuple(
        replace(outlet, feeds=box and through(box, header))
        for outlet, box, header in zip(site.outlets, boxes, headers, strict=True)
    ))  # fmt: skip


@contextmanager
def behind(label: str) -> Iterator[None]:
    """Say of what is wrong with a box behind another which outlet feeds it."""
    try:
        yield
    except DomainError as error:
        raise DomainError(f"box behind outlet {label}: {error}") from error


def through(site: Site, *, seed: int = 0, samples: int = SAMPLES) -> Lines | None:
    """Shares through to every line; None where no outlet feeds another box."""
    if not fed(site):
        return None
    inflow = np.array([[flow.inflow] for flow in site.flows])
    lines, notes = _lines(site, inflow, (), seed, samples)
    share = np.stack([line.share for line in lines], axis=-1)
    low, high = np.percentile(share[:, 1:], BAND, axis=1)
    best, target = share[:, 0].copy(), np.array([line.target for line in lines])
    return Lines(
        labels=tuple("/".join(line.path) for line in lines),
        share=best,
        share_low=low,
        share_high=high,
        target=target,
        warnings=tuple(notes),
    )


def _lines(
    site: Site, inflow: Array, path: tuple[str, ...], seed: int, samples: int
) -> tuple[list[_Line], list[Note]]:
    """The lines behind a box, and where the boxes behind it are weak.

    inflow [m3/s] (flows, 1 + draws, or 1 for all).
    """
    lips, target = lips_or_plan(site), target_shares(site)
    # each box in an order of its own, or the errors of all would go together
    order = np.random.default_rng([seed, *map(ord, "/".join(path))]).permutation(samples)
    drawn = np.vstack([lips.height, lips.sample(samples, seed)[order]])
    doubts = coefficient_doubts(site, samples)[order]
    doubts = np.vstack([np.zeros(doubts.shape[1]), doubts])
    jet = ways(site, inflow.ravel()).taken.reshape(*inflow.shape, -1)
    flow = outlet_flows(site, inflow, drawn - jet, doubts)
    passed = flow.sum(-1, keepdims=True)
    share = flow / np.where(passed > 0, passed, 1.0)
    lines: list[_Line] = []
    notes: list[Note] = []
    for i, outlet in enumerate(site.outlets):
        way, wanted = (*path, outlet.label), float(target[i])
        if outlet.feeds is None:
            lines.append(_Line(way, share[..., i], wanted))
            continue
        got = [
            Flow(name=each.name, inflow=float(best))
            for each, best in zip(site.flows, flow[:, 0, i], strict=True)
        ]
        with behind(outlet.label):
            next_ones, weak = _lines(
                replace(outlet.feeds, flows=tuple(got)), flow[..., i], way, seed, samples
            )
            running = tuple(each for each in got if each.inflow > 0)
            if running:
                box = replace(outlet.feeds, flows=running)
                weak += assess(box, seed=seed, samples=samples).warnings
        lines += [_Line(a.path, share[..., i] * a.share, wanted * a.target) for a in next_ones]
        notes += [note.under(f"box behind outlet {outlet.label}") for note in weak]
    return lines, notes
