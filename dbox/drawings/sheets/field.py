"""What does a person take to the box? A form to be filled in by hand, with this insert's turns."""

from matplotlib.figure import Figure

from dbox.drawings.sheets.page import Pages
from dbox.drawings.sheets.parts import (
    box_entries,
    cautions,
    length_text,
    opening_text,
    outlet_text,
    plan,
    signatures,
    turn_table,
)
from dbox.drawings.sheets.pour import pour_part
from dbox.drawings.sheets.table import BY_HAND, Column, entries, table
from dbox.drawings.style import pens
from dbox.fieldwork.levelling.turn_table import TurnTable
from dbox.fieldwork.site import Site
from dbox.files.notation import clock_text, feet

_STEPS = (
    "Bed the box firmly and level it both ways. Backfill partly: backfilling moves it.",
    "Fill with clean water till it just spills. Stop, and wait until nothing moves: the water then "
    "stands at the lowest open lip.",
    "At every outlet read from the water to the same point of the hole: + above the water, - below "
    "it. Go round twice. What was not read stays empty; never write 0 for it.",
    "Turn the inserts. The water moves as soon as the lowest lip does, so top up, wait and read "
    "all of them again.",
    "Pour slowly and steadily: note which outlet starts first, then catch and time each.",
    "Lock, note the clock positions, photograph the still water with a rule in view.",
    "Read again after the backfill and before it is covered.",
)
_PASSES = 3
_BLANK_STATIONS = 12


@pens
def field_sheet(
    site: Site, turning: tuple[TurnTable, ...], paper: str = "letter"
) -> tuple[Figure, ...]:
    """Draw the field form.

    Parameters
    ----------
    site : Site
        The box; its readings are not printed.
    turning : tuple of TurnTable
        One for each kind of insert.
    paper : str
        `letter` or `a4`.

    Returns
    -------
    tuple of Figure
        The pages.
    """
    pages = Pages("Field form", site, paper)
    record = site.record
    entries(
        pages,
        [("Permit", record.permit), ("Date", record.date), ("Address", record.address),
         ("Weather", record.weather), ("Done by", record.who), ("Feed", record.feed)],
    )  # fmt: skip
    cautions(pages)
    pages.heading("The box", keep=3.4)
    plan(pages)
    entries(pages, [*box_entries(site), ("Rule good to", "")])
    pages.heading("In this order")
    for number, step in enumerate(_STEPS, start=1):
        pages.paragraph(step, mark=f"{number}.")
    _readings(pages)
    for each in turning:
        turn_table(pages, each)
    if not turning:
        pages.heading("Turn table", keep=0.4)
        pages.paragraph("No hole offset is entered: these inserts cannot be turned.")
    pour_part(pages, None)
    _stations(pages)
    pages.heading("Notes and exceptions", keep=1.7)
    pages.blank_lines(5)
    signatures(pages, ("Done by",))
    return pages.finished()


def _readings(pages: Pages) -> None:
    """A table to write into for each pass."""
    outlets = pages.site.outlets
    rows = [
        [outlet_text(i, o, whole=True), opening_text(o.opening), length_text(o),
         "capped" if o.capped else "open", "" if o.clock is None else clock_text(o.clock), ""]
        for i, o in enumerate(outlets, start=1)
    ]  # fmt: skip
    columns = [
        Column("outlet", 1.3),
        Column("hole", 2.0),
        Column("line", 0.9),
        Column("state", 0.9),
        Column("clock on file", 1.1),
        Column("clock now", 1.1),
    ]
    table(pages, columns, rows, title="The outlets", least_height=BY_HAND)
    heads = [
        Column(f"pass {number}\n{what}", 1.0)
        for number in range(1, _PASSES + 1)
        for what in ("1st", "2nd", "set to")
    ]
    title = "Height over still water, + above it, - below it; clock it was set to"
    names = [
        [outlet_text(i, o), *[""] * len(heads)]
        for i, o in enumerate(outlets, start=1)
        if not o.capped
    ]
    columns = [Column("outlet", 1.15), *heads]
    table(pages, columns, names, title=title, least_height=BY_HAND + 0.04)


def _stations(pages: Pages) -> None:
    """A table for rod readings: the stations on file, or blank rows."""
    title = "Rod readings of the inverts (greater = lower)"
    survey = pages.site.grades
    rows = [
        [run.name, feet(station.at), station.name, "", ""]
        for run in (survey.runs if survey else ())
        for station in run.stations
    ] or [["", "", "", "", ""]] * _BLANK_STATIONS
    columns = [Column("run", 1.6), Column("at", 0.9), Column("what stands there", 1.8),
               Column("rod", 1.4), Column("rod again", 1.4)]  # fmt: skip
    table(pages, columns, rows, title=title, least_height=BY_HAND)
