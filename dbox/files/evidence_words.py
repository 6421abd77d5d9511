"""What was seen, looks, causes, sizes and what may be normal in words."""

from collections.abc import Sequence
from dataclasses import replace

from dbox.errors import outlets_text
from dbox.fieldwork.diagnosis.causes import CAUSES
from dbox.fieldwork.diagnosis.diagnose import Answer, Contradiction, Normal, Size
from dbox.fieldwork.diagnosis.next_look import Look
from dbox.fieldwork.diagnosis.posterior import Keystone, Seen, word_of
from dbox.fieldwork.evidence import WORDED, Kind
from dbox.fieldwork.site import Site
from dbox.lengths import Lengths
from dbox.units import LITRE, MINUTE

NAMES = {name: kind.said for name, kind in WORDED.items()}
"""What each observation is called."""

_GROUND = {"head": "at its head", "middle": "in its middle", "end": "at its end",
           "several": "in several places", "dry": "none"}  # fmt: skip
"""What wet ground is weighed as, in words."""

_NORMAL = {
    ("system", "ask"): "is it a serial or drop-box system, or do the lines alternate? In those one "
    "wet line is normal unless the last one is full",
    ("system", "ruled out"): "all lines are to run at once",
    ("system", "explains"): "{} by design: the upper line fills first, normal unless the last one "
    "is full",
    ("caps", "ask"): "was an outlet capped, or a line valved off, to rest it? Then it is dry on "
    "purpose",
    ("caps", "ruled out"): "no outlet is capped",
    ("caps", "explains"): "{}: capped, so dry on purpose; ask who capped it and why",
    ("use", "ask"): "how long ago was water last used? A box read just after {} is not at rest",
    ("use", "ruled out"): "the box was at rest",
    ("use", "explains"): "the box was read soon after use: what stood in it and in the mouths may "
    "have been on its way; wait half an hour with no water used and look again",
}


def normal_words(normal: Normal) -> str:
    """What to ask, or what follows, of something that may be normal."""
    if normal.topic == "system" and normal.what == "alternating":
        return "lines alternate: the one that rests is dry as it should be; ask which one is on"
    uses = {"dosed": "pumping or a dose", "": "laundry, a bath or pumping"}
    what = uses[normal.what] if normal.topic == "use" else normal.what
    return _NORMAL[normal.topic, normal.state].format(what)


def at_outlet(site: Site, outlet: int) -> str:
    """Name an outlet as the site does; nothing where there is none."""
    return f"outlet {site.outlets[outlet].label}" if outlet >= 0 else ""


def seen_at(site: Site, seen: Seen) -> str:
    """One observation, with where it was made and what it was.

    >>> from dbox import Circle
    >>> from dbox.fieldwork.site import Box, Outlet
    >>> outlet = Outlet(label="4", opening=Circle(0.05))
    >>> site = Site(title="", box=Box(), outlets=(outlet,), flows=())
    >>> seen_at(site, Seen(kind=WORDED["mouth"], outlet=0, word="full"))
    'outlet 4, mouth at rest: full'
    """
    word = _GROUND.get(seen.word, seen.word) if seen.kind.name == "ground" else seen.word
    # "ice", "ruts over the line" say it all
    told = not word or word in seen.kind.said.split()
    words = seen.kind.said if told else f"{seen.kind.said}: {word}"
    everywhere = "every outlet" if seen.kind.of_outlet and word else ""
    where = at_outlet(site, seen.outlet) or everywhere
    return f"{where}, {words}" if where else words


def seen_words(site: Site, seen: Seen) -> str:
    """The same, once for all outlets where it is so at every one."""
    open_ = [i for i, outlet in enumerate(site.outlets) if not outlet.capped]
    alike = (
        seen.kind.of_outlet
        and len(open_) > 1
        and bool(seen.word)
        and all(word_of(site, seen.kind, i) == seen.word for i in open_)
    )
    return seen_at(site, replace(seen, outlet=-1) if alike else seen)


def again_words(site: Site, pair: Contradiction) -> str:
    """Which of two observations that cannot both be right to look at again: the quicker one."""
    quick = min((pair.one, pair.other), key=lambda seen: seen.kind.minutes or 60.0)
    return look_again(site, quick)


def look_again(site: Site, seen: Seen) -> str:
    """How to make a look again."""
    return look_words(site, seen.kind, [seen.outlet]) if seen.kind.look else seen_at(site, seen)


def deciding_words(key: Keystone) -> str:
    """What a look alone decides between."""
    return f"it alone decides between {_nouns({*key.lead})} and {_nouns({*key.other})}"


def look_words(site: Site, kind: Kind, outlets: Sequence[int]) -> str:
    """What to look at next, at some outlets; -1 for none."""
    labels = [site.outlets[i].label for i in outlets if i >= 0]
    look = kind.look.replace("every ", "the ") if len(labels) == 1 else kind.look
    return f"{outlets_text(labels)}: {look}" if labels else look


_NOUNS = {
    "tilt": "a tilted box", "low": "a dropped insert", "high": "a high outlet",
    "deposit": "a deposit on a lip", "blocked": "a blocked header", "crushed": "a crushed header",
    "back_pitched": "a back-pitched header", "full": "a full trench",
    "all_full": "a field that is full all over", "overload": "an overload",
    "infiltration": "ground or roof water", "leak": "a leaking box",
    "jet": "a straight jet", "inlet_drop": "too little inlet drop",
    "trickle": "lips that are off only for a trickle", "unequal": "a short or slow line",
    "trench_slope": "a trench out of level", "solids": "solids carry-over",
    "capped": "a capped outlet", "serial": "a serial or drop box", "frozen": "frost",
    "holes": "unlike holes", "broken": "a broken box or lid",
    "supply_blocked": "a plugged filter or supply pipe", "no_dose": "a failed pump or siphon",
    "surface_water": "surface water on one line", "no_insert": "a missing insert",
    "deep_block": "a line blocked further out", "other": "something not on this list",
}  # fmt: skip
"""What each cause is called in the middle of a sentence."""


def parting_words(site: Site, look: Look) -> str:
    """What a look would tell: the two answers that it parts most; nothing where there is one."""
    if not look.parts:
        return ""
    one, other = look.parts
    causes, others = ({cause for cause, _ in parts} for parts in (one, other))
    if causes == others:
        first, second = (
            " and ".join(at_outlet(site, i) for _, i in parts if i >= 0) for parts in (one, other)
        )
        return f"would tell {first} from {second}"
    both = causes & others
    if both in (causes, others):
        return f"would tell whether {_nouns(causes ^ others)} comes on top of {_nouns(both)}"
    return f"would tell {_nouns(causes - both)} from {_nouns(others - both)}"


def _nouns(causes: set[int]) -> str:
    return " and ".join(_NOUNS[CAUSES[cause].key] for cause in sorted(causes))


def cause_words(site: Site, answer: Answer, *, short: bool = False) -> str:
    """What a cause is called, or each of two, with its outlet; short: without words in brackets."""
    told = []
    for cause, outlet in answer.parts:
        name = cause.name.partition(" (")[0] if short else cause.name
        toward = "toward " if cause.tilted and not cause.of_outlet else ""
        told.append(f"{name}, {toward}{at_outlet(site, outlet)}" if outlet >= 0 else name)
    return "; and ".join(told)


def size_words(site: Site, answer: Answer) -> str:
    """The size fitted to a cause, with its band; nothing where it has none."""
    size = answer.size
    if size is None:
        return ""
    where = at_outlet(site, answer.outlet)
    if size.kind == "leak":
        low, high = (loss * MINUTE / LITRE for loss in (size.low, size.high))
        return f"loses {low:.2g} to {high:.2g} L/min"
    band = band_words(size, site.lengths)
    if size.kind == "drop":
        return f"box down {band} toward {where}" if where else f"box down {band}"
    fault = answer.cause.fault
    felt = fault.felt if fault is not None else 0
    lip = f"lip of {where}" if where else "a lip"
    if answer.cause.key == "deposit":
        return f"{lip} raised {band} by what lies on it"
    if answer.cause.key == "back_pitched":
        return f"header of {where} rises {band} over its lip"
    return f"{lip} is {band} {'high' if felt > 0 else 'low'}"


def band_words(size: Size, lengths: Lengths) -> str:
    """A band of lengths, both ways."""
    ends = zip(lengths.pair(size.low), lengths.pair(size.high), strict=True)
    said = [low if low == high else f"{low.rpartition(' ')[0]} to {high}" for low, high in ends]
    return f"{said[0]} ({said[1]})"


def seen_lines(site: Site) -> list[str]:
    """Everything that was seen, an observation a line; what was not looked at is left out.

    >>> from dbox import Circle
    >>> from dbox.fieldwork.evidence import Evidence, OutletEvidence
    >>> from dbox.fieldwork.site import Outlet
    >>> outlets = tuple(Outlet(label=str(i), opening=Circle(0.05)) for i in (1, 2))
    >>> seen = (OutletEvidence(mouth="full"), OutletEvidence(mouth="dry", ground=()))
    >>> evidence = Evidence(stain="none", outlets=seen)
    >>> for line in seen_lines(Site(outlets=outlets, flows=(), evidence=evidence)):
    ...     print(line)
    stain over the lips: none
    mouth at rest: 1 full, 2 dry
    wet ground at the line: 2 none
    """
    lines, count = [], sum(not outlet.capped for outlet in site.outlets)
    for kind in WORDED.values():
        word = None if kind.of_outlet else getattr(site.evidence, kind.name)
        if kind.of_outlet:
            found = [
                (outlet.label, _places(seen))
                for i, outlet in enumerate(site.outlets)
                if (seen := getattr(site.evidence.of_outlet(i), kind.name)) is not None
            ]
            words = {each for _, each in found}
            if len(found) == count > 1 and len(words) == 1:
                word = f"{words.pop()} at every outlet"
            else:
                word = ", ".join(f"{label} {each}" for label, each in found)
        lines += [f"{kind.said}: {word}"] if word else []
    return lines


def _places(word: str | tuple[str, ...]) -> str:
    return word if isinstance(word, str) else " and ".join(word) or "none"
