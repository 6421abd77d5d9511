"""What a list came to, for people."""

from collections.abc import Iterable

from dbox.fieldwork.many_boxes import WORK, Tally
from dbox.fieldwork.shares import VERDICTS
from dbox.fieldwork.site import DEFAULT_SPREAD
from dbox.files.list_boxes import Settings
from dbox.files.list_run import Outcome
from dbox.report.text import noted, wrapped
from dbox.units import millimetres
from dbox.units import percent_text as percent

_CELL = 12


def report(outcome: Outcome, settings: Settings) -> list[str]:
    """Lines of at most 72 columns."""
    tally = outcome.tally
    refused = int(tally.refused[0])
    lines = [f"{tally.boxes:,} {'box' if tally.boxes == 1 else 'boxes'} judged."]
    if tally.boxes:
        lines += ["", *_table(tally, settings)]
    if outcome.with_work and tally.boxes:
        unknown = tally.boxes - int(tally.work.sum())
        counts = [f"{count:,} {kind}" for kind, count in zip(WORK, tally.work, strict=True)]
        counts += [f"{unknown:,} unknown, the offset of their holes is not given"] * (unknown > 0)
        lines += ["", *wrapped(f"Work: {', '.join(counts)}.")]
    if outcome.resumed:
        lines += ["", *wrapped("An earlier run was gone on with.")]
    lines += noted(_notes(refused, outcome, settings))
    lines += ["", *wrapped(f"wrote {outcome.places.results}")]
    lines += wrapped("The tool models the box; local code, the permit and the inspector decide.")
    return lines


def _table(tally: Tally, settings: Settings) -> list[str]:
    """A row for all flows together and one for each, the worst line of the middle box beside it."""
    wide = 72 - 4 * _CELL - 1
    middle, most = tally.worst_at(0.5), tally.worst_at(0.9)
    lines = [_row("", wide, ["within", "outside", "cannot tell", "worst line"])]
    lines.append(_row("all flows", wide, [*_parts(tally.verdicts), ""]))
    for case, flow in enumerate(settings.flows):
        worst = f"{middle[case]:.2f} {most[case]:.2f}"
        lines.append(_row(flow.name, wide, [*_parts(tally.by_flow[case]), worst]))
    return [*lines, *wrapped(
        "Worst line: largest share over its target, about, of the middle box and of the box that "
        "one in ten is beyond."
    )]  # fmt: skip


def _parts(counts: Iterable[int]) -> list[str]:
    counts = [*counts]
    return [percent(count / sum(counts)) for count in counts[: len(VERDICTS)]]


def _row(name: str, wide: int, cells: list[str]) -> str:
    return f"{name[:wide]:{wide}} {''.join(f'{cell:>{_CELL}}' for cell in cells)}".rstrip()


def _notes(refused: int, outcome: Outcome, settings: Settings) -> list[str]:
    notes = []
    if settings.spread is None:
        notes.append(
            f"a reading is taken to be good to {millimetres(DEFAULT_SPREAD)} (1/16 in, common "
            "practice) where the list does not say; --spread says it"
        )
    if outcome.with_work and outcome.tally.work[WORK.index("read again")]:
        notes.append("read again: more than once, or with a finer ruler; what is there cannot tell")
    if refused:
        rows = "1 row is no box" if refused == 1 else f"{refused:,} rows are no boxes"
        notes.append(f"{rows} that can be computed; why is told in {outcome.places.bad}")
    if not settings.samples:
        notes.append(
            "verdicts are to first order in the errors of the readings; without --quick they come "
            "from draws, with the probability of being within"
        )
    return notes
