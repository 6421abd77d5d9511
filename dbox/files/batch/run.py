"""How are the boxes of a list worked through? In pieces, on all cores, in the order of the list.

The answers to a piece depend on the piece alone, so that a run which was killed and started again
writes the same file, byte for byte.
"""

import gc
import hashlib
import os
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version
from itertools import chain, islice
from multiprocessing import get_context, parent_process
from pathlib import Path
from typing import Any

import numpy as np

from dbox.errors import ScenarioError
from dbox.fieldwork.batch.tally import Tally
from dbox.files.batch.boxes import read_boxes
from dbox.files.batch.heads import OFFSET, OPENING, TOLERANCE, Layout
from dbox.files.batch.pieces import Piece, layout_of, pieces
from dbox.files.batch.results import answer, bad_heads, bad_lines, heads
from dbox.files.batch.settings import Settings
from dbox.files.batch.state import Places, Progress

_QUICK_PIECE, _DRAWN_PIECE = 2**16, 2**14
_KEEP_EVERY = 2.0
_AHEAD = 2
_KEPT_BLOCK = 24 * 2**20

Answer = tuple[bytes, bytes, Tally]


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What a run over a list came to.

    Parameters
    ----------
    tally : Tally
        The boxes counted.
    with_work : bool
        Whether it was worked out what to turn.
    resumed : bool
        Whether an earlier run was gone on with.
    places : Places
        The files that were written; the bad rows only where there are some.
    """

    tally: Tally
    with_work: bool
    resumed: bool
    places: Places


def run_batch(
    source: Path,
    out: Path,
    settings: Settings,
    *,
    ignored: Sequence[str] = (),
    processes: int | None = None,
    told: Callable[[float], None] | None = None,
    picture: Path | None = None,
    draw: Callable[[Outcome], None] | None = None,
) -> Outcome:
    """Judge every box of a list and write what is found.

    Parameters
    ----------
    source : Path
        The list, as `heads` describes it.
    out : Path
        The results to write.
    settings : Settings
        What the rows do not say.
    ignored : sequence of str
        Heads of columns that are not for this.
    processes : int, optional
        Processes to work with; one for each core without it.
    told : callable, optional
        Called with the part of the list that is done. [-]
    picture : Path, optional
        What `draw` will write; the run is gone on with for the same one only.
    draw : callable, optional
        Called before the run counts as ended, so that a kill during it is mended too.

    Returns
    -------
    Outcome
        With the results in place.

    Raises
    ------
    ScenarioError
        Where the list cannot be read, an opening or a tolerance is nowhere said, or the results
        cannot be written.
    """
    layout, above = layout_of(source, ignored)
    _refuse_unsaid(source, layout, settings)
    with_work = settings.offset is not None or OFFSET in layout.others
    firsts = {"results": heads(settings, with_work=with_work), "bad": bad_heads()}
    about = {
        "list": _digest(source),
        "set of options": repr((settings, layout)),
        "version of dbox": version("dbox"),
        "picture": str(picture or ""),
    }
    with closing(Progress(Places(out), about, firsts)) as progress:
        tally = _tally_of(progress.content, len(settings.flows))
        if not progress.done:
            step = _DRAWN_PIECE if settings.samples or with_work else _QUICK_PIECE
            rest = islice(pieces(source, layout, above, step), progress.pieces, None)
            job = partial(_answered, layout, settings, with_work)
            answers = _in_order(rest, job, processes)
            tally = _write(progress, answers, tally, source.stat().st_size, told)
        outcome = Outcome(
            tally=tally, with_work=with_work, resumed=progress.resumed, places=progress.places
        )
        progress.put_in_place(with_bad=bool(tally.refused.any()))
        if draw:
            draw(outcome)
        progress.end()
    return outcome


def _refuse_unsaid(source: Path, layout: Layout, settings: Settings) -> None:
    """What neither a column nor the command line says is wrong with every row: say it once."""
    faults = []
    if settings.opening is None and OPENING not in layout.others:
        faults.append(f'has no column {OPENING}; add it, or give --opening "circle 2 in"')
    if settings.tolerance is None and TOLERANCE not in layout.others:
        faults.append(
            f'has no column {TOLERANCE}; add it, or give --tolerance "10 %": there is no general '
            "one, it is the permit's or yours"
        )
    if faults:
        raise ScenarioError(*(f"{source}: {fault}" for fault in faults))


def _digest(source: Path) -> str:
    with source.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _answered(layout: Layout, settings: Settings, with_work: bool, piece: Piece) -> Answer:
    """The answers to one piece: results, bad rows, counts."""
    listed, faults = read_boxes(piece.text, piece.first_line, layout, settings, apart=piece.apart)
    lines, tally = answer(listed, settings, with_work=with_work)
    return lines, bad_lines(faults), tally + Tally.empty(len(settings.flows), len(faults))


def _in_order(
    rest: Iterator[Piece], job: Callable[[Piece], Answer], processes: int | None
) -> Iterator[tuple[int, Answer]]:
    """Ends of the pieces and the answers to them, as many at once as there are processes."""
    processes = processes or os.cpu_count() or 1
    first = [*islice(rest, 2)]
    every = chain(first, rest)
    if processes == 1 or len(first) < 2:
        yield from ((piece.end, job(piece)) for piece in every)
        return
    # a process of its own each time, not a copy of this one: the same on every system
    context = get_context("spawn")
    with ProcessPoolExecutor(processes, context, initializer=_begin_work) as pool:
        waiting: deque[tuple[int, Future[Answer]]] = deque()
        try:
            for piece in every:
                waiting.append((piece.end, pool.submit(job, piece)))
                if len(waiting) > processes + _AHEAD:
                    end, found = waiting.popleft()
                    yield end, found.result()
            for end, found in waiting:
                yield end, found.result()
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _begin_work() -> None:
    """Make a process ready: it makes no cycles, is not interrupted, and ends with its parent."""
    gc.disable()
    # once a large block was given back, glibc keeps smaller ones for the next piece, where it
    # would else return them to the system and fetch them again, page by page
    np.empty(_KEPT_BLOCK, dtype=np.uint8)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: Any) -> None:
    parent.join()
    os._exit(1)


def _write(
    progress: Progress,
    answers: Iterable[tuple[int, Answer]],
    tally: Tally,
    size: int,
    told: Callable[[float], None] | None,
) -> Tally:
    """Write answers as they come, tell the part of the list done, and count on from a tally."""
    kept = time.monotonic()
    for end, (lines, bad, counted) in answers:
        progress.write(lines, bad)
        tally += counted
        if time.monotonic() - kept > _KEEP_EVERY:
            progress.keep(_content_of(tally))
            kept = time.monotonic()
        if told:
            told(end / size)
    progress.keep(_content_of(tally), done=True)
    return tally


def _content_of(tally: Tally) -> dict[str, Any]:
    return {name: counts.tolist() for name, counts in vars(tally).items()}


def _tally_of(content: dict[str, Any], flows: int) -> Tally:
    if not content:
        return Tally.empty(flows)
    return Tally(**{name: np.array(counts, np.int64) for name, counts in content.items()})
