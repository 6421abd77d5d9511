"""A warning as a record: what is to be known, where, and the values it rests on.

Hydraulics and fieldwork make notes and no sentences; `dbox.report.wording` words them for people.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class Note:
    """One thing to be known of a result."""

    what: str  # A key of `dbox.report.wording.WORDS`.
    where: str = ""  # The outlet, flow or pipe that it is about; empty: all of it.
    values: Mapping[str, float | str | tuple[float, ...] | tuple[str, ...]] = field(
        default_factory=dict
    )  # In SI.
