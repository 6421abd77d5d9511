"""How is a pour of clean water written in a scenario? The table `[[pour]]`.

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
"""

from typing import Annotated, NamedTuple

from pydantic import PlainValidator, WithJsonSchema

from dbox.errors import ScenarioError
from dbox.files import measures, units
from dbox.files.faults import at_place, key_text, show
from dbox.files.keys import TEXT, VALUE, VALUES, Table, key

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

    Parameters
    ----------
    value : object
        `1.2 L in 30 s`, `0.6 gpm`, `14 s` for a jug, or `dry`.

    Raises
    ------
    ScenarioError
        Where it is none of these; the message begins with `is`.

    >>> read_catch("120 L in 1 min").flow, read_catch("14 s").fill_time, read_catch("dry").flow
    (0.002, 14.0, 0.0)
    """
    if isinstance(value, str) and value.strip().lower() == DRY:
        return WrittenCatch(0.0, None)
    if _is_time(value):
        return WrittenCatch(None, measures.fill_time(value))
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
            catches[measures.name(label)] = read_catch(written)
        except ScenarioError as error:
            faults.append(at_place(f".{key_text(label)}", str(error)))
    if faults:
        raise ScenarioError(*faults)
    return catches


def _order(value: object) -> tuple[str, ...]:
    """Validate the outlets in the order in which they started."""
    if not isinstance(value, list) or not value:
        raise ScenarioError(f'is {show(value)}; write a list of labels, as ["4", "1"]')
    return tuple(measures.name(item) for item in value)


class PourTable(Table):
    """A steady pour of clean water, planned or done."""

    name: Annotated[str | None, PlainValidator(measures.name), VALUE] = key(
        "What the pour is called; absent: its number in the file.", "fast"
    )
    volume: Annotated[float | None, PlainValidator(measures.poured), TEXT] = key(
        "How much is poured in all.", "5 gal"
    )
    time: Annotated[float | None, PlainValidator(measures.pour_time), TEXT] = key(
        "How long the pour lasts.", "60 s"
    )
    flow: Annotated[float | None, PlainValidator(measures.inflow), TEXT] = key(
        "What is poured, where time is not given.", "5 gpm"
    )
    jug: Annotated[float | None, PlainValidator(measures.jug), TEXT] = key(
        "Content of the jug that is filled at the outlets.", "1 qt"
    )
    error: Annotated[float | None, PlainValidator(measures.catch_error), TEXT] = key(
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
