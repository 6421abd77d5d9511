"""A guided set-up for machines and for people.

The scenario itself is left as it was. Other commands see the last pass through a scenario of its
own, made from the first by putting in the readings, the clock positions and the rim of that pass.
"""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from dbox import units
from dbox.arrays import Array
from dbox.errors import outlets_text
from dbox.fieldwork.inlet import CURE
from dbox.fieldwork.levelling import Levelling
from dbox.fieldwork.readings import Doubt
from dbox.fieldwork.setup import STOPPED, Job, Pass
from dbox.fieldwork.shares import Assessment, over_target
from dbox.fieldwork.site import Site, Tolerance
from dbox.files import toml_file
from dbox.files.box_interview import WORDS
from dbox.files.page_file import Taking
from dbox.files.scenario import PLACEHOLDER
from dbox.files.toml_file import with_values
from dbox.report.blocks import Heading, Section, Table, columns
from dbox.report.cautions import LONG
from dbox.report.encode import Json, encode, keyed, rows
from dbox.report.level_report import (
    adjust_words,
    inlet_cure,
    inlet_decides,
    level_json,
    lift_lines,
    next_words,
    rebed_words,
    turn_lines,
    unreachable_lines,
    why_nothing,
)
from dbox.report.recheck_report import moved_words, recheck_json, recheck_text
from dbox.report.split_report import no_verdict, split_json
from dbox.report.text import chance_text, moment, noted, wrapped
from dbox.report.wording import sentences
from dbox.units import clock_text, inches

_EXACT = 1e-9
_ASKS = {"reading": "read", "repeat": "read", "close": "end"}


def setup_json(job: Job | None) -> Json:
    """The answer of `dbox setup --json`; None where the scenario is still asked for."""
    question = job.question if job else None
    outlet = None if question is None else question.outlet
    asks = question and _ASKS.get(question.kind, question.kind)
    return {
        "title": job and job.site.title,
        "visit": job.visit if job else 1,
        "visits": job.visits if job else 1,
        "begun_at": (job and job.begun_at) or None,
        "name": job.called if job else None,
        "changed": list(job.changed) if job else [],
        "history": [_visit_json(each) for each in job.history] if job else [],
        "recheck": recheck_json(job) if job and job.recheck else None,
        "finished": job is not None and job.closed,
        "outcome": job and job.outcome,
        "asks": asks if job else "scenario",
        "asks_outlet": job.site.outlets[outlet].label if job and outlet is not None else None,
        "passes": [_pass_json(each) for each in job.passes] if job else [],
        "box": job and _box_json(job.now.site),
        "not_said": job and list(job.site.lacks),
        "tolerance": encode(job and job.site.tolerance),
    }


def _visit_json(job: Job) -> Json:
    """A visit in short."""
    movement = job.recheck.movement if job.recheck else None
    return {
        "visit": job.visit,
        "name": job.called,
        "begun_at": job.begun_at or None,
        "changed": list(job.changed),
        "passes": len(job.passes),
        "finished": job.closed,
        "outcome": job.outcome,
        "verdict": movement and movement.verdict,
    }


def _box_json(site: Site) -> Json:
    """What was said of the box besides its outlets, in the file or at it."""
    told: Json = encode({
        **keyed(site.box),
        "pipe_bed": site.record.pipe_bed or None,
        "line_length_m": [outlet.line_length for outlet in site.outlets],
        "target": site.target.by if site.target.said else None,
    })  # fmt: skip
    return told


def _pass_json(each: Pass) -> Json:
    levelling, outlets = each.levelling, each.site.outlets
    after = each.turned or (None,) * len(outlets)
    return {
        "number": each.number,
        "method": each.method or "",
        "still_at": each.still_at or None,
        "done_at": each.done_at or None,
        "conclusion": each.conclusion,
        "outlets": rows(
            label=[o.label for o in outlets],
            capped=[o.capped for o in outlets],
            readings_m=each.readings,
            read_at=[at or None for at in each.read_at],
            clock=[_clock(angle) for angle in each.angles],
            angle_rad=each.angles,
            stuck=[i in each.stuck for i in range(len(outlets))],
            clock_after=[_clock(angle) for angle in after],
            angle_after_rad=after,
        ),
        "split": levelling and split_json(each.site, levelling.before),
        "level": levelling and level_json(levelling),
    }


def _clock(angle: float | None) -> str | None:
    return None if angle is None else clock_text(angle)


def after_path(scenario: Path) -> Path:
    """Where the scenario of the last pass goes.

    >>> after_path(Path("job/box.toml")).name
    'box-after.toml'
    """
    return scenario.with_name(f"{scenario.stem}-after.toml")


def after_text(scenario: Path, last: Pass) -> str:
    """The scenario as the box was read in a pass."""
    text = toml_file.read_text(scenario)
    tables = toml_file.parse(text, str(scenario))
    site, metric = last.site, last.site.metric
    for table, outlet in zip(tables["outlet"], site.outlets, strict=True):
        table.pop("reading", None)
        table.pop("clock", None)
        if outlet.readings:
            table["reading"] = [_height(reading, metric) for reading in outlet.readings]
        if outlet.clock is not None:
            table["clock"] = clock_text(outlet.clock)
    for i in last.stuck:
        tables["outlet"][i]["offset"] = "fixed"
    tables.get("readings", {}).pop("rim", None)
    if site.box.rim is not None and site.box.rim > 0:
        tables.setdefault("readings", {})["rim"] = _height(site.box.rim, metric)
    _add_told(tables, site)
    if "placeholder" in tables.get("readings", {}) or PLACEHOLDER in tables.get("title", ""):
        tables.setdefault("readings", {})["placeholder"] = False
    read = f"as read in pass {last.number}, {moment(last.still_at)}"
    head = f"# Written by dbox setup: {scenario.name} {read}."
    if last.previous:
        head += (
            "\n# These are the readings of that pass alone; the set-up went by all passes together."
        )
    if last.carried:
        head += f"\n# It goes {_carried_words(last)}, not read again."
    return f"{head}\n\n{with_values(text, tables)}"


def _add_told(tables: dict[str, Any], site: Site) -> None:
    """Add what was told of a box that its file does not say."""
    box, target = site.box, site.target
    drop = None if box.inlet_drop is None else _height(box.inlet_drop, site.metric)
    told: dict[str, dict[str, Any]] = {
        "box": {"inlet": box.inlet, "air_hole": box.air_hole, "inlet_drop": drop},
        "record": {"pipe_bed": site.record.pipe_bed or None},
        "target": {"by": (list(target.weights) or target.by) if target.said else None},
    }
    for name, values in told.items():
        for key, value in values.items():
            if value is not None and key not in tables.get(name, {}):
                tables.setdefault(name, {})[key] = value
    unit = {True: "m", False: "ft"}[site.metric]
    for table, outlet in zip(tables["outlet"], site.outlets, strict=True):
        if outlet.line_length is not None and "line_length" not in table:
            length = outlet.line_length / units.LENGTH_UNITS[unit]
            table["line_length"] = f"{round(length, 9):g} {unit}"


def _height(metres: float, metric: bool) -> str:
    """A height in inches where that is exact and the job is in inches, else in millimetres."""
    text = inches(metres, parts=64)
    exact = not metric and abs(units.length(text) - metres) < _EXACT
    return text if exact else f"{round(metres * 1000, 6) + 0.0:.9g} mm"


_ABREAST = 3
_CELL = 13


def cautions() -> list[str]:
    """What to mind before a lid is opened."""
    return ["MIND:", *(line for each in LONG for line in wrapped(each, first="- ", indent="  "))]


def visits_blocks(job: Job) -> Section:
    """Every visit up to this one with its date and what it found; nothing for the first."""
    if len(job.history) == 1:
        return []
    told = []
    for each in job.history:
        found = moved_words(each.recheck, each.site.lengths)[0] if each.recheck else "-"
        ended = OUTCOMES[each.outcome] if each.outcome else "not ended"
        changed = [*each.changed, found] if each.changed else [found]
        told.append([str(each.visit), each.begun_at[:10], each.called, "; ".join(changed), ended])
    heads = columns({"visit": 6, "date": 11, "what": 14, "changed, moved": 26, "how it ended": 17})
    return [Heading("Visits"), Table(heads, told)]


def taken_lines(found: Taking, source: Path, file: str) -> list[str]:
    """What of a saved set-up was taken in, what to look at again, and how the job stands."""
    job, count = found.job, len(found.entries)
    made = f" {file} is made of its answers about the box." * found.makes
    made += f' {file} now says inlet = "{found.inlet}".' * bool(found.inlet)
    said = f"{count} answer{'s' * (count != 1)}" if count else "nothing that the log lacks"
    lines = wrapped(f"Taken from {source}: {said}.{made}")
    for outlet, odd in found.doubts:
        label = job.site.outlets[outlet].label
        mend = f"Taken as typed; dbox setup {file}, then correct {label}, reads it again."
        lines += wrapped(f"Outlet {label}: {doubt_text(odd, job.site)} {mend}", first="! ")
    for what in found.left:
        lines += wrapped(f"Not taken, it stays in {source}: {what}.", first="! ")
    if job.closed:
        return [*lines, ""]
    last = job.last_complete
    shown = ["", *pass_lines(last)] if last else []
    return [*lines, *shown, "", f"Go on with: dbox setup {file}"]


def pass_lines(each: Pass, above: Sequence[str] = ()) -> list[str]:
    """A pass whose readings are complete: shares, how it stands, what to do.

    above: Lines to say before how it stands.
    """
    levelling, conclusion = each.levelling, each.conclusion
    if levelling is None or conclusion is None:
        return [f"PASS {each.number} is not complete."]
    headline, work = _finding(levelling, conclusion)
    # of one that is known to be stuck nobody asks whether it slipped
    stuck = [f"outlet {each.entered.outlets[i].label}" for i in each.stuck]
    news = [n for n in each.news if n.what != "level: slipped" or n.where not in stuck]
    lines = noted(sentences(news))
    flows = range(len(levelling.before.names))
    for first in flows[::_ABREAST]:
        lines += ["", *_table(levelling, flows[first : first + _ABREAST])]
    # what to do stands last, where a small screen shows it
    return [*lines, "", *above, *wrapped(f"PASS {each.number}: {headline}"), *work]


def _finding(levelling: Levelling, conclusion: str) -> tuple[str, list[str]]:
    """How the job stands after a pass, and what to do now."""
    before = levelling.before
    told_next = wrapped(f"Next: {next_words(levelling)}.")
    if levelling.next_step == "inlet" and before.inlet is not None:
        told_next += wrapped(_CURED)
    if conclusion == "within":
        return "WITHIN TOLERANCE at every flow.", []
    if conclusion == "inlet":
        words = f"THE LIPS ARE WITHIN TOLERANCE, but {inlet_decides(before)}."
        cure = f"No turn cures it: {inlet_cure(before)}."
        return words, ["", *wrapped(cure), *(wrapped(_CURED) if before.inlet else ())]
    if conclusion in ("level", "ruler", "hand", "again"):
        verdict, why = why_nothing(levelling)
        return f"{verdict.upper()}: {why}.", told_next
    if conclusion == "re-bed":
        lift = ["", *lift_lines(levelling.lift, levelling.site)] if levelling.lift else []
        return rebed_words(levelling), lift + unreachable_lines(levelling)
    words = adjust_words(levelling, "this still water")
    turns = turn_lines(levelling, brief=True)
    # the inlet is seen to before anything is turned
    first_inlet = levelling.next_step == "inlet"
    return words, [*told_next, *turns] if first_inlet else [*turns, *told_next]


def _table(levelling: Levelling, flows: range) -> list[str]:
    """Shares in per cent with their bands, flows side by side."""

    def row(head: str, cells: Iterable[str], target: str = "") -> str:
        return f"{head:<26}{''.join(f'{cell:>{_CELL}}' for cell in cells)}{target:>7}".rstrip()

    assessment, lengths = levelling.before, levelling.site.lengths
    result, band = assessment.result, (assessment.share_low, assessment.share_high)
    names = [assessment.names[f].removesuffix(" (default)")[: _CELL - 1] for f in flows]
    lines = [
        row(f"  {'outlet':<7}{'lip':>17}", names, "target"),
        row("share, its 5-95 % band", [lengths.flow(float(result.inflow[f])) for f in flows]),
    ]
    for i, label in enumerate(assessment.labels):
        lip = float(assessment.lips.height[i])
        name = label if len(label) < 6 else f"{label[:4]}~"
        if not np.isfinite(lip):
            lines.append(f"  {name:<7}{'capped':>17}")
            continue
        shares = [[100 * float(each[f, i]) for each in (result.share, *band)] for f in flows]
        lines.append(
            row(
                f"  {name:<6}{lengths.cell(lip, 18)}",
                [f"{share:.0f} ({low:.0f}-{high:.0f})" for share, low, high in shares],
                f"{100 * float(assessment.target[i]):.0f} %",
            )
        )
    if assessment.tolerance is None:
        return [*lines, f"  {no_verdict(assessment)}"]
    words = f"  all within {100 * assessment.tolerance:.3g} % of it?"
    likely = [float(assessment.within_probability[f]) for f in flows]
    chances = ["by the inlet" if np.isnan(chance) else chance_text(chance) for chance in likely]
    verdicts = row(words, [assessment.verdicts[f] for f in flows])
    return [*lines, verdicts, row("  chance of that", chances)]


OUTCOMES = {
    "within": "every flow is within the tolerance",
    "inlet": "the lips are within the tolerance, but the inlet decides",
    "level": "the lips stand as well as a good hand leaves them",
    "ruler": "what still differs is smaller than the rule can tell",
    "again": "ended before the lips were read often enough to tell",
    "hand": "what still differs is less than a hand can make good",
    "re-bed": "the box must be bedded again",
    STOPPED: "ended while there was still something to turn",
}


def reached(assessment: Assessment) -> list[str]:
    """What the lines get of their targets at each flow, and how sure that is."""
    lines, told = assessment.target > 0, []
    ends = [over_target(each, assessment.target)[:, lines] for each in
            (assessment.result.share, assessment.share_low, assessment.share_high)]  # fmt: skip
    for case, name in enumerate(assessment.names):
        share, *band = (100 * each[case] for each in ends)
        at = name.removesuffix(" (default)")
        text = f"at {at} the lines get {_span(share)} of their targets"
        if assessment.tolerance is None:
            sure = f"5 to 95 % band {_span(np.concatenate(band))}"
            sure += "; no target was named, equal shares are taken" * assessment.target_open
        elif assessment.inlet_open[case]:
            sure = f"{assessment.verdicts[case]}, the inlet decides"
        else:
            likely = chance_text(float(assessment.within_probability[case]))
            sure = f"{assessment.verdicts[case]}; chance that all are within: {likely}"
        told.append(f"{text} ({sure})")
    return told


def _span(percent: Array) -> str:
    """The least and the most in whole per cent, once where they are the same."""
    ends = (f"{percent.min():.0f}", f"{percent.max():.0f}")
    return f"{' to '.join(dict.fromkeys(ends))} %"


def asked(tolerance: Tolerance | None, *, blank: str = "not named") -> str:
    """What the shares are held to, and who says so; `blank`: where nobody is named."""
    if tolerance is None:
        return "Asked: no tolerance was entered, so there is no verdict; the permit names it."
    allowed = f"within {100 * tolerance.share:.3g} % of each line's own target"
    return f"Asked: {allowed}. Source: {tolerance.source or blank}."


_CURED = (
    'That done, pause, write inlet = "turned down" (or "tee", "baffle") under [box] in the file, '
    "and go on: the jet no longer counts then."
)


_LEFT_TO_DO = (
    "photograph the still water with a rule in view; pour test; show the inspector before it is "
    "covered; read again after backfill."
)


_LEFT_AFTER = "photograph the still water with a rule in view; fasten the lid"
_ONCE_MORE = "look again after a season, and at any complaint"
_NEXT_LOOK = {
    "after backfill": "show the inspector both records; look again after a season",
    "after a season": "look again in a year, and at any complaint",
    "a complaint": "what was seen goes into dbox diagnose {file} --ask",
}
"""What comes next after a visit of a name, where it is not `_ONCE_MORE`."""


def not_said_lines(site: Site) -> list[str]:
    """What nobody said of the box, and what that costs."""
    said = [WORDS["box"][topic] for topic in site.lacks]
    if not said:
        return []
    lines = [f"{each['named']}: {each['lost']}." for each in said]
    head = "Not said of the box; write it in the file where you know it (dbox new shows the keys):"
    bullets = [line for each in lines for line in wrapped(each, first="- ", indent="  ")]
    return ["", *wrapped(head), *bullets]


def _carried_words(each: Pass) -> str:
    """Whose lips were not read in a pass."""
    labels = [each.entered.outlets[i].label for i in each.carried]
    return f"with the lips of {outlets_text(labels)} as the visit before left them"


def end_lines(job: Job, file: str) -> list[str]:
    """How a finished job ended and what is left to do."""
    again = f"dbox setup {file}"
    count, inserts = len(job.passes), job.site.has_inserts
    words = f"FINISHED after {count} pass{'es' if count > 1 else ''}: "
    words += f"{OUTCOMES[job.outcome or STOPPED]}."
    if job.visit > 1:
        name = f" ({job.name})" if job.name else ""
        words = f"RE-CHECK of {job.begun_at[:10]}, visit {job.visit}{name}, {words}"
    lines = [
        *wrapped(words),
        *wrapped(recheck_text(job)),
        "",
        "Lips over the still water of each pass" + ", and where the hole stood" * inserts + ":",
    ]
    for i, outlet in enumerate(job.site.outlets):
        told = []
        for each in job.passes:
            levelling = each.levelling
            height = np.nan if levelling is None else float(levelling.before.lips.height[i])
            lip = each.site.lengths.both(height, signed=True) if np.isfinite(height) else "-"
            told.append(lip + f" at {_clock(each.angles[i]) or '?'}" * inserts)
        told += ["stuck, not turned"] * (i in job.now.stuck)
        text = "capped" if outlet.capped else "; ".join(told)
        lines += wrapped(f"{outlet.label}: {text}", first="  ", indent="    ")
    lines += [""]
    if job.outcome == "re-bed":
        lines += wrapped("Once it is bedded firmly, start over with --again.")
    else:
        lock = "lock every insert; note its clock position; " * inserts
        left = _LEFT_TO_DO
        if job.visit > 1:
            left = f"{_LEFT_AFTER}; {_NEXT_LOOK.get(job.name, _ONCE_MORE)}.".format(file=file)
        last = job.last_complete and job.last_complete.levelling
        inlet = f"{CURE.partition(':')[0]}; " * bool(last and last.next_step == "inlet")
        lines += wrapped(f"Left to do: {inlet}{lock}{left}")
        in_file = any(outlet.readings for outlet in job.site.outlets)
        lines += wrapped(
            f"For pour and split, which go by the readings of a file: dbox setup {file} "
            "--write-after makes one of the box as last read."
            if in_file
            else f"dbox pour {file} tells how long each outlet takes to fill the jug; split, surge "
            "and diagnose, too, take the box as last read."
        )
    lines += ["", *wrapped(f"Coming back to this box, or a line is added or closed: {again}")]
    if job.visit > 1:
        lines += wrapped(
            f"The records before: dbox sheet {file} --kind setup --visit 1 --out first.pdf"
        )
    lines += not_said_lines(job.site)
    end = job.last_complete
    last = end and end.levelling
    if end and last:
        lines += ["", *wrapped(f"For the inspector. {asked(job.site.tolerance)}")]
        unread = f", {_carried_words(end)}" if end.carried else ""
        lines += wrapped(f"Reached{unread}: {'; '.join(reached(last.before))}.")
    return lines


def doubt_text(odd: Doubt | None, site: Site) -> str:
    """Why it is asked whether a reading is meant."""
    if odd is None:
        return "is that reading meant?"
    amount = site.lengths.both(odd.amount)
    if odd.why == "reach" and odd.other is not None:
        other = site.outlets[odd.other].label
        return f"no turning could bring it and outlet {other} together; {amount} would be missing."
    return {
        "apart": f"its readings differ by {amount}, more than reading errors do.",
        "under water": f"its lip would lie {amount} under water, which would still be running out "
        "there. Is the water still, and the sign right?",
        "high": f"its lip would stand {amount} over the water, higher than its hole is high.",
        "reach": f"that is {amount} beyond the full travel of its insert: no turning could bring "
        "it and the lowest lip together.",
    }[odd.why]
