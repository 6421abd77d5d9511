"""What a person may well type and hardly mean: doubted by name, and computed with all the same."""

import datetime
import re
from collections.abc import Iterator

from dbox.fieldwork.site import Outlet, Site
from dbox.notes import Note

WIDEST_SPREAD = 0.0127
"""One reading by any rule is good to less. [m] (judgement: 1/2 in)"""

FARTHEST_OFF = 0.1
"""How far inside the wall an opening may stand, in an insert. [m] (judgement)"""

USUAL_PIPE = 0.102
"""Inside of the outlet pipe that an insert turns in. [m] (4 in: common practice, no source)"""


def odd_notes(site: Site) -> Iterator[Note]:
    """Whatever of a site is possible and can hardly be meant."""
    if site.spread is not None and site.spread > WIDEST_SPREAD:
        yield Note(what="odd: spread", values={"spread": site.spread})
    drop = site.box.inlet_drop
    if drop is not None and drop < 0:
        yield Note(what="odd: inlet", values={"under": -drop})
    date = site.record.date
    if date and not _may_be_a_date(date):
        yield Note(what="odd: date", values={"date": date})
    for outlet in site.outlets:
        for note in _of_outlet(site, outlet):
            yield note.under(f"outlet {outlet.label}")


def _may_be_a_date(text: str) -> bool:
    """Whether it has a number in it and, where it is written as ISO 8601 does, is in the year."""
    if not re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        return any(letter.isdigit() for letter in text)
    try:
        datetime.date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _of_outlet(site: Site, outlet: Outlet) -> Iterator[Note]:
    rim, hole = site.box.rim, outlet.opening
    if rim is not None and outlet.readings and not outlet.capped:
        lip = sum(outlet.readings) / len(outlet.readings) - outlet.point_over_lip
        if lip >= rim:
            yield Note(what="odd: lip", values={"lip": lip, "rim": rim})
    wide = float(getattr(hole, "diameter", getattr(hole, "width", 0.0)))
    off = outlet.hole_offset or 0.0
    if off and USUAL_PIPE / 2 < wide / 2 + off < float("inf"):
        yield Note(what="odd: offset", values={"pipe": wide + 2 * off, "usual": USUAL_PIPE})
    inside, at = site.box.inside, outlet.position
    if inside and wide > min(inside):
        yield Note(what="odd: hole", values={"wide": wide, "wall": min(inside)})
    if inside and at is not None:
        if site.box.shape == "round":
            radius = inside[0] / 2
            far = radius - ((at[0] - radius) ** 2 + (at[1] - radius) ** 2) ** 0.5
        else:
            far = min(at[0], inside[0] - at[0], at[1], inside[-1] - at[1])
        if far > FARTHEST_OFF:
            yield Note(what="odd: place", values={"far": far})
