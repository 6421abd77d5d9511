"""Which pours does a scenario, or a command line, plan or report? From their words to `Pour`s.

As in `assembly`, each check tells its fault and goes on; what was refused is not asked for again.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

from dbox.errors import ScenarioError
from dbox.fieldwork.records.poured import DEFAULT_ERROR, Pour
from dbox.fieldwork.site import Site
from dbox.files import measures
from dbox.files.faults import did_you_mean, key_text, show
from dbox.files.pour.table import PourTable

MOST_POURS = 100
_T = TypeVar("_T")


class PourAssembly:
    """The making of the pours of a site, and what stood in the way.

    Parameters
    ----------
    tables : sequence of PourTable
        The tables, without what was refused.
    outlets : mapping of str to bool
        Labels of the outlets in their order, each with whether it is capped.
    fault : callable
        Takes the text of a fault.
    was_refused : callable
        Takes the place of a key, pours counted from 0; says whether it was refused.
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
        if not measures.SMALLEST_FLOW <= inflow <= 1.0:
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
    """Give a site the pours that a command line asks for.

    Parameters
    ----------
    site : Site
        The box.
    flows : sequence of str
        Pours to plan, as `5 gal in 60 s`; none: the site's own, else its flows.
    jug, error : str, optional
        Content of the jug and error of a timed catch, for every pour.

    Returns
    -------
    Site
        With at least one pour.

    Raises
    ------
    ScenarioError
        With every word that cannot be read, each named by its option.
    """
    faults: list[str] = []
    typed = [_typed(faults, "--flow", word, _typed_pour) for word in flows]
    holds = _typed(faults, "--jug", jug, measures.jug)
    spread = _typed(faults, "--error", error, measures.catch_error)
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
    inflow = measures.inflow(word)
    volume, given, _ = word.rpartition(" in ")
    return Pour(name=word, inflow=inflow, volume=measures.poured(volume) if given else None)


def _typed(
    faults: list[str], option: str, word: str | None, read: Callable[[str], _T]
) -> _T | None:
    """What was read, or None with its fault kept."""
    try:
        return None if word is None else read(word)
    except ScenarioError as error:
        faults.append(f"{option} {error}")
        return None
