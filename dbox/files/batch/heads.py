"""How is a list of boxes laid out? Its first row names the columns, and so tells its shape.

One row a box, a column for each outlet clockwise from the inlet:

    box,outlet 1 (in),outlet 2 (in),outlet 3 (in),clock 1,clock 2,clock 3
    Oak St 12,1/8,0,capped,6:00,7:30,

One row an outlet, the rows of a box together; more readings of an outlet in `reading 2` and so on:

    box;outlet;reading (mm);reading 2 (mm);clock
    Oak St 12;1;3,2;3,0;6:00

Heights are of lips over still water. `none` stands where a box has no such outlet, `capped` where
it is closed. Both shapes may have the columns `opening`, `offset`, `spread` and `tolerance`; an
empty cell there means what the command line says.
"""

import csv
import re
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field

from dbox.errors import ScenarioError
from dbox.files.faults import did_you_mean, show
from dbox.files.spreadsheet.cells import parted

BOX, OUTLET, READING, CLOCK = "box", "outlet", "reading", "clock"
OPENING, OFFSET, SPREAD, TOLERANCE = "opening", "offset", "spread", "tolerance"
OF_BOX = (OPENING, OFFSET, SPREAD, TOLERANCE)
MOST_OUTLETS = 100

_HEAD = re.compile(
    r"(?P<name>[a-z]+)\s*(?P<number>[1-9][0-9]{0,2})?\s*(?:[(\[]\s*(?P<unit>.+?)\s*[)\]])?"
)


@dataclass(frozen=True)
class Column:
    """Where a column stands, its head, and the unit in it."""

    index: int
    head: str
    unit: str | None


@dataclass(frozen=True)
class Layout:
    """The columns of a list.

    Parameters
    ----------
    delimiter : str
        What parts the cells.
    width : int
        Number of heads.
    by_outlet : bool
        Whether a row is an outlet rather than a box.
    box : Column
        Name of the box.
    outlet : Column or None
        Label of the outlet, where a row is one.
    readings : tuple of Column
        One per outlet, or one per reading of the same outlet.
    clocks : tuple of Column or None
        One per outlet, or one; None where there is none.
    others : dict of str to Column
        Those of `OF_BOX` that are there.
    """

    delimiter: str
    width: int
    by_outlet: bool
    box: Column
    outlet: Column | None
    readings: tuple[Column, ...]
    clocks: tuple[Column | None, ...]
    others: dict[str, Column] = field(default_factory=dict)


def read_heads(lines: Sequence[str], ignored: Sequence[str] = ()) -> tuple[Layout, int]:
    """Read the first row of a list.

    Parameters
    ----------
    lines : sequence of str
        The first two lines of the file; spreadsheets may put `sep=;` above the heads.
    ignored : sequence of str
        Heads of columns that are not for this.

    Returns
    -------
    layout : Layout
        The columns.
    above : int
        Lines before the first box.

    Raises
    ------
    ScenarioError
        With every head that is not known, is there twice or is missing.
    """
    delimiter, above = parted(lines)
    try:
        heads = next(csv.reader([lines[above]], delimiter=delimiter, strict=True), [])
    except (csv.Error, IndexError):
        heads = []
    heads = [" ".join(head.split()) for head in heads]
    faults: list[str] = []
    found = _named(heads, {name.lower() for name in ignored}, faults)
    by_outlet = (OUTLET, 0) in found
    kind = READING if by_outlet else OUTLET
    other = OUTLET if by_outlet else READING
    faults += [
        f"column {show(column.head)} is of the other shape; a row is a box, with {OUTLET} 1 and so "
        f"on, or an outlet, with {OUTLET} and {READING}"
        for (name, number), column in found.items()
        if name == other and (number or not by_outlet)
    ]
    numbers = sorted(number for name, number in found if name == kind)
    faults += _missing(found, kind, numbers)
    if faults:
        raise ScenarioError(*faults)
    clocks = [0] if by_outlet else numbers
    layout = Layout(
        delimiter=delimiter,
        width=len(heads),
        by_outlet=by_outlet,
        box=found[BOX, 0],
        outlet=found.get((OUTLET, 0)),
        readings=tuple(found[kind, number] for number in numbers),
        clocks=tuple(found.get((CLOCK, number)) for number in clocks),
        others={name: found[name, 0] for name in OF_BOX if (name, 0) in found},
    )
    _refuse_idle(layout, found)
    return layout, above + 1


def _refuse_idle(layout: Layout, found: Mapping[tuple[str, int], Column]) -> None:
    """Refuse columns that would not be read, and units that mean nothing."""
    without = [
        layout.box,
        *([layout.outlet] if layout.outlet else []),
        *filter(None, layout.clocks),
    ]
    read = {*without, *layout.readings, *layout.others.values()}
    faults = [
        f"column {show(column.head)} is of no outlet that the list has, or has a number too many; "
        f"mend its head, or leave it out by --ignore {show(column.head)}"
        for column in found.values()
        if column not in read
    ]
    faults += [
        f"column {show(column.head)} has a unit, and takes none; leave it out"
        for column in without
        if column.unit
    ]
    if faults:
        raise ScenarioError(*faults)


def _named(
    heads: Sequence[str], ignored: Set[str], faults: list[str]
) -> dict[tuple[str, int], Column]:
    """Columns by name and number, 0 where there is none."""
    found: dict[tuple[str, int], Column] = {}
    known = (BOX, OUTLET, READING, CLOCK, *OF_BOX)
    for index, head in enumerate(heads):
        if not head or head.lower() in ignored:
            continue
        match = _HEAD.fullmatch(head.lower())
        name = match["name"] if match else head
        if match is None or name not in known:
            mend = f"{did_you_mean(name, known)}; or leave it out by --ignore {show(head)}"
            faults.append(f"unknown column {show(head)}; {mend}")
            continue
        key = name, int(match["number"] or 0)
        if key in found:
            faults.append(f"column {show(head)} is there twice; keep one of them")
        found[key] = Column(index, head, match["unit"])
    return found


def _missing(
    found: Mapping[tuple[str, int], Column], kind: str, numbers: Sequence[int]
) -> Iterator[str]:
    """What a list cannot do without."""
    if (BOX, 0) not in found:
        yield f"there is no column {BOX}; it names each box"
    if not numbers:
        other = READING if kind == READING else f"{OUTLET} 1, {OUTLET} 2 and so on"
        yield f"there is no column of heights; add {other}"
    elif kind == OUTLET and [*numbers] != [*range(1, len(numbers) + 1)]:
        yield f"the columns {OUTLET} 1 to {OUTLET} {numbers[-1]} are not all there; add the others"
    if len(numbers) > MOST_OUTLETS:
        yield f"there are {len(numbers)} columns of heights; {MOST_OUTLETS} are the most for a box"
