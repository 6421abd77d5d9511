"""What moved at a box between two visits, and what each line gets since: text, paper and JSON."""

from collections.abc import Iterable

import numpy as np

from dbox import units
from dbox.fieldwork.recheck import Movement, Recheck, ShareChange
from dbox.fieldwork.setup import Job
from dbox.lengths import Lengths
from dbox.report.blocks import Column, Heading, Paragraph, Section, Table, text
from dbox.report.encode import Json, encode, keyed, rows
from dbox.units import FOOT, millimetres

_ABREAST, _SHARES = 3, 20
_PARTED = 4
"""Outlets from which a lean can be told from one that moved, unless they stand in one line."""


def recheck_json(job: Job) -> Json:
    """What moved since the visit before, and what each line gets."""
    assert job.recheck is not None
    assert job.compared is not None
    movement, shares = job.recheck.movement, job.recheck.shares
    answer: Json = {
        "against_visit": job.compared.visit,
        "not_read_again": job.recheck.carried,
        "verdict": movement and movement.verdict,
        "chance": movement and movement.chance,
        "movement": None,
        "flows": [
            {
                "name": name,
                "outlets": rows(
                    label=shares.labels,
                    share_before=shares.before[case],
                    share_after=shares.after[case],
                    change_low=shares.low[case],
                    change_high=shares.high[case],
                    load_before_1_m=shares.before[case] / shares.lengths,
                    load_after_1_m=shares.after[case] / shares.lengths,
                ),
            }
            for case, name in enumerate(shares.names)
        ],
    }
    if movement is not None:
        each = ("old", "new", "moved", "error", "box", "own", "own_error", "alone", "alone_error")
        answer["movement"] = encode({
            "toward": movement.toward,
            "slope_x_y": movement.slope,
            "slope_error_x_y": movement.slope_error,
            "box_probability": movement.box_chance,
            **keyed(movement, "lean", "lean_error", "least_lean", "least_move"),
            "outlets": rows(
                label=movement.labels,
                probability=movement.outlet_chance,
                **keyed(movement, *each),
            ),
        })  # fmt: skip
    return answer


def _size(metres: float, error: float, lengths: Lengths) -> str:
    """A length with its error."""
    return f"{lengths.both(abs(metres))}, give or take {millimetres(error)}"


def _alone(movement: Movement, i: int, lengths: Lengths) -> str:
    """That one outlet moved, and by how much."""
    way = "dropped" if movement.alone[i] < 0 else "rose"
    moved = _size(float(movement.alone[i]), float(movement.alone_error[i]), lengths)
    return f"outlet {movement.labels[i]} {way} {moved}, against the others"


def moved_words(recheck: Recheck, lengths: Lengths) -> tuple[str, str]:
    """What moved between two visits, and what to do about it or what limits it."""
    movement = recheck.movement
    if recheck.carried:
        return (
            "OLD LIPS NOT READ AGAIN",
            "they are taken as left: whether the box moved is not known",
        )
    if movement is None:
        return "NOTHING TO COMPARE", "fewer than two lips were read at both visits"
    leaned = ""
    if movement.lean is not None and movement.lean_error is not None:
        size = _size(movement.lean, movement.lean_error, lengths)
        leaned = f"the box leaned toward outlet {movement.toward} by {size}, across its outlets"
    one = [_alone(movement, i, lengths) for i in movement.outlets_named]
    own = "see whether its insert is loose, or its pipe pulls at it"
    bed = "find why its bed gave way before you turn inserts: they will not stay if it goes on"
    if movement.verdict == "cannot tell":
        least = f"{lengths.both(movement.least_move)} of one outlet alone"
        if movement.least_lean is not None:
            least = f"a lean of {lengths.both(movement.least_lean)} over the outlets, or {least}"
        told = f"nine times in ten it would have shown {least}"
        return "THE RULE CANNOT TELL that anything moved", told
    if movement.verdict == "cannot part":
        likely = int(np.argmax(np.abs(movement.alone / movement.alone_error)))
        either = [leaned or "the box leaned", _alone(movement, likely, lengths)]
        why = "these readings fit both"
        if len(movement.labels) < _PARTED:
            why = "so few outlets always lie on one plane"
        elif movement.slope is None:
            why = "with the places of its outlets in the file it could be told which"
        return f"SOMETHING MOVED: {', or '.join(either)}", why
    found = [leaned] * movement.box_named + one
    return f"MOVED: {'; '.join(found)}", bed if movement.box_named else own


def recheck_text(job: Job) -> str:
    """What moved since the visit before, and what to do; nothing for the first visit."""
    if job.recheck is None or job.compared is None:
        return ""
    finding, then = moved_words(job.recheck, job.site.lengths)
    return f"{since_words(job.compared)}: {finding}. {then[0].upper()}{then[1:]}."


def since_words(before: Job) -> str:
    """Against which visit a later one is held."""
    return f"Since the visit of {before.begun_at[:10]} ({before.called})"


def recheck_blocks(job: Job) -> list[Section]:
    """The numbers of a re-check: lips, shares and loads, old against new."""
    if job.recheck is None or job.compared is None:
        return []
    sections: list[Section] = []
    if job.recheck.movement is not None:
        sections.append(_moved_lips(job.recheck.movement, job.site.lengths))
    shares = job.recheck.shares
    flows = range(len(shares.names))
    for first in flows[::_ABREAST]:
        cases = flows[first : first + _ABREAST]
        sections.append(_changes(shares, cases))
        if np.isfinite(shares.lengths).any():
            sections.append(_loads(shares, cases, job.site.lengths))
    return sections


def _moved_lips(movement: Movement, lengths: Lengths) -> Section:
    heads = ["outlet", "as left", "as found", "moved", "give or\ntake"]
    columns = [movement.old, movement.new, movement.moved, movement.error]
    if movement.box is not None and movement.own is not None:
        heads, columns = [*heads, "by the\nlean", "its own"], [*columns, movement.box, movement.own]
    told = [
        [label, *(_fine(float(column[i]), lengths, signed=column is not movement.error)
                  for column in columns)]
        for i, label in enumerate(movement.labels)
    ]  # fmt: skip
    widths = [Column(heads[0], 8), *(Column(head, 10, "right") for head in heads[1:])]
    words = (
        "Lips over the mean of those that were read at both visits. The water stands at the lowest "
        "lip each time, so what moved all alike cannot be seen."
    )
    if movement.own_error is not None:
        left = f"What is its own is good to {millimetres(float(movement.own_error.max()))}."
        few = "So few outlets always lie on one plane, so nothing is left as their own."
        words += f" {left if movement.own_error.any() else few}"
    return [Heading("Lips, old against new:"), Table(widths, told), Paragraph(words)]


def _fine(metres: float, lengths: Lengths, *, signed: bool) -> str:
    """A length in the unit of the job, in millimetres where it has no mark for it."""
    text = lengths.one(metres, signed=signed)
    return text if abs(units.length(text)) > 0 else millimetres(metres, signed=signed)


def _flow_heads(names: Iterable[str]) -> list[Column]:
    flows = (name.removesuffix(" (default)") for name in names)
    return [Column("outlet", 8), *(Column(name, _SHARES, "right") for name in flows)]


def _changes(shares: ShareChange, cases: range) -> Section:
    told = []
    for i, label in enumerate(shares.labels):
        cells = []
        for case in cases:
            was, now = float(shares.before[case, i]), float(shares.after[case, i])
            shut = shares.capped[:, i]
            cell = f"{_per_cent(was, 'new', shut[0])} > {_per_cent(now, 'gone', shut[1])}"
            if np.isfinite(was + now) and not shut.any():
                low, high = (100 * float(end[case, i]) for end in (shares.low, shares.high))
                cell += f" ({_points(low)} to {_points(high)})"
            cells.append(cell if len(cell) < _SHARES else cell.replace(" > ", ">"))
        told.append([label, *cells])
    words = "Shares in %, as left > as found (5 to 95 % band of the change, in points):"
    names = [shares.names[case] for case in cases]
    return [Heading(words), Table(_flow_heads(names), told)]


def _points(change: float) -> str:
    return f"{change:+.0f}" if round(change) else "0"


def _per_cent(share: float, missing: str, capped: bool) -> str:
    return missing if np.isnan(share) else "capped" if capped else f"{100 * share:.0f}"


def _loads(shares: ShareChange, cases: range, lengths: Lengths) -> Section:
    """Share over length of the line, before and after."""
    per, unit = (10.0, "m") if lengths.metric else (10.0 * FOOT, "ft")
    told = []
    for i, label in enumerate(shares.labels):
        if np.isnan(shares.lengths[i]):
            told.append([label, *["length not known"] * len(cases)])
            continue
        part = 100 * per / float(shares.lengths[i])
        ends = ((shares.before, "new"), (shares.after, "gone"))
        cells = [" > ".join(missing if np.isnan(each[case, i]) else f"{part * each[case, i]:.1f}"
                            for each, missing in ends) for case in cases]  # fmt: skip
        told.append([label, *cells])
    words = f"Load: % of the flow for every 10 {unit} of line, as left > as found:"
    return [Heading(words), Table(_flow_heads([shares.names[case] for case in cases]), told)]


def recheck_lines(job: Job) -> list[str]:
    """The same on a terminal."""
    return text(recheck_blocks(job))
