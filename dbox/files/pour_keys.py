"""Keys of pours of clean water, and how they are typed: from `[[pour]]` to `Pour`s.

[[pour]]
name   = "fast"
volume = "5 gal"            # poured in all
time   = "60 s"             # or flow = "5 gpm"
jug    = "1 qt"             # what is filled at the outlets
order  = ["4", "1"]         # the outlets seen to start, the first one first
[pour.catch]                # by label; an outlet that was not caught is left out
1 = "1.2 L in 30 s"
4 = "14 s"                  # the time in which the jug was full
5 = "dry"                   # watched, and nothing came

As in `assembly`, each check tells its fault and goes on; what was refused is not asked for again.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Annotated, NamedTuple, TypeVar

from pydantic import PlainValidator, WithJsonSchema

from dbox import units
from dbox.errors import ScenarioError, at_place, did_you_mean, key_text, show
from dbox.fieldwork.site import DEFAULT_ERROR, Pour, Site
from dbox.files import scenario_keys
from dbox.files.scenario_keys import TEXT, VALUE, VALUES, Table, key

DRY = "dry"


class WrittenCatch(NamedTuple):
    """A catch as written: a flow [m3/s], or the time that filled the jug [s]."""

    flow: float | None
    fill_time: float | None

    def flow_with(self, jug: float | None) -> float | None:
        """Flow caught [m3/s]; None for a time where the jug's content [m3] is not known."""
        if self.fill_time is None:
            return self.flow
        return None if jug is None else jug / self.fill_time


def read_catch(value: object) -> WrittenCatch:
    """Read what was caught at one outlet.

    >>> read_catch("120 L in 1 min").flow, read_catch("14 s").fill_time, read_catch("dry").flow
    (0.002, 14.0, 0.0)
    """
    if isinstance(value, str) and value.strip().lower() == DRY:
        return WrittenCatch(0.0, None)
    if _is_time(value):
        return WrittenCatch(None, scenario_keys.fill_time(value))
    try:
        return WrittenCatch(units.flow(value), None)
    except ScenarioError as error:
        raise ScenarioError(
            f'{error}; a catch is "1.2 L in 30 s", the time that filled the jug, or "{DRY}"'
        ) from error


def _is_time(value: object) -> bool:
    """Tell whether a value is a time span."""
    try:
        units.duration(value)
    except ScenarioError:
        return False
    return True


def _catches(value: object) -> dict[str, WrittenCatch]:
    """Validate the catches by label, all faults at once."""
    if not isinstance(value, dict):
        raise ScenarioError(
            f'is {show(value)}; write [pour.catch] and under it labels, as 1 = "1.2 L in 30 s"'
        )
    catches, faults = {}, []
    for label, written in value.items():
        try:
            catches[scenario_keys.flow_name(label)] = read_catch(written)
        except ScenarioError as error:
            faults.append(at_place(f".{key_text(label)}", str(error)))
    if faults:
        raise ScenarioError(*faults)
    return catches


def _order(value: object) -> tuple[str, ...]:
    """Validate the outlets in the order in which they started."""
    if not isinstance(value, list) or not value:
        raise ScenarioError(f'is {show(value)}; write a list of labels, as ["4", "1"]')
    return tuple(scenario_keys.flow_name(item) for item in value)


class PourTable(Table):
    """A steady pour of clean water, planned or done."""

    name: Annotated[str | None, PlainValidator(scenario_keys.flow_name), VALUE] = key(
        "What the pour is called; absent: its number in the file.", "fast"
    )
    volume: Annotated[float | None, PlainValidator(scenario_keys.poured), TEXT] = key(
        "How much is poured in all.", "5 gal"
    )
    time: Annotated[float | None, PlainValidator(scenario_keys.pour_time), TEXT] = key(
        "How long the pour lasts.", "60 s"
    )
    flow: Annotated[float | None, PlainValidator(scenario_keys.flow_rate), TEXT] = key(
        "What is poured, where time is not given.", "5 gpm"
    )
    jug: Annotated[float | None, PlainValidator(scenario_keys.jug), TEXT] = key(
        "Content of the jug that is filled at the outlets.", "1 qt"
    )
    error: Annotated[float | None, PlainValidator(scenario_keys.catch_error), TEXT] = key(
        "One standard deviation of a timed catch, in per cent of it; absent: 5 %.", "5 %"
    )
    order: Annotated[tuple[str, ...] | None, PlainValidator(_order), VALUES] = key(
        "Labels of the outlets that were seen to start, the first one first.", ["4", "1", "2"]
    )
    catch: Annotated[
        dict[str, WrittenCatch] | None,
        PlainValidator(_catches),
        WithJsonSchema({"type": "object", "additionalProperties": {"type": "string"}}),
    ] = key(
        'What was caught at each outlet, by label; absent: not measured. "dry" is no water.',
        {"1": "1.2 L in 30 s", "2": "14 s", "3": DRY},
    )


MOST_POURS = 100
_T = TypeVar("_T")


class PourAssembly:
    """The making of the pours of a site, and what stood in the way.

    tables: The tables, without what was refused.
    outlets: Labels of the outlets in their order, each with whether it is capped.
    fault: Takes the text of a fault.
    was_refused: Takes the place of a key, pours counted from 0; says whether it was refused.
    """

    def __init__(
        self,
        tables: Sequence[PourTable],
        outlets: Mapping[str, bool],
        fault: Callable[[str], None],
        was_refused: Callable[..., bool],
    ) -> None:
        self.tables = tables
        self.labels = list(outlets)
        self.capped = list(outlets.values())
        self._fault = fault
        self._was_refused = was_refused

    def pours(self) -> tuple[Pour, ...]:
        """Make the pours; what has a fault is told and left out."""
        if len(self.tables) > MOST_POURS:
            self._fault(f"there are {len(self.tables)} pours; write at most {MOST_POURS}")
            return ()
        self._check_names()
        made = [self._pour(index, table) for index, table in enumerate(self.tables)]
        return tuple(pour for pour in made if pour is not None)

    def _pour(self, index: int, table: PourTable) -> Pour | None:
        inflow = self._inflow(index, table)
        catches = self._caught(index, table)
        order = [self._outlet(f"pour[{index + 1}].order", label) for label in table.order or ()]
        started = tuple(i for i in order if i is not None)
        for outlet in started:
            if self.capped[outlet]:
                label = show(self.labels[outlet])
                self._fault(f"pour[{index + 1}].order names outlet {label}, which is capped")
        if len(set(started)) < len(started):
            self._fault(f"pour[{index + 1}].order names an outlet twice; each starts once")
        if inflow is None:
            return None
        return Pour(
            name=self._name(index),
            inflow=inflow,
            volume=table.volume,
            jug=table.jug,
            error=DEFAULT_ERROR if table.error is None else table.error,
            catches=catches,
            order=started,
        )

    def _name(self, index: int) -> str:
        return self.tables[index].name or str(index + 1)

    def _check_names(self) -> None:
        """Refuse a name that another pour has, whatever its case."""
        first: dict[str, int] = {}
        for index in range(len(self.tables)):
            earlier = first.setdefault(self._name(index).lower(), index)
            if earlier != index:
                self._fault(
                    f"pour[{index + 1}].name is {show(self._name(index))}, which "
                    f"pour[{earlier + 1}] has too; give each its own"
                )

    def _inflow(self, index: int, table: PourTable) -> float | None:
        """Inflow of a pour; None where it is not told. [m3/s]"""
        place = f"pour[{index + 1}]"
        if table.flow is not None:
            if table.time is not None:
                self._fault(f"{place} has flow and time; keep one of them, volume may stay")
            return table.flow
        if any(self._was_refused("pour", index, name) for name in ("volume", "time", "flow")):
            return None
        if table.volume is None or table.time is None:
            self._fault(f'{place} has no flow; add volume = "5 gal" and time = "60 s", or flow')
            return None
        inflow = table.volume / table.time
        if not scenario_keys.SMALLEST_FLOW <= inflow <= 1.0:
            self._fault(
                f"{place}: volume over time is a flow of {60e3 * inflow:.3g} L/min, which no one "
                "pours; check both and their units"
            )
        return inflow

    def _caught(self, index: int, table: PourTable) -> tuple[float | None, ...]:
        """Flow caught at each outlet, empty before the pour. [m3/s]"""
        catches: list[float | None] = [None] * len(self.labels)
        for label, written in (table.catch or {}).items():
            place = f"pour[{index + 1}].catch.{key_text(label)}"
            outlet = self._outlet(place, label)
            if outlet is None:
                continue
            if self.capped[outlet]:
                self._fault(f"{place} is a catch at a capped outlet; leave one of the two out")
            if catches[outlet] is not None:
                self._fault(f"{place} is there twice, in other letters; keep one of them")
            catches[outlet] = written.flow_with(table.jug)
            if catches[outlet] is None and not self._was_refused("pour", index, "jug"):
                self._fault(
                    f'{place} is a time without a volume; add jug = "1 qt" to the pour, or '
                    'write "1.2 L in 30 s"'
                )
        return tuple(catches) if table.catch else ()

    def _outlet(self, place: str, label: str) -> int | None:
        """Index of an outlet; None where there is none of this label."""
        known = [name.lower() for name in self.labels]
        if label.lower() in known:
            return known.index(label.lower())
        self._fault(
            f"{place}: there is no outlet {show(label)}; {did_you_mean(label, self.labels)}"
        )
        return None


def with_typed_pours(
    site: Site, flows: Sequence[str], jug: str | None = None, error: str | None = None
) -> Site:
    """Give a site the pours that a command line asks for."""
    faults: list[str] = []
    typed = [_typed(faults, "--flow", word, _typed_pour) for word in flows]
    holds = _typed(faults, "--jug", jug, scenario_keys.jug)
    spread = _typed(faults, "--error", error, scenario_keys.catch_error)
    if faults:
        raise ScenarioError(*faults)
    pours = tuple(pour for pour in typed if pour is not None) or site.pours
    pours = pours or tuple(Pour(name=f.name, inflow=f.inflow) for f in site.flows)
    if holds is not None:
        pours = tuple(replace(pour, jug=holds) for pour in pours)
    if spread is not None:
        pours = tuple(replace(pour, error=spread) for pour in pours)
    return replace(site, pours=pours)


def _typed_pour(word: str) -> Pour:
    """A pour named by what was typed; `5 gal in 60 s` tells its volume too."""
    inflow = scenario_keys.flow_rate(word)
    volume, given, _ = word.rpartition(" in ")
    return Pour(name=word, inflow=inflow, volume=scenario_keys.poured(volume) if given else None)


def _typed(
    faults: list[str], option: str, word: str | None, read: Callable[[str], _T]
) -> _T | None:
    """What was read, or None with its fault kept."""
    try:
        return None if word is None else read(word)
    except ScenarioError as error:
        faults.append(f"{option} {error}")
        return None
