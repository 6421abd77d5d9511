"""A guided set-up for machines and for people.

The scenario itself is left as it was. Other commands see the last pass through a scenario of its
own, made from the first by putting in the readings, the clock positions and the rim of that pass.
"""

from pathlib import Path
from typing import Any

import numpy as np

from dbox import units
from dbox.fieldwork.inlet import CURE
from dbox.fieldwork.levelling import Levelling
from dbox.fieldwork.setup import STOPPED, PassRecord, SetupRecord
from dbox.fieldwork.shares import Assessment
from dbox.files import toml_file
from dbox.files.scenario import PLACEHOLDER
from dbox.files.toml_file import toml_text
from dbox.report.cautions import LONG
from dbox.report.level_report import length_words, lift_lines, unreachable_lines
from dbox.report.split_report import level_json, split_json
from dbox.report.text import noted, wrapped
from dbox.units import clock_text, gpm, inches, inches_mm, millimetres, turn_text

Json = dict[str, Any]

_EXACT = 1e-9


def setup_json(record: SetupRecord | None) -> Json:
    """The answer of `dbox setup --json`."""
    if record is None:
        return {
            "title": None,
            "visit": 1,
            "visits": 1,
            "begun_at": None,
            "finished": False,
            "outcome": None,
            "asks": "scenario",
            "passes": [],
            "tolerance": None,
        }
    tolerance = record.site.tolerance
    return {
        "title": record.site.title,
        "visit": record.visit,
        "visits": record.visits,
        "begun_at": record.begun_at or None,
        "finished": record.finished,
        "outcome": record.outcome,
        "asks": record.asks,
        "passes": [_pass(each) for each in record.passes],
        "tolerance": tolerance and {"share": tolerance.share, "source": tolerance.source},
    }


def _pass(each: PassRecord) -> Json:
    levelling = each.levelling
    return {
        "number": each.number,
        "method": each.method,
        "still_at": each.still_at or None,
        "done_at": each.done_at or None,
        "conclusion": each.conclusion,
        "outlets": [_outlet(each, i) for i in range(len(each.site.outlets))],
        "split": levelling and split_json(each.site, levelling.before),
        "level": levelling and level_json(levelling),
    }


def _outlet(each: PassRecord, i: int) -> Json:
    outlet = each.site.outlets[i]
    after = None if each.angles_after is None else each.angles_after[i]
    return {
        "label": outlet.label,
        "capped": outlet.capped,
        "readings_m": list(outlet.readings),
        "read_at": each.read_at[i] or None,
        "clock": None if outlet.clock is None else clock_text(outlet.clock),
        "angle_rad": outlet.clock,
        "clock_after": None if after is None else clock_text(after),
        "angle_after_rad": after,
    }


def after_path(scenario: Path) -> Path:
    """Where the scenario of the last pass goes.

    >>> after_path(Path("job/box.toml")).name
    'box-after.toml'
    """
    return scenario.with_name(f"{scenario.stem}-after.toml")


def after_text(scenario: Path, last: PassRecord) -> str:
    """The scenario as the box was read in a pass."""
    tables = toml_file.parse(toml_file.read_text(scenario), str(scenario))
    for table, outlet in zip(tables["outlet"], last.site.outlets, strict=True):
        table.pop("reading", None)
        table.pop("clock", None)
        if outlet.readings:
            table["reading"] = [_height(reading) for reading in outlet.readings]
        if outlet.clock is not None:
            table["clock"] = clock_text(outlet.clock)
    rim = last.site.box.rim
    if "rim" in tables.get("readings", {}):
        tables["readings"].pop("rim")
        if rim is not None and rim > 0:
            tables["readings"]["rim"] = _height(rim)
    if "placeholder" in tables.get("readings", {}) or PLACEHOLDER in tables.get("title", ""):
        tables.setdefault("readings", {})["placeholder"] = False
    head = f"# Written by dbox setup: {scenario.name} as read in pass {last.number}"
    return f"{head}, {last.still_at}.\n\n{toml_text(tables)}"


def _height(metres: float) -> str:
    """A height in inches where that is exact, else in millimetres."""
    text = inches(metres, parts=64)
    exact = abs(units.length(text) - metres) < _EXACT
    return text if exact else f"{round(metres * 1000, 6) + 0.0:g} mm"


_ABREAST = 3
_CELL = 13


def cautions() -> list[str]:
    """What to mind before a lid is opened."""
    return ["MIND:", *(line for each in LONG for line in wrapped(each, first="- ", indent="  "))]


def pass_lines(each: PassRecord) -> list[str]:
    """A pass whose readings are complete: shares, how it stands, what to do."""
    levelling = each.levelling
    if levelling is None or each.conclusion is None:
        return [f"PASS {each.number} is not complete."]
    flows = range(len(levelling.before.names))
    lines = wrapped(f"PASS {each.number}: {_headline(levelling, each.conclusion)}")
    for first in flows[::_ABREAST]:
        lines += ["", *_table(levelling.before, list(flows[first : first + _ABREAST]))]
    lines += _what_now(levelling, each.conclusion)
    return lines + noted((*levelling.warnings, *levelling.before.warnings))


def _headline(levelling: Levelling, conclusion: str) -> str:
    if conclusion == "within":
        return "WITHIN TOLERANCE at every flow."
    if conclusion == "inlet":
        return (
            "THE LIPS ARE WITHIN TOLERANCE, BUT THE JET OF THE INLET DECIDES at "
            f"{levelling.before.jet_flows}."
        )
    if conclusion == "ruler":
        return "YOUR RULER CANNOT TELL THEM APART ANY BETTER."
    if conclusion == "hand":
        return "NOTHING LEFT THAT A HAND CAN SET: every turn is below its step."
    labels, height = levelling.before.labels, inches_mm(levelling.goal.height, signed=True)
    if conclusion == "re-bed":
        missed = ", ".join(labels[i] for i in np.flatnonzero(~levelling.reachable))
        return f"RE-BED the box: no height can be reached by all lips; outlet {missed} cannot."
    goal = f"lips to {height} over this still water"
    if levelling.offset.any():
        goal = f"lowest lip to {height}, the others above it, to meet {levelling.design_flow}"
    return f"ADJUST: turn {len(levelling.order)} of {len(levelling.turn)} inserts, {goal}."


def _table(assessment: Assessment, flows: list[int]) -> list[str]:
    """Shares in per cent with their bands, flows side by side."""
    names = [assessment.names[f].removesuffix(" (default)")[: _CELL - 1] for f in flows]
    lines = [
        f"  {'outlet':<7}{'lip':>17}" + "".join(f"{n:>{_CELL}}" for n in names) + f"{'target':>7}"
    ]
    lines.append(
        f"{'share, its 5-95 % band':<26}"
        + "".join(f"{gpm(float(assessment.result.inflow[f])):>{_CELL}}" for f in flows)
    )
    for i, label in enumerate(assessment.labels):
        lip = float(assessment.lips.height[i])
        name = label if len(label) < 7 else f"{label[:5]}~"
        if not np.isfinite(lip):
            lines.append(f"  {name:<7}{'capped':>17}")
            continue
        cells = "".join(f"{_share(assessment, f, i):>{_CELL}}" for f in flows)
        target = f"{100 * float(assessment.target[i]):.0f} %"
        lines.append(
            f"  {name:<7}{inches(lip, signed=True):>8}{millimetres(lip, signed=True):>9}"
            f"{cells}{target:>7}"
        )
    if assessment.tolerance is None:
        return [*lines, "  no tolerance entered, so no verdict"]
    words = f"all within {100 * assessment.tolerance:.3g} % of it?"
    verdicts = "".join(f"{assessment.verdicts[f]:>{_CELL}}" for f in flows)
    chances = "".join(f"{_chance(float(assessment.within_probability[f])):>{_CELL}}" for f in flows)
    return [*lines, f"  {words:<24}{verdicts}", f"  {'chance of that':<24}{chances}"]


def _share(assessment: Assessment, flow: int, i: int) -> str:
    share, low, high = (
        100 * float(each[flow, i])
        for each in (assessment.result.share, assessment.share_low, assessment.share_high)
    )
    return f"{share:.0f} ({low:.0f}-{high:.0f})"


def _chance(probability: float) -> str:
    if np.isnan(probability):
        return "jet decides"
    if probability < 0.01:
        return "under 1 %"
    return "over 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"


def _what_now(levelling: Levelling, conclusion: str) -> list[str]:
    if conclusion == "adjust":
        return ["", *_turns(levelling), "", *_outlook(levelling)]
    if conclusion == "re-bed":
        lift = levelling.lift
        lines = ["", *lift_lines(lift, levelling.before.labels)] if lift else []
        return lines + unreachable_lines(levelling)
    if conclusion == "within":
        return []
    if conclusion == "inlet":
        return ["", *wrapped(f"No turn cures a jet: {CURE}.")]
    return ["", *_what_would_tell(levelling.before)]


def _turns(levelling: Levelling) -> list[str]:
    lines = ["Turn, in this order (clockwise as seen from inside the box):"]
    lips = levelling.before.lips.height
    for step, i in enumerate(levelling.order, start=1):
        change = float(levelling.lip_after[i] - lips[i])
        way = f"{'raise' if change > 0 else 'lower'} {length_words(change)}"
        text = f"{step}. outlet {levelling.before.labels[i]}: {_turn(levelling, i)}; {way}"
        lines += wrapped(text, first="  ", indent="     ")
        still = inches_mm(float(levelling.still_level[step - 1]), signed=True)
        lines += wrapped(f"still water then, topped up: {still}", first="     ")
    return lines


def _turn(levelling: Levelling, i: int) -> str:
    if np.isnan(levelling.turn[i]):
        return "turn it by the ruler, its clock is not known"
    now, then = (
        clock_text(float(angles[i])) for angles in (levelling.angle_before, levelling.angle_after)
    )
    return f"{now} to {then}, {turn_text(float(levelling.turn[i]))}"


def _outlook(levelling: Levelling) -> list[str]:
    """What the shares would be once turned."""
    after = levelling.after
    uncapped = np.isfinite(after.lips.height)
    flows = []
    for case, name in enumerate(after.names):
        over = 100 * after.over_target[case][uncapped]
        flows.append(
            f"{name.removesuffix(' (default)')} {over.min():.0f} to {over.max():.0f} % "
            f"({after.verdicts[case]})"
        )
    return wrapped(f"Once turned so, each line gets of its own target: {', '.join(flows)}.")


def _what_would_tell(before: Assessment) -> list[str]:
    """Why no more can be told, and what would tell it."""
    lips, told = before.lips, []
    for case, name in enumerate(before.names):
        spread, repeats = before.settling_spread[case], before.settling_repeats[case]
        if before.verdicts[case] == "cannot tell" and np.isfinite(spread):
            text = f"{name.removesuffix(' (default)')}: good to {millimetres(float(spread))}"
            if np.isfinite(repeats):
                text += f", or {repeats:.0f} readings of each outlet"
            else:
                text += ", by a finer rule: more readings with this one will not settle it"
            told += wrapped(text, first="- ", indent="  ")
    good = f"One reading is good to {inches(lips.spread, parts=64)} ({millimetres(lips.spread)})"
    if "outside" in before.verdicts:
        good += (
            ". Some line reads as outside, but among so many lines reading errors alone often "
            "make one read so"
        )
    if not told:
        return wrapped(f"{good}; what is left is smaller than that tells.")
    return [*wrapped(f"{good}. What would tell more:"), *told]


_OUTCOMES = {
    "within": "every flow is within the tolerance",
    "inlet": "the lips are within the tolerance, but the jet of the inlet decides",
    "ruler": "your ruler cannot tell the lips apart any better",
    "hand": "no turn is left that a hand can set",
    "re-bed": "the box must be bedded again",
    STOPPED: "ended while there was still something to turn",
}

_LEFT_TO_DO = (
    "Left to do: lock every insert; note its clock position; photograph the still water with a "
    "rule in view; pour test; show the inspector before it is covered; read again after backfill."
)


def end_lines(record: SetupRecord, file: str) -> list[str]:
    """How a finished job ended and what is left to do."""
    outcome = _OUTCOMES.get(record.outcome or "", "")
    count = len(record.passes)
    words = f"FINISHED after {count} pass{'es' if count > 1 else ''}: {outcome}."
    if record.visit > 1:
        words = f"RE-CHECK of {record.begun_at[:10]}, visit {record.visit}, {words}"
    lines = wrapped(words)
    lines += _heights(record)
    if record.outcome == "re-bed":
        lines += wrapped("Once it is bedded firmly, begin anew with --again.")
    else:
        lines += wrapped(_LEFT_TO_DO)
        lines += wrapped(
            f"For pour and split, which go by the readings of a file: dbox setup {file} "
            "--write-after makes one of the box as last read."
        )
    tolerance = record.site.tolerance
    if tolerance and tolerance.source:
        lines += wrapped(f"Tolerance from: {tolerance.source}")
    lines += ["", *wrapped(f"A re-check of this box: dbox setup {file} --again")]
    if record.visit > 1:
        lines += wrapped(
            f"The records before: dbox sheet {file} --kind setup --visit 1 --out first.pdf"
        )
    return lines


def _heights(record: SetupRecord) -> list[str]:
    """Lips and clock positions of every pass, one line per outlet."""
    lines = ["", "Lips over the still water of each pass, and where the hole stood:"]
    for i, outlet in enumerate(record.site.outlets):
        told = []
        for each in record.passes:
            clock = each.site.outlets[i].clock
            height = np.nan if each.levelling is None else each.levelling.before.lips.height[i]
            lip = millimetres(float(height), signed=True) if np.isfinite(height) else "-"
            told.append(f"{lip} at {'?' if clock is None else clock_text(clock)}")
        text = "capped" if outlet.capped else "; ".join(told)
        lines += wrapped(f"{outlet.label}: {text}", first="  ", indent="    ")
    return [*lines, ""]
