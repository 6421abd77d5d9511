"""Boxes in series: the scenario files of the boxes that outlets feed, read with the first.

A box has one inlet here: files that lead to one another in a ring, a box that is fed twice, and a
row of too many boxes are faults of the key that names them.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from dbox.errors import ScenarioError, shorten, show
from dbox.fieldwork.site import Site
from dbox.files.read_tables import Faults
from dbox.files.scenario_tables import OutletTable
from dbox.hydraulics.surge.parts import SupplyPipe

MOST_IN_SERIES = 4
"""Boxes one behind the other, the first one counted. (judgement)"""

_LONGEST_PATH = 120


@dataclass(frozen=True)
class Place:
    """Where a file stands among boxes in series."""

    path: Path
    above: tuple[Path, ...] = ()  # The files that lead to it, from the first box on.
    fed: dict[Path, str] = field(default_factory=dict)  # What feeds each box behind the first.


def fed_boxes(
    tables: Sequence[OutletTable],
    place: Place,
    faults: Faults,
    read: Callable[[Path, Place], Site],
) -> list[Site | None]:
    """The box that each outlet feeds; None where it feeds a line, or the box cannot be had."""
    boxes: list[Site | None] = [None] * len(tables)
    here = (*place.above, place.path.resolve())
    for index, table in enumerate(tables):
        if table.feeds is None:
            continue
        key, path = f"outlet[{index + 1}].feeds", place.path.parent / table.feeds
        said = f"{key} is {show(table.feeds)}"
        if not os.path.exists(path):
            faults.tell(
                f"{said}; there is no file {shorten(str(path), _LONGEST_PATH)}, write its path "
                "from the folder of this file"
            )
        elif (real := path.resolve()) in here:
            which = "this file itself" if real == here[-1] else "a box that this one is fed by"
            faults.tell(f"{said}, {which}; water cannot run in a ring, name another file")
        elif real in place.fed:
            faults.tell(
                f"{said}, which {place.fed[real]} feeds too; a box has one inlet here, give each "
                "its own file"
            )
        elif len(here) >= MOST_IN_SERIES:
            faults.tell(
                f"{said}, box {len(here) + 1} of a row; at most {MOST_IN_SERIES} may stand one "
                "behind the other, leave the key out"
            )
        else:
            place.fed[real] = f"{key} of {place.path.name}"
            try:
                boxes[index] = read(path, Place(path, here, place.fed))
            except ScenarioError as error:
                for fault in error.faults:
                    faults.tell(f"{key}: {fault}")
    return boxes


def with_lines_of(table: OutletTable, box: Site | None) -> OutletTable:
    """An outlet with the lines of the box that it feeds added up, where it does not say them."""
    if box is None:
        return table
    lines = [outlet for outlet in box.outlets if not outlet.capped]

    def whole(known: list[float | None]) -> float | None:
        return None if None in known else sum(each or 0.0 for each in known)

    return replace(
        table,
        line_length=table.line_length or whole([outlet.line_length for outlet in lines]),
        line_area=table.line_area or whole([outlet.line_area for outlet in lines]),
    )


def behind(site: Site, boxes: Sequence[Site | None]) -> Site:
    """A site with the boxes that its outlets feed, each by the header where it has no [supply]."""
    headers = site.works.headers or (None,) * len(boxes)
    return replace(site, outlets=tuple(
        replace(outlet, feeds=box and _through(box, header))
        for outlet, box, header in zip(site.outlets, boxes, headers, strict=True)
    ))  # fmt: skip


def _through(box: Site, header: SupplyPipe | None) -> Site:
    return replace(box, works=replace(box.works, supply=box.works.supply or header))
