"""What a list came to, for people and for machines."""

from typing import Any

from dbox.fieldwork.many_boxes import EDGES, WORK, Counts, Tally
from dbox.fieldwork.shares import VERDICTS
from dbox.fieldwork.site import DEFAULT_SPREAD
from dbox.files.csv_table import changed_text
from dbox.files.list_boxes import Settings
from dbox.files.list_run import Outcome
from dbox.report.blocks import Column, Table, columns, text
from dbox.report.cautions import MODEL
from dbox.report.encode import encode
from dbox.report.text import noted, wrapped
from dbox.units import millimetres, percent_text

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
    tally = outcome.tally
    lines = [f"{tally.boxes:,} {'box' if tally.boxes == 1 else 'boxes'} judged."]
    if tally.boxes:
        lines += ["", *_table(tally, settings)]
    if outcome.with_work and tally.boxes:
        counts = [f"{count:,} {kind}" for kind, count in zip(WORK, tally.work, strict=True)]
        counts = counts if tally.work[-1] else counts[:-1]
        if unknown := _unknown(tally):
            counts.append(f"{unknown:,} unknown, the offset of their holes is not given")
        lines += ["", *wrapped(f"Work: {', '.join(counts)}.")]
    if outcome.resumed:
        lines += ["", *wrapped("An earlier run was gone on with.")]
    lines += noted(_notes(outcome, settings))
    lines += ["", *wrapped(f"wrote {outcome.places.results}")]
    lines += wrapped(MODEL)
    return lines


def _table(tally: Tally, settings: Settings) -> list[str]:
    """A row for all flows together and one for each, the worst line of the middle box beside it."""

    def parts(counts: Counts) -> list[str]:
        return [percent_text(count / tally.boxes) for count in counts]

    worst = zip(tally.worst_at(0.5), tally.worst_at(0.9), strict=True)
    rows = [["all flows", *parts(tally.verdicts), ""]]
    rows += [
        [flow.name, *parts(counts), f"{middle:.2f} {most:.2f}"]
        for flow, counts, (middle, most) in zip(settings.flows, tally.by_flow, worst, strict=True)
    ]
    heads = columns(dict.fromkeys([*VERDICTS, "worst line"], _CELL), "right")
    lines = text([[Table([Column("", 22), *heads], rows)]])
    return [*lines, *wrapped(
        "Worst line: largest share over its target, about, of the middle box and of the box that "
        "one in ten is beyond."
    )]  # fmt: skip


def _notes(outcome: Outcome, settings: Settings) -> list[str]:
    refused = int(outcome.tally.refused[0])
    notes = []
    if settings.spread is None:
        notes.append(
            f"a reading is taken to be good to {millimetres(DEFAULT_SPREAD)} (1/16 in, common "
            "practice) where the list does not say; --spread says it"
        )
    if outcome.with_work and outcome.tally.work[WORK.index("read again")]:
        notes.append("read again: more than once, or with a finer ruler; what is there cannot tell")
    if held := int(outcome.tally.inlet[0]):
        where = "1 box" if held == 1 else f"{held:,} boxes"
        notes.append(
            f"at {where} the jet of a straight inlet would decide, so nothing is said for certain "
            "there: say how it ends in a column inlet or by --inlet; a turned-down end, a tee or a "
            "baffle ends the jet"
        )
    notes += _remarks(outcome)
    if refused:
        rows = "1 row is no box" if refused == 1 else f"{refused:,} rows are no boxes"
        notes.append(f"{rows} that can be computed; why is said in {outcome.places.bad}")
    if not settings.samples:
        notes.append(
            "verdicts are to first order in the errors of the readings; without --quick they come "
            "from draws, with the probability of being within"
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
        more = f" nor are {count - 1:,} more cells" if count > 1 else ""
        told.append(
            f"{first}, stands under no head and is not read{more}; give the column a head and "
            "name it by --ignore"
        )
    first, count = remarks.harmed
    if count:
        told.append(changed_text(first, count))
    return told
