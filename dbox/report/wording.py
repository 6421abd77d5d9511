"""Notes in words: each warning is worded once, here, for terminal, paper and JSON alike."""

from collections.abc import Callable, Iterable
from math import pi
from string import Formatter
from typing import Any

from dbox.errors import outlets_text
from dbox.fieldwork.inlet import CURE, LOOK
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from dbox.notes import Note
from dbox.units import FOOT, LITRE, MINUTE

PLANNED = "PLANNED, NOTHING MEASURED: every lip is taken to stand level."
"""What every answer says first while no outlet is read."""

_UNITS = {
    "mm": 1e3,
    "ft": 1 / FOOT,
    "%": 100.0,
    "deg": 180.0 / pi,
    "L": 1.0 / LITRE,
    "L/s": 1.0 / LITRE,
    "L/min": MINUTE / LITRE,
}


class _Words(Formatter):
    """Values in people's units, and tuples with commas."""

    def format_field(self, value: Any, format_spec: str) -> str:
        form, _, unit = format_spec.partition(" ")
        if isinstance(value, tuple):
            return outlets_text(value) if form == "outlets" else ", ".join(value)
        if not unit:
            return format(value, form)
        number = format(value * _UNITS[unit.removesuffix("/")], form)
        if "e+" in number:
            number = f"{float(number):,.0f}"
        return number if unit.endswith("/") else f"{number} {unit}"


def _say(note: Note, text: str) -> str:
    said = _Words().vformat(text, (), note.values).replace(" (default)", "")
    where = note.where.removesuffix(" (default)")
    return f"{where}: {said}" if where else said


def _jet(note: Note) -> str:
    at = "at {inflow:.3g L/min} " if note.what == "jet: strikes" else ""
    return _say(
        note,
        f"{at}the jet of the straight inlet adds {{head:.0f mm}} of head at {{which}}, which gets "
        "about {share:.0f %} with it and {without:.0f %} without",
    )


def _heads(note: Note) -> str:
    wide = note["high"] - note["low"] >= 5e-5
    span = "{low:.1f mm/} to {high:.1f mm}" if wide else "{low:.1f mm}"
    return _say(note, f"heads of {span} (all lips level: {{level:.1f mm}})")


def _late(note: Note) -> str:
    jugs = " and filling the jug at one outlet after another {filling:.0f} s"
    return _say(
        note,
        "the pour lasts {lasts:.0f} s, the level takes about {settling:.0f} s to be steady"
        f"{jugs if note['filling'] else ''}; pour longer, or catch at several at once",
    )


def _one_flow_only(note: Note) -> str:
    def missed(key: str) -> str:
        each = zip(note["names"], note[key], strict=True)
        return ", ".join(f"{name} {100 * miss:.0f} %" for name, miss in each)

    how = f"at one flow only ({note['flow']})" if note["flow"] else "as nearly as all flows allow"
    words = f"unequal lips meet the targets {how}; worst line off its target: {missed('misses')}"
    if note["weak"] == note["strong"]:
        return words
    return (
        f"{words}. To meet {note['weak']} alone would give {missed('weak_misses')}; to meet "
        f"{note['strong']} alone {missed('strong_misses')}"
    )


WORDS: dict[str, str | Callable[[Note], str]] = {
    "diagnose: few boxes": "few of the drawn boxes fit: the probabilities are rough; take more "
    "--draws",
    "diagnose: held back": "outlet {outlet} gets {share:.0f %} of an ordinary day, or "
    "{low:.0f %/} to {high:.0f %} while dry lips hold water back",
    "diagnose: placeholders": "the readings of the file are placeholders: they are not used",
    "diagnose: places": "places of outlets are not all given: they are taken to lie evenly around "
    "the box, clockwise from the inlet",
    "diagnose: spilt": "pour {pour}: {part:.0f %} of what was poured was caught; a "
    "volume or a time is wrong",
    "grades: entered drop": "the box's inlet drop is entered as {entered:.0f mm}; by the rod it is "
    "{read:.0f mm} over outlet {outlet}",
    "grades: level not stated": "no error of the level or of a block is stated: the level is taken "
    "to err by 0.5 mm per m, the same way at each place (common practice), one block with its "
    "bubble by 1/32 in (judgement)",
    "grades: no diameter": "no pipe diameter, so whether it is flatter than critical is not known",
    "grades: no spread": "no spread stated: one rod reading is taken to be good to {spread:.1f mm} "
    "(1/8 in, common practice)",
    "grades: no trench tolerance": "no limit is entered for how far a trench bottom may be out of "
    "level, so none is called flat; enter limits.trench with its source",
    "grades: runs full": "{flow} is more than it carries with a free surface; it runs full",
    "grades: stations far apart": "stations farther apart than about {spacing:.3g ft} ({source}); "
    "a belly between them is not seen",
    "header: fall not known": "a bare pipe end, its header taken to fall {fall:.1f %} (1/8 in per "
    "ft, common practice); enter header_fall",
    "header: too flat": "its header falls {fall:.2g %}, flatter than critical at {flows}",
    "jet: counts": _jet,
    "jet: cure": CURE,
    "jet: inlet not known": "how the inlet ends is not given: a straight one would decide at "
    "{flows} ({which} then gets about {share:.0f %} at {at}, not {without:.0f %}); "
    f"{LOOK}",
    "jet: main not known": "the pump's main_diameter is not given: the jet of the inlet is that "
    "of a 2 in pipe (common practice)",
    "jet: places not known": "where the outlets stand in the box is not given, so any of them may "
    "stand in the jet: shares are without it, their bands take it in; enter the box's inside and "
    "each outlet's at",
    "jet: strikes": _jet,
    "jet: supply not known": "[supply] is not given: the jet of the inlet is that of a 4 in pipe "
    "at 1/8 in per ft (common practice)",
    "jet: two pipes": "[supply] and [pump] are both given, so the jet may be that of either pipe; "
    "the bands take in both: leave out the one that does not feed the box",
    "lesson: heads out of range": "many of these heads lie outside those at which the coefficients "
    "were measured, and below 5 mm surface tension decides: take the order of the openings, not "
    "the last digit",
    "level: clock not known": "the clock position of the hole is not given, so its turn is "
    "unknown; turn it until the rule shows the lip at its height",
    "level: finer than a hand": "the lips differ by less than one step of a hand turns them",
    "level: goes no higher": "it did not come up to where it was turned: that is taken as its "
    "highest now. Is it stuck, or at the end of its travel?",
    "level: goes no lower": "it did not come down to where it was turned: that is taken as its "
    "lowest now. Is it stuck, or at the end of its travel?",
    "level: highest out of reach": "the highest lip asks for {highest:+.1f mm}, which "
    "{outlets:outlets} cannot reach; the goal taken is {taken:+.1f mm}, the highest that all can "
    "reach",
    "level: offset not known": "how far the holes are off their pipes is not known: turn by the "
    "rule, and say where the hole stood before and after, which tells it; or turn one insert right "
    "round: half of what its lip moves is the offset",
    "level: one flow only": _one_flow_only,
    "level: places not known": "positions of three outlets are needed to tell which side to lift",
    "level: slipped": "it does not stand where it was left: did the insert slip, or is it stuck? "
    "Its clock is not trusted any more: look at it, and turn it by the rule",
    "odd: date": 'record.date is "{date}", which is no day; write it as 2026-05-04',
    "odd: hole": "its opening is {wide:.0f mm} wide, more than the {wall:.0f mm} of a wall of the "
    "box; measure both again",
    "odd: inlet": "the inlet lies {under:.0f mm} under the outlets, so water stands in its pipe; "
    "look again at inlet_drop, which is + where the inlet is higher",
    "odd: lip": "its lip reads {lip:.0f mm} over still water and the rim {rim:.0f mm}: water "
    "leaves over the rim before this line runs; read both again",
    "odd: offset": "hole and offset need a pipe of {pipe:.0f mm}, and a usual one has "
    "{usual:.0f mm}; measure diameter and offset again",
    "odd: place": "it stands {far:.0f mm} from the nearest wall, in the midst of the box; measure "
    "at again, from the left corner of the inlet's wall",
    "odd: spread": "one reading is said to be good to {spread:.0f mm} only, and a rule is good to "
    "1 or 2 mm; is that the spread of one reading?",
    "opening: notch angle": "a notch of {angle:.0f deg} is outside the {low:.0f deg/} to "
    "{high:.0f deg} that its coefficient was measured at",
    "opening: slot width": "a slot {width:.0f mm} wide is narrower than the {least:.0f mm} that "
    "its coefficient was measured down to",
    "plan: fall not given": "no header_fall is given for {outlets:outlets}: {fall:.1f %} is taken "
    "(1/8 in per ft, common practice)",
    "plan: no header": "[header] is not given: ends of headers and trench bottoms are planned only "
    "where the plan gives the bottom",
    "plan: no trench": "[trench] is not given: no trench bottom is planned",
    "plan: nothing measured": "planned, nothing measured: every lip is taken to stand level",
    "pour: held back": "nothing came at {outlets:outlets}, over whose lip up to {over:.1f mm} of "
    "water should stand; a dry lip may hold so much back: wet the lip and pour again",
    "pour: order": "outlet {started} started before outlet {waited}, though its lip was read "
    "{rise:.1f mm} higher; read both again",
    "pour: order by dry lip": "outlet {started} started before outlet {waited}, though its lip was "
    "read {rise:.1f mm} higher; a dry lip may hold back up to {most:.0f mm}: wet every lip and "
    "pour again",
    "pour: too short": _late,
    "readings: all over still water": "every lip reads over the still water, the lowest by "
    "{over:.1f mm}, though water that just spilled stands at the lowest lip: the box leaks, was "
    "not full, or moved",
    "readings: finer than a ruler": "the repeats agree to {pooled:.2g mm}; a ruler is not "
    "believed better than {taken:.1f mm}, which is used",
    "readings: spread not known": "no spread stated and too few repeats to tell it: one reading "
    "is taken to be good to {taken:.1f mm} (1/16 in, common practice)",
    "readings: under still water": "the lowest lip reads {under:.1f mm} under the still water, "
    "where water would spill: it was not still yet, or that lip was misread",
    "readings: wider than stated": "the repeats differ by more than the stated spread allows "
    "({pooled:.1f mm/} against {stated:.1f mm}): read again, or state a wider one",
    "split: heads not measured": _heads,
    "split: heads too low": _heads,
    "split: held back": "outlet {outlet} gets {share:.0f %}, or {low:.0f %/} to {high:.0f %} while "
    "dry lips hold water back",
    "split: overtops": "the outlets cannot take the inflow; the box overtops at its rim by "
    "{overflow:.2g L/s}",
    "surge: backs up": "the water in the box rises over the inlet's invert and backs up toward the "
    "tank; that it then comes more slowly is not computed",
    "surge: capillary": "{part:.0f %} of the water passed at heads below {head:.0f mm}, where "
    "surface tension decides and weir formulas are out of their range",
    "surge: drowned": "the trench of outlet {outlets} stands over its lip and drowns it",
    "surge: held back": "outlet {outlet} gets {share:.0f %} of this run, or {low:.0f %/} to "
    "{high:.0f %} while dry lips hold water back",
    "surge: jet not computed": "the inlet is straight, but its jet is not computed: places of "
    "outlets are not given",
    "surge: no supply": "[supply] is not given: the water comes to the box without delay",
    "surge: no tank": "[tank] is not given: the water comes as it leaves the house, not smoothed "
    "by a tank",
    "surge: no trench": "[trench] is not given: every line takes what it gets, none can pond",
    "surge: overtops": "the box overtops at its rim: {volume:.3g L} are spilled",
    "surge: soil invented": "soil is {states}: how that changes the long-term acceptance rate is "
    "invented, not measured",
    "surge: supply full": "the supply pipe runs full: what flows is then decided by its head",
    "surge: surfaces": "the trench of outlet {outlet} is full: {volume:.3g L} come to the surface",
    "target: not said": "the longest line is {more:.0f %} longer than the shortest, and no "
    "target is entered: equal shares are taken for now, and no flow is called within or "
    'outside; write by = "equal" or by = "length" under [target]',
    "ties: mirrored": "it is not said what lies to the left or the right, seen from {first} to "
    "{second}: the drawing may be mirrored, the ties hold; enter side under [ties]",
    "ties: misfit": "the ties do not agree: where they fit best, the tape from {name} is off by "
    "{off:+.2g ft}, and a tape is good to {spread:.2g ft}; tape all of them again",
    "ties: other side": "side is {said}, but the tapes meet on the {lies}, seen from {first} to "
    "{second}; look again which it is",
    "ties: third in line": "two places fit, one on each side of the line from {first} to {second}: "
    "{third} stands nearly in that line, so its tie cannot tell them apart; enter side under "
    "[ties], or tape from a point well off that line",
    "ties: two places": "two places fit, one on each side of the line from {first} to {second}; "
    "enter side under [ties], left or right as seen from {first} to {second}, or tape a third tie "
    "from a point well off that line",
    "ties: weak": "a tape that is off by {spread:.2g ft} moves the place by up to {error:.2g ft}: "
    "the tapes run nearly along one line; take one that crosses them more squarely",
    "tilt: four outlets": "with four outlets it shows that one of them moved, but not which",
    "tilt: in one line": "the outlets stand in one line: tilt across that line cannot be seen",
    "tilt: three outlets": "three outlets always lie on one plane: one that moved looks "
    "like a lean",
}
"""What is said of each kind of note, in the order of their names.

A text takes the note's values in braces, with their format and the unit that people read; a `/`
leaves the unit out. The place of the note goes before it. What no text can say is a function.
"""

ENDINGS = {
    "header: too flat": "water backs up to the mouth and less flows than computed",
    "jet: strikes": CURE,
    "split: held back": "verdict and advice are for lips that are all wet, as after a surge",
    "split: heads not measured": (
        "outside the heads at which the discharge coefficient was measured"
    ),
    "split: heads too low": (
        f"below {1000 * CAPILLARY_HEAD:.0f} mm surface tension decides and weir formulas are out "
        "of their range"
    ),
    "surge: held back": "all else here is for lips that are all wet",
}
"""What is said after a note of a kind, and only once after several of it that stand together."""


def sentences(notes: Iterable[Note]) -> list[str]:
    """Notes as sentences, repeated ones once."""
    return list(dict.fromkeys("; ".join(filter(None, _parts(note))) for note in notes))


def joined(notes: Iterable[Note]) -> list[str]:
    """The same for paper: what several notes end with alike is said once.

    >>> heads = {"low": 0.002, "high": 0.002, "level": 0.003}
    >>> joined(Note(what="split: heads not measured", where=w, values=heads) for w in "ab")[0][:44]
    'a: heads of 2.0 mm (all lips level: 3.0 mm),'
    """
    said: dict[str, list[str]] = {}
    for note in notes:
        words, ending = _parts(note)
        before = said.setdefault(ending or words, [])
        if ending and words not in before:
            before.append(words)
    return [f"{', '.join(before)}; {last}" if before else last for last, before in said.items()]


def _parts(note: Note) -> tuple[str, str]:
    words = WORDS[note.what]
    said = _say(note, words) if isinstance(words, str) else words(note)
    return said, ENDINGS.get(note.what, "")
