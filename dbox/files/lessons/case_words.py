"""How is a mystery case told? What was seen, in words and rows, for paper and for text alike."""

from dataclasses import dataclass

from dbox.fieldwork.lessons.cases import Case
from dbox.fieldwork.records.evidence import OUTLET_WORDS, WORDS, OutletEvidence
from dbox.fieldwork.site import Outlet
from dbox.files.evidence.words import NAMES
from dbox.files.notation import gpm_litres, inches, litres_per_min

QUESTION = "Guess first. What is wrong, and at which outlet? What single look would settle it?"
BLANKS = ("Cause", "Outlet", "How sure, %", "The one look")
INVENTED = "INVENTED DATA: a case made up for teaching; no such box was measured."
CAUTION = (
    "Never enter, or lean into, a tank or a box. Keep children from an open lid. Gloves; clean "
    "water only for tests. Local code, the permit and licensed practice decide."
)


@dataclass(frozen=True)
class Rows:
    """A table: words over the columns, and the words of each row."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def readings(case: Case) -> Rows:
    """What was read and caught, one column for each outlet.

    Parameters
    ----------
    case : Case
        The case.
    """
    outlets = case.shown.outlets
    most = max(len(outlet.readings) for outlet in outlets)
    rows = [
        (f"lip over still water, reading {i + 1}", *(_reading(outlet, i) for outlet in outlets))
        for i in range(most)
    ]
    for pour in case.shown.pours:
        catches = ("" if c is None else litres_per_min(c) for c in pour.catches)
        rows.append((f"caught, {pour.name} {litres_per_min(pour.inflow)}", *catches))
        places = {outlet: str(place) for place, outlet in enumerate(pour.order, start=1)}
        started = (places.get(i, "never") for i in range(len(outlets)))
        rows.append((f"started, {pour.name}", *started))
    return Rows(("outlet", *(outlet.label for outlet in outlets)), tuple(rows))


def seen_at_outlets(case: Case) -> Rows:
    """What was seen of each outlet and its line, one column for each outlet.

    Parameters
    ----------
    case : Case
        The case; what nobody looked at, or what was alike everywhere, has no row.
    """
    outlets = case.shown.outlets
    seen = [case.shown.evidence.of_outlet(i) for i in range(len(outlets))]
    rows = [
        (NAMES[name], *(_outlet_word(each, name) for each in seen))
        for name in (*OUTLET_WORDS, "ground")
        if len({getattr(each, name) for each in seen}) > 1
    ]
    return Rows(("outlet", *(outlet.label for outlet in outlets)), tuple(rows))


def same_at_all_outlets(case: Case) -> tuple[str, ...]:
    """What was seen alike at every outlet, one sentence each.

    Parameters
    ----------
    case : Case
        The case.
    """
    seen = [case.shown.evidence.of_outlet(i) for i in range(len(case.shown.outlets))]
    return tuple(
        f"{NAMES[name]}: {_outlet_word(seen[0], name)}"
        for name in (*OUTLET_WORDS, "ground")
        if {getattr(each, name) for each in seen} != {None}
        and len({getattr(each, name) for each in seen}) == 1
    )


def seen_of_the_whole(case: Case) -> tuple[str, ...]:
    """What was seen of house, tank and box, one sentence each.

    Parameters
    ----------
    case : Case
        The case.
    """
    evidence = case.shown.evidence
    return tuple(
        f"{NAMES[name]}: {getattr(evidence, name)}"
        for name in WORDS
        if getattr(evidence, name) is not None
    )


def answer(case: Case) -> tuple[tuple[str, str], ...]:
    """The key: cause, outlet, the look that settles it and what it shows.

    Parameters
    ----------
    case : Case
        The case.
    """
    label = case.site.outlets[case.outlet].label if case.outlet >= 0 else ""
    where = f", outlet {label}" if case.look_of_outlet and label else ""
    if case.look_of_outlet and not label:
        where = ", any outlet"
    return (
        ("Cause", case.cause_name),
        ("Outlet", label or "the whole box"),
        ("The one look that settles it", f"{NAMES[case.look]}{where}"),
        ("It shows", case.look_shows),
    )


def pours_said(case: Case) -> str:
    """What was poured, and how good the numbers are.

    Parameters
    ----------
    case : Case
        The case.
    """
    poured = " and ".join(f"{p.name} {gpm_litres(p.inflow)}" for p in case.shown.pours)
    return (
        "Four 2 in holes and equal lines: outlet 1 in the left wall, 2 and 3 in the far wall, 4 in "
        "the right wall, seen from the inlet. A reading is good to 1/32 in, + above the water; a "
        f"catch to 5 %. Poured: {poured}."
    )


def _reading(outlet: Outlet, place: int) -> str:
    height = outlet.readings[place]
    return inches(height, signed=True, parts=32) if height else "0 in"


def _outlet_word(seen: OutletEvidence, name: str) -> str:
    value = getattr(seen, name)
    if value is None:
        return ""
    if name == "ground":
        return ", ".join(value) or "none"
    return str(value)
