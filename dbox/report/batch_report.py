"""What a list came to, for people and for machines."""

from collections.abc import Sequence
from typing import Any

from dbox.fieldwork.many_boxes import EDGES, WORK, Tally
from dbox.fieldwork.shares import VERDICTS
from dbox.fieldwork.site import DEFAULT_SPREAD
from dbox.files.csv_table import changed_text
from dbox.files.list_boxes import Settings
from dbox.files.list_run import Outcome
from dbox.report.blocks import Column, Paragraph, Table, columns, text
from dbox.report.cautions import MODEL
from dbox.report.encode import encode
from dbox.report.text import noted, wrapped
from dbox.units import millimetres

_CELL = 12
_MOST_ROWS = 5


def batch_json(outcome: Outcome, settings: Settings) -> dict[str, Any]:
    """The answer of `dbox batch --json`."""
    tally, places = outcome.tally, outcome.places
    refused = int(tally.refused[0])
    work = dict(zip(WORK, tally.work, strict=True)) | {"unknown": _unknown(tally)}
    answer: dict[str, Any] = encode(
        {
            "boxes": tally.boxes,
            "refused": refused,
            "verdicts": dict(zip(VERDICTS, tally.verdicts, strict=True)),
            "flows": [
                {
                    "name": flow.name,
                    "inflow_m3_s": flow.inflow,
                    "verdicts": dict(zip(VERDICTS, tally.by_flow[case], strict=True)),
                    "worst_over_target_from": EDGES[:-1].round(6),
                    "worst_over_target_boxes": tally.worst[case],
                }
                for case, flow in enumerate(settings.flows)
            ],
            "work": work if outcome.with_work else None,
            "warnings": _remarks(outcome),
            "files": [str(places.results), *([str(places.bad)] if refused else [])],
        }
    )
    return answer


def _unknown(tally: Tally) -> int:
    """Boxes where it is not known what is to be done."""
    return tally.boxes - int(tally.work.sum())


def report(outcome: Outcome, settings: Settings) -> list[str]:
    """Lines of at most 72 columns."""
    tally, (judged, *verdicts) = outcome.tally, [outcome.tally.boxes, *outcome.tally.verdicts]
    lines = wrapped(f"{_boxes(judged)} judged: {_listed(verdicts, VERDICTS)}.")
    lines += ["", *_table(tally, settings)]
    if outcome.with_work:
        counts, kinds = [*tally.work, _unknown(tally)], [*WORK, "unknown, no offset is given"]
        rare = {WORK[-1], kinds[-1]}
        told = [(n, kind) for n, kind in zip(counts, kinds, strict=True) if n or kind not in rare]
        lines += ["", *wrapped(f"Work: {_listed(*zip(*told, strict=True))}.")]
    if outcome.resumed:
        lines += ["", "This run went on from where an earlier one stopped."]
    lines += noted(_notes(outcome, settings))
    return [*lines, "", *wrapped(f"wrote {outcome.places.results}"), *wrapped(MODEL)]


def _boxes(count: int) -> str:
    return "1 box" if count == 1 else f"{count:,} boxes"


def _listed(counts: Sequence[int], words: Sequence[str]) -> str:
    return ", ".join(f"{count:,} {word}" for count, word in zip(counts, words, strict=True))


def _table(tally: Tally, settings: Settings) -> list[str]:
    """A row for all flows together and one for each, the worst line of the middle box beside it."""
    worst = zip(tally.worst_at(0.5), tally.worst_at(0.9), strict=True)
    rows = [["all flows", *tally.verdicts, ""]]
    rows += [
        [flow.name, *counts, f"{middle:.2f} {most:.2f}"]
        for flow, counts, (middle, most) in zip(settings.flows, tally.by_flow, worst, strict=True)
    ]
    heads = columns(dict.fromkeys([*VERDICTS, "worst line"], _CELL), "right")
    cells = [[each if isinstance(each, str) else f"{each:,}" for each in row] for row in rows]
    words = (
        "Boxes by verdict. Worst line: the largest share over its target, about, in the middle box "
        "and in the box that one in ten is beyond."
    )
    return text([[Table([Column("", 22), *heads], cells), Paragraph(words)]])


def _notes(outcome: Outcome, settings: Settings) -> list[str]:
    tally, notes = outcome.tally, []
    if settings.spread is None:
        notes.append(
            f"a reading is taken to be good to {millimetres(DEFAULT_SPREAD)} (1/16 in, common "
            "practice) where the list does not say; --spread says it"
        )
    if outcome.with_work and tally.work[WORK.index("read again")]:
        notes.append("read again: more than once, or with a finer rule; these readings cannot tell")
    if held := int(tally.inlet[0]):
        notes.append(
            f"at {_boxes(held)} the jet of a straight inlet would decide, so nothing is sure "
            "there: say how the inlet ends, in a column inlet or by --inlet; a turned-down end, a "
            "tee or a baffle ends the jet"
        )
    notes += _remarks(outcome)
    if refused := int(tally.refused[0]):
        rows = "1 row is" if refused == 1 else f"{refused:,} rows are"
        notes.append(f"{rows} left out; {outcome.places.bad} says why")
    if not settings.samples:
        notes.append(
            "--quick judges to first order in the errors of the readings; without it boxes are "
            "drawn, and the results show the chance of being within"
        )
    return notes


def _remarks(outcome: Outcome) -> list[str]:
    """What is to be told of the list itself."""
    remarks, told = outcome.remarks, []
    names, lines = remarks.twice
    if names:
        rows = ", ".join(map(str, lines[:_MOST_ROWS])) + (" ..." if lines[_MOST_ROWS:] else "")
        more = f"; {names - 1:,} more names stand in several rows" if names > 1 else ""
        told.append(
            f"one name stands in rows {rows}{more}: each row is judged as a box of its own; give "
            "each its own name, or leave the extra rows out"
        )
    first, count = remarks.bare
    if count:
        more = f", nor are {count - 1:,} more cells" if count > 1 else ""
        told.append(
            f"{first}, stands under no head and is not read{more}; give the column a head and "
            "name it by --ignore"
        )
    first, count = remarks.harmed
    return [*told, changed_text(first, count)] if count else told
