"""What was seen, looks, causes and sizes in words."""

from dbox.fieldwork.diagnosis.diagnose import Answer, Size
from dbox.fieldwork.diagnosis.next_look import FAST_POUR, SLOW_POUR, Look
from dbox.fieldwork.diagnosis.posterior import Contradiction, Seen
from dbox.fieldwork.evidence import NOTHING_SEEN
from dbox.fieldwork.site import Site
from dbox.units import inches, litres_per_min, millimetres

NAMES = {
    "system": "the papers say",
    "feed": "the box is fed by",
    "season": "the trouble comes",
    "rain": "with rain",
    "meter": "water meter, every tap shut",
    "inflow": "water coming into the box at rest",
    "tank_level": "level in the tank",
    "tank_outlet": "tee or filter at the tank's outlet",
    "at_rest": "water in the box at rest",
    "rim": "spirit level on the rim",
    "baffle": "baffle or turned-down inlet",
    "inlet_mouth": "mouth of the inlet",
    "stain": "stain over the lips",
    "sludge": "sludge in the box",
    "cracks": "cracks in the box",
    "ice": "ice",
    "ground_at_box": "ground around the box",
    "plugged": "level with every outlet plugged",
    "cap": "cap",
    "mouth": "mouth at rest",
    "lip": "lip",
    "trace": "traces of use",
    "hole": "hole",
    "port": "port of the line",
    "drain_back": "runs back, box bailed",
    "rod": "rod in the header",
    "traffic": "ruts over the line",
    "wiped": "lip wiped, runs",
    "ground": "wet ground at the line",
}
"""What each observation is called."""

_MEASURED = {
    "readings": "readings of the lips over still water",
    "pours": "catches of the pours",
    "level at rest": "lips over the water as it was found",
    "rim slope": "slope of the rim as measured",
    "depth in port": "depth of water in the port of the line",
    "reach of rod": "how far from the box the rod stopped",
}

_GROUND = {"several": "in several places", "dry": "none"}
"""What wet ground is weighed as, in words."""

LOOKS = {
    "system": "ask which kind of system it is, and whether lines alternate",
    "season": "ask in which season the trouble comes",
    "rain": "ask whether it comes only after rain",
    "meter": "watch the water meter with every tap shut",
    "cap": "look whether an outlet is capped, a line valved off",
    "ground": "walk every line: wet over the pipe, at its head, middle, end?",
    "traffic": "look for ruts over the headers",
    "ground_at_box": "look at the ground around the box",
    "tank_level": "look at the level in the tank, against its outlet",
    "tank_outlet": "look at the tee or filter at the tank's outlet",
    "port": "open its port: water against the bottom of the pipe",
    "at_rest": "look where the water at rest stands against the lips",
    "mouth": "look into every mouth at rest: dry, part full or full",
    "stain": "look for a stain over the lips",
    "trace": "look for traces of use in every pipe",
    "lip": "look at every lip: clean, or a deposit",
    "hole": "compare the holes of the outlets",
    "sludge": "look for sludge in the box",
    "cracks": "look for cracks in the box, under and over the lips",
    "ice": "look for ice",
    "inlet_mouth": "look whether the inlet's mouth stands in water",
    "baffle": "look for the baffle, or how the inlet ends",
    "inflow": "watch the inlet at rest; close the house valve if it runs",
    "rim": "lay a spirit level on the rim, both ways",
    "readings": "read every lip from still water",
    "drain_back": "bail the box below every lip; watch each pipe 10 to 30 min",
    "slow pour": "pour slowly and catch at every outlet: " + litres_per_min(SLOW_POUR),
    "fast pour": "pour fast and catch at every outlet: " + litres_per_min(FAST_POUR),
    "rod": "push a rod into its header: how far, and how it feels",
    "wiped": "wipe its lip and see whether it runs better",
    "plugged": "plug every outlet, fill, and watch the level",
}
"""What to do for each look."""


def at_outlet(site: Site, outlet: int) -> str:
    """Name an outlet as the site does; nothing where there is none."""
    return f"outlet {site.outlets[outlet].label}" if outlet >= 0 else ""


def seen_words(site: Site, seen: Seen) -> str:
    """One observation, with where it was made and what it was.

    >>> from dbox import Circle
    >>> from dbox.fieldwork.site import Box, Outlet
    >>> outlet = Outlet(label="4", opening=Circle(0.05))
    >>> site = Site(title="", box=Box(), outlets=(outlet,), flows=())
    >>> seen_words(site, Seen(name="mouth", outlet=0, word="full"))
    'outlet 4, mouth at rest: full'
    """
    if seen.name in _MEASURED:
        words = _MEASURED[seen.name]
    else:
        word = _GROUND.get(seen.word, seen.word) if seen.name == "ground" else seen.word
        words = f"{NAMES[seen.name]}: {word}"
    return f"{at_outlet(site, seen.outlet)}, {words}" if seen.outlet >= 0 else words


def contradiction_words(site: Site, pair: Contradiction) -> str:
    """Two observations that no single cause shows together."""
    return f"{seen_words(site, pair.one)}; but {seen_words(site, pair.other)}"


def look_words(site: Site, look: Look) -> str:
    """What to look at next."""
    words = LOOKS[look.name]
    return f"{at_outlet(site, look.outlet)}: {words}" if look.outlet >= 0 else words


def cause_words(site: Site, answer: Answer) -> str:
    """What a cause is called, with its outlet."""
    where = at_outlet(site, answer.outlet)
    if not where:
        return answer.cause.name
    toward = "toward " if answer.cause.tilted and not answer.cause.of_outlet else ""
    return f"{answer.cause.name}, {toward}{where}"


def size_words(site: Site, answer: Answer) -> str:
    """The size fitted to a cause, with its band; nothing where it has none."""
    size = answer.size
    if size is None:
        return ""
    where = at_outlet(site, answer.outlet)
    if size.kind == "leak":
        return f"loses {litres_per_min(size.low)} to {litres_per_min(size.high)}"
    if size.kind == "drop":
        return f"box down {_band(size)} toward {where}" if where else f"box down {_band(size)}"
    fault = answer.cause.fault
    felt = fault.felt if fault is not None else 0
    lip = f"lip of {where}" if where else "a lip"
    if answer.cause.key == "deposit":
        return f"{lip} raised {_band(size)} by what lies on it"
    if answer.cause.key == "back_pitched":
        return f"header of {where} rises {_band(size)} over its lip"
    return f"{lip} {_band(size)} {'high' if felt > 0 else 'low'}"


def _band(size: Size) -> str:
    """A band in thirty-seconds of an inch, and in millimetres."""
    low, high = (inches(end, parts=32).removesuffix(" in") for end in (size.low, size.high))
    metric = f"{millimetres(size.low).removesuffix(' mm')} to {millimetres(size.high)}"
    return f"{low} in ({metric})" if low == high else f"{low} to {high} in ({metric})"


def seen_lines(site: Site) -> list[str]:
    """Everything that was seen, an observation a line; what was not looked at is left out.

    >>> from dbox import Circle
    >>> from dbox.fieldwork.records.evidence import Evidence, OutletEvidence
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
    lines = []
    for name, words in NAMES.items():
        if hasattr(site.evidence, name):
            word = getattr(site.evidence, name)
            lines += [f"{words}: {word}"] if word is not None else []
        if hasattr(NOTHING_SEEN, name):
            told = [
                f"{outlet.label} {_of_outlet(getattr(site.evidence.of_outlet(i), name))}"
                for i, outlet in enumerate(site.outlets)
                if isinstance(getattr(site.evidence.of_outlet(i), name), str | tuple)
            ]
            lines += [f"{words}: {', '.join(told)}"] if told else []
    return lines


def _of_outlet(word: str | tuple[str, ...]) -> str:
    if isinstance(word, str):
        return word
    return " and ".join(word) or "none"
