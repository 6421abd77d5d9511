"""The sheet to inspect by, and the page with what was seen and what it points to.

The words to tick are those of `fieldwork.evidence`, so that what is ticked here can be
typed into a scenario as it stands.

Where a great deal was seen it goes on to a second page rather than into smaller letters.
"""

from collections.abc import Mapping, Sequence

from matplotlib.figure import Figure

from dbox.drawings.paper import BOX, BY_HAND, Pages, entries, set_blocks, table
from dbox.drawings.paper_parts import (
    box_entries,
    length_text,
    outlet_texts,
    plan,
    record_entries,
    signatures,
    signing_room,
)
from dbox.drawings.style import pens
from dbox.fieldwork.diagnosis.diagnose import Diagnosis
from dbox.fieldwork.evidence import OUTLET_WORDS, PLACES, WORDED, WORDS
from dbox.fieldwork.site import Site
from dbox.files.evidence_words import seen_lines
from dbox.report.blocks import Column, columns
from dbox.report.cautions import LONG, RANKED
from dbox.report.diagnose_report import diagnosis_blocks
from dbox.report.text import TOGETHER

_ORDER = (
    "Read the papers and ask: what kind of system, which lines, what was changed. One wet line may "
    "be as designed: serial, drop box, alternating, or a line capped to rest.",
    "Walk the field: wet, lush or soft ground, ruts, and where along each line.",
    "Tank: level against the outlet, tee or filter, when last pumped.",
    "Ports of every line, before any water is run.",
    "Wait for rest: no laundry, dose or pumping for half an hour at least. Open the box, take a "
    "photo, and note the water against every lip, the mouths and the stains.",
    "Read every lip from the still water, and the tilt of the rim both ways.",
    "Bail below all lips and watch each pipe for 10 to 30 min: what runs back, and does it stop?",
    "Pour slowly, then fast, never into a line that surfaces: who starts first, who takes what.",
    "Rod each header: how far, and how it feels.",
    "Dig last.",
)
"""Cheapest first; common practice, no source."""

_HOUSE = ("system", "feed", "season", "rain", "meter", "inflow", "tank_level", "tank_outlet")
"""What is asked or looked at before the box is opened."""

_ELSEWHERE = ("port", "mouth", "cap", "drain_back", "wiped", "rod", "traffic")
"""Observations of an outlet that have their place in other tables."""


_NOTES = 1.6
"""Height of a page that is left over, from which it is given to notes. [in] (judgement)"""


def _named(key: str) -> str:
    kind = WORDED[key]
    return kind.form or (key if kind.of_outlet else key.replace("_", " ").capitalize())


@pens
def inspection_sheet(site: Site, paper: str = "letter") -> tuple[Figure, ...]:
    """Draw the sheet of a troubleshooter."""
    pages = Pages("Inspection", site, paper)
    (address, permit, bedrooms, system, feed) = record_entries(
        site.record, "address", "permit", "bedrooms", "system", "feed"
    )
    pairs = [address, ("Date", ""), permit, ("Looked at by", ""), bedrooms, ("People", ""),
             ("System on file", system[1]), ("Feed on file", feed[1]), ("Last pumped", ""),
             ("Water last used", "")]  # fmt: skip
    entries(pages, pairs)
    pages.framed(LONG)
    pages.heading("Order of looking, cheapest first")
    for number, step in enumerate(_ORDER, start=1):
        pages.paragraph(step, mark=f"{BOX} {number}.")
    _choices(pages, "Papers, house and tank", _HOUSE)
    pages.heading("The box", keep=3.4)
    plan(pages)
    entries(pages, box_entries(site))
    title = "Ports and ground, before any water is run"
    rows = [
        [name, length_text(o, site.lengths),
         ticks(OUTLET_WORDS["port"]), "", ticks(("walked, dry", *PLACES)),
         ticks(OUTLET_WORDS["traffic"])]
        for name, o in zip(outlet_texts(site, whole=True), site.outlets, strict=True)
    ]  # fmt: skip
    heads = columns({"line": 0.75, "length": 0.7, "water in the port": 1.7,
                     "over the\npipe bottom": 1.15, "wet ground": 2.25, "ruts": 0.75})  # fmt: skip
    table(pages, heads, rows, title=title, least_height=BY_HAND)
    _at_rest(pages)
    _moving(pages)
    pages.heading("Causes thought likely, and the next look", keep=2.3)
    pages.paragraph(
        "Several causes often come together, and no one sign proves any. Write what speaks for and "
        "against each, and the cheapest look that would tell the leading two apart."
    )
    who = ("Looked at by", "Owner")
    pages.lines_to_end(5, signing_room(who) + 0.4)
    signatures(
        pages,
        who,
        "Signed for what was seen and is ticked or written on these pages; what caused it is a "
        "judgement.",
    )
    return pages.finished()


def ticks(words: Sequence[str]) -> str:
    """Words to tick, each with an empty box before it."""
    held = (f"{BOX} {word}  ".replace(" ", TOGETHER) for word in words)
    return " ".join(held)


def _choices(pages: Pages, title: str, keys: Sequence[str]) -> None:
    """A row of words to tick for each observation of the whole system."""
    rows = [[_named(key), ticks(WORDS[key])] for key in keys]
    heads = columns({"look at": 1.75, "tick what is so; nothing = not looked at": 5.7})
    table(pages, heads, rows, title=title, least_height=0.28)


def _by_outlet(pages: Pages, title: str, asked: Mapping[str, tuple[float, str]]) -> None:
    """A row for every outlet with the same blanks and boxes in each: by head, width and cell."""
    heads = columns({head: width for head, (width, _) in asked.items()})
    cells = [cell for _, cell in asked.values()]
    rows = [[name, *cells] for name in outlet_texts(pages.site)]
    first = Column("outlet", 0.12 * sum(column.width for column in heads))
    table(pages, [first, *heads], rows, title=title, least_height=BY_HAND)


def _at_rest(pages: Pages) -> None:
    """The box while nothing runs."""
    at_box = [key for key in WORDS if key not in _HOUSE]
    _choices(pages, "The box, opened at rest", at_box)
    blanks = ("Rim tilt, along", "Rim tilt, across", "Rule good to", "Photo")
    entries(pages, [(blank, "") for blank in blanks])
    _by_outlet(pages, "Every outlet as found: its lip over the water, + above it", {
        "lip over\nwater": (1.2, ""),
        "mouth": (2.6, ticks(OUTLET_WORDS["mouth"])),
        "cap": (2.2, ticks(OUTLET_WORDS["cap"])),
    })  # fmt: skip
    close = {_named(key): ticks(OUTLET_WORDS[key])
             for key in OUTLET_WORDS if key not in _ELSEWHERE}  # fmt: skip
    asked = {name: (float(len(cell)), cell) for name, cell in close.items()}
    readings = {"lip over\nwater": (14.0, ""), "read\nagain": (12.0, "")}
    title = "Filled until it just spills, then still: lips and holes"
    _by_outlet(pages, title, readings | asked)


def _moving(pages: Pages) -> None:
    """The box with water running, and the headers rodded."""
    pages.heading("Bailed, then poured with clean water", keep=2.4)
    poured = [(f"{pace}, poured", "in seconds", "jug holds") for pace in ("Slow", "Fast")]
    entries(pages, [(blank, "") for blanks in poured for blank in blanks], columns=3)
    pour = ("order", "caught", "in\nseconds")
    _by_outlet(pages, "", {
        "runs back in 30 min\n(small = it stops)": (1.9, ticks(OUTLET_WORDS["drain_back"])),
        **{f"{pace}:\n{blank}" if "\n" not in blank else f"{pace}: {blank}": (0.75, "")
           for pace in ("slow", "fast") for blank in pour},
    })  # fmt: skip
    _by_outlet(pages, "Headers rodded, lips wiped", {
        "rod stopped\nat": (1.1, ""),
        "it felt": (3.1, ticks(OUTLET_WORDS["rod"])),
        "lip wiped": (1.8, ticks(OUTLET_WORDS["wiped"])),
    })  # fmt: skip


@pens
def findings_sheet(found: Diagnosis, paper: str = "letter") -> tuple[Figure, ...]:
    """Draw an inspection that is filled in."""
    pages = Pages("Inspection, filled in", found.site, paper)
    address, date, permit, who = record_entries(
        found.site.record, "address", "date", "permit", "who"
    )
    entries(pages, [address, date, permit, ("Looked at by", who[1])])
    pages.framed([RANKED])
    pages.heading("What was seen; what is not named was not looked at")
    pages.paragraph("; ".join(seen_lines(found.site)) or "nothing yet")
    pages.skip(0.1)
    set_blocks(pages, diagnosis_blocks(found))
    # a page begun for the signature has room for notes
    pages.need(0.5)
    if pages.top - pages.sheet.bottom > _NOTES:
        pages.heading("Notes")
        pages.lines_to_end(2, 0.5)
    entries(pages, [("Signature", ""), ("Licence or title", "")], least_height=0.4)
    return pages.finished()
