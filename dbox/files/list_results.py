"""Answers about many boxes as lines of CSV, and their summary.

box,verdict,worst outlet,trickle verdict,trickle worst over target,trickle within probability
    Oak St 12,outside,2,outside,2.310,0.000

Shares, where wanted, stand in one cell a flow, in the order of the outlets, - for none. Numbers
have a fixed count of decimals, so that they can be looked up in tables: a long list has many.
"""

from collections.abc import Iterator, Sequence
from functools import cache

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array
from dbox.fieldwork.many_boxes import (
    WORK,
    Judged,
    Tally,
    Work,
    judge_drawn,
    judge_first_order,
    overall,
    work_at,
)
from dbox.fieldwork.shares import VERDICTS
from dbox.files.list_boxes import Indices, Listed, Settings
from dbox.files.list_rows import Fault
from dbox.units import INCH, clock_text, inches, millimetres, turn_text

_SHARE_DIGITS, _OVER_DIGITS, _CHANCE_DIGITS = 4, 3, 3
_WORDS = [word.encode() for word in VERDICTS]
_LEAST_TOLD = 5e-5
"""Moves up to this would be told as 0.0 mm. [m]"""

_SPECIAL = frozenset('",\r\n')


def heads(settings: Settings, *, with_work: bool) -> bytes:
    """The first line of the results."""
    names = ["box", "verdict", "worst outlet"]
    for flow in settings.flows:
        names += [f"{flow.name} verdict", f"{flow.name} worst over target"]
        names += [f"{flow.name} within probability"] if settings.samples else []
        names += [f"{flow.name} shares"] if settings.shares else []
    return _line([*names, *(["work", "turns"] if with_work else [])])


def bad_heads() -> bytes:
    """The first line of the file of rows that could not be computed."""
    return _line(["row", "box", "reason"])


def bad_lines(faults: Sequence[Fault]) -> bytes:
    """Lines of that file."""
    return b"".join(_line([str(fault.line), fault.box, fault.why]) for fault in faults)


def answer(listed: Listed, settings: Settings, *, with_work: bool) -> tuple[bytes, Tally]:
    """Judge boxes and write what is found."""
    inflow = np.array([flow.inflow for flow in settings.flows])
    lines = [b""] * len(listed.names)
    tally = Tally.empty(inflow.size)
    for rows, outlets, boxes in listed.alike():
        if settings.samples:
            judged = judge_drawn(boxes, inflow, samples=settings.samples, seed=settings.seed)
        else:
            judged = judge_first_order(boxes, inflow)
        work = work_at(boxes, judged.verdict, float(inflow[0])) if with_work else None
        group = listed.only(rows)
        columns = [*_columns(group, outlets, judged, settings)]
        if work:
            columns += _work_columns(group, outlets, work)
        for row, cells in zip(rows.tolist(), zip(*columns, strict=True), strict=True):
            lines[row] = b",".join(cells)
        tally += Tally.of(judged, work)
    return b"".join(line + b"\n" for line in lines), tally


def _columns(
    listed: Listed, outlets: Indices, judged: Judged, settings: Settings
) -> Iterator[Sequence[bytes]]:
    """Columns of cells, a cell for each box."""
    yield _texts(listed.names)
    yield _looked_up(_WORDS, overall(judged))
    flow = judged.worst_over_target.argmax(0)
    worst = outlets[np.take_along_axis(judged.worst, flow[None], 0)[0]].tolist()
    yield _texts([label[i] for label, i in zip(listed.labels, worst, strict=True)])
    for case in range(len(settings.flows)):
        yield _looked_up(_WORDS, judged.verdict[case])
        yield _decimals(judged.worst_over_target[case], _OVER_DIGITS, len(outlets))
        if settings.samples:
            yield _decimals(judged.within_probability[case], _CHANCE_DIGITS, 1)
        if settings.shares:
            yield _rows_of_shares(judged.share[case], outlets, len(listed.labels[0]))


def _work_columns(listed: Listed, outlets: Indices, work: Work) -> Iterator[Sequence[bytes]]:
    yield [b"" if code < 0 else WORK[code].encode() for code in work.kind.tolist()]
    labels = [[label[i] for i in outlets] for label in listed.labels]
    yield _texts([_turns(label, work, row) for row, label in enumerate(labels)])


def _turns(labels: Sequence[str], work: Work, row: int) -> str:
    """What is to be turned at one box, outlet by outlet; or which outlets cannot reach."""
    if work.kind[row] < 0:
        return "the offset of its holes is not given"
    if WORK[work.kind[row]] == "re-bed":
        short = [label for i, label in enumerate(labels) if not work.reachable[row, i]]
        return f"out of reach: {', '.join(short)}"
    moves = work.move[row]
    each = [
        f"{labels[i]}: {_turn(moves[i], work.turn[row, i], work.angle_after[row, i])}"
        for i in np.flatnonzero(np.abs(moves) > _LEAST_TOLD).tolist()
    ]
    return "; ".join(each)


def _turn(move: float, turn: float, after: float) -> str:
    size = millimetres(abs(move))
    if abs(move) >= INCH / 64:
        size = f"{inches(abs(move), parts=32)} ({size})"
    lift = f"{'raise' if move > 0 else 'lower'} {size}"
    if np.isnan(turn):
        return f"{lift} by the ruler"
    return f"{lift}, turn {turn_text(turn)} to {clock_text(after)}"


def _looked_up(table: Sequence[bytes], indices: npt.NDArray[np.integer]) -> list[bytes]:
    return [table[i] for i in indices.tolist()]


def _decimals(values: Array, digits: int, most: int) -> list[bytes]:
    """Numbers from 0 to `most` with a fixed count of decimals."""
    return _looked_up(_table(digits, most), np.rint(values * 10**digits).astype(np.int64))


def _rows_of_shares(share: Array, outlets: Indices, places: int) -> list[bytes]:
    """Shares of each box in one cell, parted by spaces; - for an outlet that it does not have."""
    found = _share_cells()[np.rint(share * 10**_SHARE_DIGITS).astype(np.int64)]
    # cells of equal length, so that those of a box join without a loop
    cells = np.full((len(share), places), b"-".ljust(found.dtype.itemsize))
    cells[:, outlets] = found
    joined = cells.view(f"S{cells.dtype.itemsize * places}").reshape(-1).tolist()
    if len(outlets) == places:
        return [cell[:-1] for cell in joined]
    return [b" ".join(cell.split()) for cell in joined]


@cache
def _share_cells() -> npt.NDArray[np.bytes_]:
    return np.array([text + b" " for text in _table(_SHARE_DIGITS, 1)])


@cache
def _table(digits: int, most: int) -> list[bytes]:
    one = 10**digits
    return [f"{i / one:.{digits}f}".encode() for i in range(most * one + 1)]


def _texts(texts: Sequence[str]) -> list[bytes]:
    """Cells of text, quoted where they must be; what was no UTF-8 stays what it was."""
    special = not _SPECIAL.isdisjoint("".join(texts))
    cells = map(_quoted, texts) if special else texts
    return [cell.encode("utf-8", "surrogateescape") for cell in cells]


def _quoted(text: str) -> str:
    return text if _SPECIAL.isdisjoint(text) else '"' + text.replace('"', '""') + '"'


def _line(cells: Sequence[str]) -> bytes:
    return b",".join(_texts(cells)) + b"\n"
