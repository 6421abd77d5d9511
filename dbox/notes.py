"""A warning as a record: what is to be known, where, and the values it rests on.

Hydraulics and fieldwork make notes and no sentences; `dbox.report.wording` words them for people.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any


@dataclass(frozen=True, kw_only=True)
class Note:
    """One thing to be known of a result."""

    what: str  # A key of `dbox.report.wording.WORDS`.
    where: str = ""  # The outlet, flow or pipe that it is about; empty: all of it.
    # Numbers in SI, texts, and tuples of either.
    values: Mapping[str, Any] = field(default_factory=dict)

    def __getitem__(self, key: str) -> Any:
        return self.values[key]

    def under(self, name: str) -> "Note":
        """The same note of one thing among several, by its name."""
        return replace(self, where=f"{name}: {self.where}" if self.where else name)
