"""Answers about many boxes as lines of CSV, and their summary.

    box,verdict,worst outlet,trickle verdict,trickle worst over target,trickle within probability
    Oak St 12,outside,2,outside,2.310,0.000

Shares, where wanted, stand in one cell a flow, in the order of the outlets, - for none. Numbers
have a fixed count of decimals, so that they can be looked up in tables: a long list has many.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array
from dbox.fieldwork.many_boxes import (
    WORK,
    Judge,
    Judged,
    Tally,
    Work,
    judge_drawn,
    judge_first_order,
    overall,
    work_at,
)
from dbox.fieldwork.shares import VERDICTS
from dbox.files.csv_table import Dialect, texts_written
from dbox.files.list_boxes import Indices, Listed, Settings
from dbox.units import INCH, clock_text, inches, millimetres, turn_text

_SHARE_DIGITS, _OVER_DIGITS, _CHANCE_DIGITS = 4, 3, 3
_VERDICTS = [word.encode() for word in VERDICTS]
_LEAST_TOLD = 5e-5
"""Moves up to this would be told as 0.0 mm. [m]"""


@dataclass(frozen=True, eq=False)
class _Group:
    """Boxes with the same openings, and what was found of them."""

    listed: Listed
    outlets: Indices  # Which outlets of the list they have.
    judged: Judged
    work: Work | None  # None where it is not asked for.
    dialect: Dialect  # How the results are written.


Cells = Callable[[_Group], Sequence[bytes]]


def columns(settings: Settings, *, with_work: bool) -> list[tuple[str, Cells]]:
    """The columns of the results: the head of each, and its cells, one for each box."""
    found: list[tuple[str, Cells]] = [
        ("box", lambda group: _texts(group.listed.names)),
        ("verdict", lambda group: _looked_up(_VERDICTS, overall(group.judged))),
        ("worst outlet", _worst_outlets),
    ]
    for case, flow in enumerate(settings.flows):
        found += _of_flow(case, flow.name, settings)
    if with_work:
        found += [("work", _kinds_of_work), ("turns", _turns)]
    return found


def _of_flow(case: int, name: str, settings: Settings) -> Iterator[tuple[str, Cells]]:
    def over(group: _Group) -> list[bytes]:
        values, most = group.judged.worst_over_target[case], len(group.outlets)
        return _decimals(values, _OVER_DIGITS, most, group.dialect)

    def chance(group: _Group) -> list[bytes]:
        values = group.judged.within_probability[case]
        return _decimals(values, _CHANCE_DIGITS, 1, group.dialect)

    yield f"{name} verdict", lambda group: _looked_up(_VERDICTS, group.judged.verdict[case])
    yield f"{name} worst over target", over
    if settings.samples:
        yield f"{name} within probability", chance
    if settings.shares:
        yield f"{name} shares", partial(_shares, case=case)


def csv_line(cells: Sequence[str], dialect: Dialect) -> bytes:
    """A line of a file of results."""
    return dialect.delimiter.encode().join(_texts(cells)) + b"\n"


def answer(
    listed: Listed, settings: Settings, *, with_work: bool, dialect: Dialect
) -> tuple[bytes, Tally]:
    """Judge boxes and write what is found."""
    inflow = np.array([flow.inflow for flow in settings.flows])
    of_cells = [cells for _, cells in columns(settings, with_work=with_work)]
    lines, delimiter = [b""] * len(listed.names), dialect.delimiter.encode()
    tally = Tally.empty(inflow.size)
    judge: Judge = judge_first_order
    if settings.samples:
        judge = partial(judge_drawn, samples=settings.samples, seed=settings.seed)
    for rows, outlets, boxes in listed.alike(inflow):
        judged = judge(boxes, inflow)
        work = work_at(boxes, judged, inflow, judge) if with_work else None
        group = _Group(listed.only(rows), outlets, judged, work, dialect)
        cells = zip(*(each(group) for each in of_cells), strict=True)
        for row, line in zip(rows.tolist(), cells, strict=True):
            lines[row] = delimiter.join(line)
        tally += Tally.of(judged, work)
    return b"".join(line + b"\n" for line in lines), tally


def _worst_outlets(group: _Group) -> list[bytes]:
    flow = group.judged.worst_over_target.argmax(0)
    worst = group.outlets[np.take_along_axis(group.judged.worst, flow[None], 0)[0]]
    labels = group.listed.labels
    if all(label is labels[0] for label in labels):
        return _looked_up(_texts(labels[0]), worst)
    return _texts([label[i] for label, i in zip(labels, worst.tolist(), strict=True)])


def _kinds_of_work(group: _Group) -> list[bytes]:
    assert group.work
    # the last is that of the code -1
    return _looked_up([*map(str.encode, WORK), b""], group.work.kind)


def _turns(group: _Group) -> list[bytes]:
    """What is to be turned at each box, outlet by outlet; or which outlets cannot reach."""
    work = group.work
    assert work
    told = []
    for row, every in enumerate(group.listed.labels):
        labels = [every[i] for i in group.outlets]
        if work.kind[row] < 0:
            told.append("the offset of its holes is not given")
        elif WORK[work.kind[row]] == "re-bed":
            reach = zip(labels, work.reachable[row], strict=True)
            told.append(f"out of reach: {', '.join(label for label, can in reach if not can)}")
        else:
            each = zip(labels, work.move[row], work.turn[row], work.angle_after[row], strict=True)
            moved = [
                f"{label}: {_turn(*how, decimal=group.dialect.decimal)}"
                for label, *how in each
                if abs(how[0]) > _LEAST_TOLD
            ]
            told.append("; ".join(moved))
    return _texts(told)


def _turn(move: float, turn: float, after: float, *, decimal: str) -> str:
    size = millimetres(abs(move))
    if abs(move) >= INCH / 64:
        size = f"{inches(abs(move), parts=32)} ({size})"
    lift = f"{'raise' if move > 0 else 'lower'} {size}"
    how = "by the ruler"
    if not np.isnan(turn):
        lift, how = f"{lift},", f"turn {turn_text(turn)} to {clock_text(after)}"
    return f"{lift} {how}".replace(".", decimal)


def _looked_up(table: Sequence[bytes], indices: npt.NDArray[np.integer]) -> list[bytes]:
    return [table[i] for i in indices.tolist()]


@cache
def _table(digits: int, most: int, decimal: str) -> list[bytes]:
    """The numbers from 0 to `most` with a fixed count of decimals; last, what is not known."""
    one = 10**digits
    told = [f"{i / one:.{digits}f}".replace(".", decimal).encode() for i in range(most * one + 1)]
    return [*told, b""]


def _decimals(values: Array, digits: int, most: int, dialect: Dialect) -> list[bytes]:
    # what is not known is an empty cell
    index = np.where(np.isnan(values), -1, np.rint(np.nan_to_num(values) * 10**digits))
    return _looked_up(_table(digits, most, dialect.decimal), index.astype(np.int64))


@cache
def _share_cells(decimal: str) -> npt.NDArray[np.bytes_]:
    return np.array([text + b" " for text in _table(_SHARE_DIGITS, 1, decimal)])


def _shares(group: _Group, case: int) -> list[bytes]:
    """Shares of each box in one cell, parted by spaces; - for an outlet that it does not have."""
    share, outlets, places = group.judged.share[case], group.outlets, len(group.listed.labels[0])
    found = _share_cells(group.dialect.decimal)[np.rint(share * 10**_SHARE_DIGITS).astype(np.int64)]
    # cells of equal length, so that those of a box join without a loop
    cells = np.full((len(share), places), b"-".ljust(found.dtype.itemsize))
    cells[:, outlets] = found
    joined = cells.view(f"S{cells.dtype.itemsize * places}").reshape(-1).tolist()
    if len(outlets) == places:
        return [cell[:-1] for cell in joined]
    return [b" ".join(cell.split()) for cell in joined]


def _texts(texts: Sequence[str]) -> list[bytes]:
    """Cells of text; what was no UTF-8 stays what it was."""
    return [cell.encode("utf-8", "surrogateescape") for cell in texts_written(texts)]
