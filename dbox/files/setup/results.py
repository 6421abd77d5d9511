"""How is a set-up written for machines, and for the other commands?

The scenario itself is left as it was. Other commands see the last pass through a scenario of its
own, made from the first by putting in the readings, the clock positions and the rim of that pass.
"""

from pathlib import Path
from typing import Any

from dbox.fieldwork.setup.record import PassRecord, SetupRecord
from dbox.files import document, units
from dbox.files.assembly import PLACEHOLDER
from dbox.files.notation import clock_text, inches
from dbox.files.results import level_json, split_json
from dbox.files.writer import toml_text

Json = dict[str, Any]

_EXACT = 1e-9


def setup_json(record: SetupRecord | None) -> Json:
    """The answer of `dbox setup --json`.

    Parameters
    ----------
    record : SetupRecord or None
        The job as it stands; None while its scenario is still being asked for.

    Returns
    -------
    dict
        `title`, `visit`, `visits`, `begun_at`, `finished`, `outcome`, `asks`, `passes` and
        `tolerance`; SI, the unit in the key.
    """
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
    """The scenario as the box was read in a pass.

    Parameters
    ----------
    scenario : Path
        The scenario that the job began from.
    last : PassRecord
        The pass.

    Returns
    -------
    str
        TOML with every key of the first but for readings, clock positions and rim; the readings are
        no placeholders any more.

    Raises
    ------
    ScenarioError
        Where the scenario cannot be read.
    """
    tables = document.parse(document.read_text(scenario), str(scenario))
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
