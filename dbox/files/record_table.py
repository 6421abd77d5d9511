"""Which keys has the job's record? The table `[record]`: free text, every key of it optional."""

import datetime
from typing import Annotated

from pydantic import PlainValidator

from dbox.errors import ScenarioError
from dbox.fieldwork.records.job import JobRecord
from dbox.files import measures
from dbox.files.keys import VALUE, VALUES, Flag, Table, key

LONGEST_NOTE = 600
"""Characters of one entry."""

MOST_TIES = 12


def _words(value: object) -> str:
    """Read an entry: text, a whole number, or a date as TOML writes it."""
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) < 10**15:
        return str(value)
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value.isoformat()
    return measures.text(value, LONGEST_NOTE)


def _ties(value: object) -> tuple[str, ...]:
    """Read one tie or a list of them."""
    ties = value if isinstance(value, list) else [value]
    if not 1 <= len(ties) <= MOST_TIES:
        raise ScenarioError(f"is a list of {len(ties)}; write 1 to {MOST_TIES}")
    return tuple(measures.text(tie) for tie in ties)


_Words = Annotated[str | None, PlainValidator(_words), VALUE]


class RecordTable(Table):
    """What the paper of the job says besides its numbers; what is absent is left blank on it."""

    permit: _Words = key("Permit number.", "2026-0417")
    address: _Words = key("Where the job is.", "12 Example Road")
    date: _Words = key("Date of the work.", "2026-05-04")
    weather: _Words = key("Weather of the day and the days before.", "dry, 15 C; rain on Sunday")
    who: _Words = key("Who did the work.", "A. Installer, licence 123")
    system: _Words = key("Type of system.", "gravity trenches, equal split")
    bedrooms: _Words = key("Number of bedrooms.", 4)
    feed: _Words = key("How the box is fed.", "gravity from the tank", "pump, 80 gal a dose")
    bedding: _Words = key("What the box stands on.", "4 in of tamped gravel")
    cover: _Words = key("How deep the box lies.", "10 in")
    riser: _Words = key("Riser over the box.", "to grade, 18 in")
    lid: _Words = key("How the lid is fastened.", "two screws")
    seals: _Words = key("Seals of the pipes in the box.", "rubber, all tight")
    north: _Words = key("Where north lies on the sketch.", "along outlet 3")
    benchmark: _Words = key("What the heights are tied to.", "top of the well casing, 100.00 ft")
    ties: Annotated[tuple[str, ...] | None, PlainValidator(_ties), VALUES] = key(
        "Distances of the box from two fixed points at least.",
        ["SE corner of the house 36 ft", "oak 27 ft"],
    )
    method: _Words = key("How the heights at the box were read.", "steel rule from still water")
    photo: _Words = key("Where the photo of the still water with a rule in view is.", "IMG_0231")
    recheck: _Words = key("When the box is looked at again.", "after backfill, by 2026-06-01")
    notes: _Words = key("What else there is to say.", "soil wet below 40 in")
    exceptions: _Words = key("What departs from the permit or the plan.", "none")
    invented: Flag = key("Whether the data are made up; every sheet then says so.", True)

    def record(self) -> JobRecord:
        """The record, blank where a key is absent."""
        return JobRecord(**{k: v for k, v in self.model_dump().items() if v is not None})
