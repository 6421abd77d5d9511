"""Notes in words: each warning is worded once, here, for terminal, paper and JSON alike."""

from collections.abc import Callable, Iterable
from math import degrees

from dbox.fieldwork.inlet import CURE
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from dbox.notes import Note
from dbox.units import LITRE, MINUTE


def _at(note: Note, words: str) -> str:
    """Words with the place that they are about before them."""
    return f"{note.where}: {words}" if note.where else words


def _mm(metres: float, digits: int = 1) -> str:
    return f"{1000 * metres:.{digits}f} mm"


def _jet(note: Note) -> str:
    which = f"outlet {note['outlet']}" if note["outlet"] else "an outlet opposite"
    return (
        f"the jet of the straight inlet adds {_mm(note['head'], 0)} of head at {which}, which "
        f"gets about {100 * note['share']:.0f} % with it and {100 * note['without']:.0f} % without"
    )


def _heads(note: Note) -> str:
    low, high = 1000 * note["low"], 1000 * note["high"]
    span = f"{low:.1f} mm" if high - low < 0.05 else f"{low:.1f} to {high:.1f} mm"
    return _at(note, f"heads of {span} (all lips level: {_mm(note['level'])})")


def _one_flow_only(note: Note) -> str:
    misses = zip(note["others"], note["misses"], strict=True)
    others = ", ".join(f"{name} {100 * miss:.0f} %" for name, miss in misses) or "none computed"
    return (
        f"unequal lips meet these targets at one flow only ({note['flow']}); worst line off its "
        f"own target at the others: {others}"
    )


WORDS: dict[str, Callable[[Note], str]] = {
    "header: fall not known": lambda n: _at(
        n,
        f"a bare pipe end, its header taken to fall {100 * n['fall']:.1f} % (1/8 in per ft, "
        "common practice); enter header_fall",
    ),
    "header: too flat": lambda n: _at(
        n,
        f"its header falls {100 * n['fall']:.2g} %, flatter than critical at "
        f"{', '.join(n['flows'])}",
    ),
    "jet: computed without": lambda _: (
        "shares here are computed without the inlet's jet, so nothing is called within where it "
        f"decides; {CURE}"
    ),
    "jet: counts": lambda n: _at(n, _jet(n)),
    "jet: main not known": lambda _: (
        "the pump's main_diameter is not given: the jet of the inlet is that of a 2 in pipe "
        "(common practice)"
    ),
    "jet: places not known": lambda _: (
        "where the outlets stand in the box is not given, so any of them may stand in the jet; "
        "enter the box's inside and each outlet's at"
    ),
    "jet: strikes": lambda n: _at(
        n, f"at {n['inflow'] / LITRE * MINUTE:.3g} L/min {_jet(n)}"
    ),
    "jet: supply not known": lambda _: (
        "[supply] is not given: the jet of the inlet is that of a 4 in pipe at 1/8 in per ft "
        "(common practice)"
    ),
    "level: clock not known": lambda n: _at(
        n,
        "the clock position of the hole is not given, so its turn is unknown; turn it until the "
        "ruler shows the lip at its height",
    ),
    "level: finer than a hand": lambda _: (
        "the lips differ by less than one step of a hand turns them"
    ),
    "level: highest out of reach": lambda n: (
        f"the highest lip asks for {1000 * n['highest']:+.1f} mm, which outlet "
        f"{', '.join(n['outlets'])} cannot reach; the goal taken is {1000 * n['taken']:+.1f} mm, "
        "the highest that all can reach. The goal with the least turning would do too"
    ),
    "level: one flow only": _one_flow_only,
    "level: places not known": lambda _: (
        "positions of three outlets are needed to tell which side to lift"
    ),
    "opening: notch angle": lambda n: _at(
        n,
        f"a notch of {degrees(n['angle']):.0f} deg is outside the {degrees(n['low']):.0f} to "
        f"{degrees(n['high']):.0f} deg "
        "that its coefficient was measured at",
    ),
    "opening: slot width": lambda n: _at(
        n,
        f"a slot {_mm(n['width'], 0)} wide is narrower than the {_mm(n['least'], 0)} that its "
        "coefficient was measured down to",
    ),
    "readings: all over still water": lambda n: (
        f"every lip reads over the still water, the lowest by {_mm(n['over'])}, though water that "
        "just spilled stands at the lowest lip: the box leaks, was not full, or moved"
    ),
    "readings: finer than a ruler": lambda n: (
        f"the repeats agree to {1000 * n['pooled']:.2g} mm; a ruler is not believed better than "
        f"{_mm(n['taken'])}, which is used"
    ),
    "readings: spread not known": lambda n: (
        "no spread stated and too few repeats to tell it: one reading is taken to be good to "
        f"{_mm(n['taken'])} (1/16 in, common practice)"
    ),
    "readings: under still water": lambda n: (
        f"the lowest lip reads {_mm(n['under'])} under the still water, where water would spill: "
        "it was not still yet, or that lip was misread"
    ),
    "readings: wider than stated": lambda n: (
        f"the repeats differ by more than the stated spread allows ({1000 * n['pooled']:.1f} "
        f"against {_mm(n['stated'])}): read again, or state a wider one"
    ),
    "split: heads not measured": _heads,
    "split: heads too low": _heads,
    "split: overtops": lambda n: _at(
        n,
        "the outlets cannot take the inflow; the box overtops at its rim by "
        f"{n['overflow'] / LITRE:.2g} L/s",
    ),
    "tilt: four outlets": lambda _: (
        "four outlets leave one difference over: that an insert moved can be seen, not which"
    ),
    "tilt: in one line": lambda _: (
        "the outlets stand in one line: tilt across that line cannot be seen"
    ),
    "tilt: three outlets": lambda _: (
        "three outlets always lie on one plane: a moved insert cannot be told apart"
    ),
}  # fmt: skip
"""What is said of each kind of note, in the order of their names."""

ENDINGS = {
    "header: too flat": "water backs up to the mouth and less flows than computed",
    "jet: strikes": CURE,
    "split: heads not measured": (
        "outside the heads at which the discharge coefficient was measured"
    ),
    "split: heads too low": (
        f"below {_mm(CAPILLARY_HEAD, 0)} surface tension decides and weir formulas are out of "
        "their range"
    ),
}
"""What is said after a note of a kind, and only once after several of it that stand together."""


def sentences(notes: Iterable[Note | str]) -> list[str]:
    """Notes as sentences, repeated ones once; what is a sentence already stays as it is."""
    return list(dict.fromkeys("; ".join(filter(None, _parts(note))) for note in notes))


def joined(notes: Iterable[Note | str]) -> list[str]:
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


def _parts(note: Note | str) -> tuple[str, str]:
    if isinstance(note, str):
        return note, ""
    return WORDS[note.what](note), ENDINGS.get(note.what, "")
