"""How does a set-up stand in its log? Its events as lines, and the job that they lead to.

Lines of the interview (where there was no scenario yet) come first. `begun` names the box that the
job is about; what follows are the events of `fieldwork.setup.events`. A second `begun` is another
visit in the same log; the visits before it stay as they are, each with the box that it was about,
and are told apart by their number. Each line carries what was typed beside what it means in SI.

A log goes with a box, not with the bytes of a file: by the title and, for each outlet, the label,
the hole, its offset, where it stood at first, the point that is read, and whether it is capped. All
that a person may mend while the job runs (tolerance, flows, target, spread, places, line lengths)
is free to change, and is then worked out anew. Any other difference means another box.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from dbox.errors import ScenarioError
from dbox.fieldwork.records.evidence import Evidence
from dbox.fieldwork.records.works import Works
from dbox.fieldwork.setup import events
from dbox.fieldwork.site import Outlet, Site, Target
from dbox.files.faults import show
from dbox.files.joblog import Entry
from dbox.hydraulics.openings import Circle, Notch, Opening, PipeEnd, Slot

_NAMES: dict[str, type[events.Event]] = {
    "clock": events.ClockSet,
    "still": events.Still,
    "read": events.Read,
    "confirmed": events.Confirmed,
    "settled": events.Settled,
    "skipped": events.Skipped,
    "correcting": events.Correcting,
    "left": events.Left,
    "turned": events.Turned,
    "closed": events.Closed,
    "undone": events.Undone,
}
_KEYS = {"heights": "readings_m", "angle": "angle_rad", "angles": "angles_rad"}
_HOLES: dict[str, type[Opening]] = {kind.__name__: kind for kind in (Circle, Notch, Slot, PipeEnd)}
_UNITS = {"diameter": "_m", "width": "_m", "height": "_m", "angle": "_rad"}


@dataclass(frozen=True, kw_only=True)
class Story:
    """What a log tells.

    Parameters
    ----------
    answers : dict of str to str
        Answers of the interview that stand, by key.
    box : dict or None
        The box that the job is about, as `identity`; None before it began.
    angles : dict of str to float or None, or None
        Where holes stood at the beginning, by label, where that was told. [rad]
    events : tuple of dict
        Lines of the job, since it last began.
    visit, visits : int
        Which visit that is, of how many, from 1; one in which nothing was read is not counted.
    begun_at : str
        When it began, as ISO 8601; empty where not known.
    """

    answers: dict[str, str]
    box: dict[str, Any] | None
    angles: dict[str, float | None] | None
    events: tuple[Entry, ...]
    visit: int = 1
    visits: int = 1
    begun_at: str = ""


def story(entries: Sequence[Entry]) -> Story:
    """Read a log from its first line to its last.

    Parameters
    ----------
    entries : sequence of dict
        As `joblog` reads them.
    """
    asked: list[Entry] = []
    box, angles, visit, begun_at = None, None, 1, ""
    job: list[Entry] = []
    for entry in entries:
        kind = entry["event"]
        if kind in ("begun", "edited"):
            box = entry.get("box")
            if kind == "begun":
                visit += _has_read(job)
                job, angles, begun_at = [], entry.get("angles_rad"), str(entry.get("at", ""))
            elif angles is not None:
                # an outlet that has come since stands as the file said then
                angles = {**_clocks(box), **angles}
        elif box is not None and kind in _NAMES:
            job.append(entry)
        elif kind == "undone" and asked:
            asked.pop()
        elif kind in ("described", "asked again"):
            asked.append(entry)
    return Story(
        answers=_answers(asked),
        box=box,
        angles=angles,
        events=tuple(job),
        visit=visit,
        visits=visit,
        begun_at=begun_at,
    )


def visits(entries: Sequence[Entry]) -> tuple[Story, ...]:
    """Every visit that a log tells of, the first one first.

    Parameters
    ----------
    entries : sequence of dict
        As `joblog` reads them.

    Returns
    -------
    tuple of Story
        One at least; without those, but the last, in which nothing was read.
    """
    begun = [i for i, entry in enumerate(entries) if entry["event"] == "begun"]
    told = [story(entries[:end]) for end in (*begun[1:], len(entries))]
    kept = [each for each in told[:-1] if _has_read(each.events)] + told[-1:]
    return tuple(replace(each, visits=kept[-1].visit) for each in kept)


def _clocks(box: Mapping[str, Any] | None) -> dict[str, float | None]:
    """Where holes stand by what a log names as its box. [rad]"""
    return {o.get("label"): o.get("clock_rad") for o in (box or {}).get("outlets", ())}


def _has_read(job: Sequence[Entry]) -> bool:
    return any(entry["event"] == "read" for entry in job)


def _answers(asked: Sequence[Entry]) -> dict[str, str]:
    answers: dict[str, str] = {}
    for entry in asked:
        key = str(entry.get("key"))
        if entry["event"] == "asked again":
            answers.pop(key, None)
        else:
            answers[key] = str(entry.get("typed", ""))
    return answers


def identity(site: Site) -> dict[str, Any]:
    """What a log goes by: the box, as JSON in SI.

    Parameters
    ----------
    site : Site
        The box as the scenario gives it.
    """
    return {
        "title": site.title,
        "outlets": [
            {
                "label": outlet.label,
                "hole": {
                    "kind": type(outlet.opening).__name__,
                    **{
                        f"{name}{_UNITS.get(name, '')}": value
                        for name, value in asdict(outlet.opening).items()
                    },
                },
                "offset_m": outlet.hole_offset,
                "clock_rad": outlet.clock,
                "point_over_lip_m": outlet.point_over_lip,
                "capped": outlet.capped,
            }
            for outlet in site.outlets
        ],
    }


def logged_site(box: Mapping[str, Any], present: Site) -> Site:
    """The box that a log goes with, whatever its scenario has become since.

    Parameters
    ----------
    box : mapping
        As `identity`.
    present : Site
        What the scenario says now; what a log does not keep, such as tolerance, flows and the
        lengths of lines, is taken from it, by label.

    Raises
    ------
    ScenarioError
        Where the log does not say what a box is.
    """
    if not differences(box, identity(present)):
        return present
    own = {outlet.label: outlet for outlet in present.outlets}
    try:
        outlets = tuple(_logged_outlet(told, own) for told in box["outlets"])
        title = str(box["title"])
    except (KeyError, TypeError, ValueError) as error:
        raise ScenarioError(f"the log does not say which box it is about: {error!r}") from error
    same = [outlet.label for outlet in outlets] == list(own)
    logged = replace(present, title=title, outlets=outlets, target=_target_of(outlets, present))
    # what is told outlet by outlet belongs to the outlets that there are now
    return logged if same else replace(logged, pours=(), evidence=Evidence(), works=Works())


def _logged_outlet(told: Mapping[str, Any], own: Mapping[str, Outlet]) -> Outlet:
    sizes = {key.removesuffix("_m").removesuffix("_rad"): v for key, v in told["hole"].items()}
    opening = _HOLES[sizes.pop("kind")](**sizes)
    label = str(told["label"])
    return replace(
        own.get(label, Outlet(label=label, opening=opening)),
        opening=opening,
        hole_offset=told["offset_m"],
        clock=angle_of(told["clock_rad"]),
        point_over_lip=_finite(told["point_over_lip_m"]),
        capped=bool(told["capped"]),
    )


def _target_of(outlets: Sequence[Outlet], present: Site) -> Target:
    """The target of some of the outlets of a scenario; its own where one has no weight there."""
    known = {o.label: w for o, w in zip(present.outlets, present.target.weights, strict=False)}
    labels = [outlet.label for outlet in outlets]
    if not known or not set(labels) <= set(known):
        return present.target
    return replace(present.target, weights=tuple(known[label] for label in labels))


def differences(logged: Mapping[str, Any], present: Mapping[str, Any]) -> list[str]:
    """In what a scenario differs from the one that a log goes with.

    Parameters
    ----------
    logged, present : mapping
        As `identity`.

    Returns
    -------
    list of str
        One phrase each; empty where it is the same box.
    """
    told = []
    if logged.get("title") != present["title"]:
        told.append(f"title was {show(logged.get('title'))}, is {show(present['title'])}")
    before, now = logged.get("outlets", []), present["outlets"]
    if len(before) != len(now):
        return [*told, f"there were {len(before)} outlets, there are {len(now)}"]
    for i, (old, new) in enumerate(zip(before, now, strict=True), start=1):
        changed = [key for key in new if old.get(key) != new[key]]
        if changed:
            told.append(f"outlet {i} has another {' and '.join(map(_plain, changed))}")
    return told


def _plain(key: str) -> str:
    words = {"offset_m": "offset", "clock_rad": "clock", "point_over_lip_m": "point of reading"}
    return words.get(key, key)


def entry_of(event: events.Event, site: Site, typed: str) -> Entry:
    """Write an event as a line of the log.

    Parameters
    ----------
    event : Event
        What was answered.
    site : Site
        The box; outlets are named by their labels.
    typed : str
        What was typed.
    """
    name = next(name for name, kind in _NAMES.items() if kind is type(event))
    fields = {_KEYS.get(key, key): value for key, value in vars(event).items()}
    entry = {"event": name, "at": fields.pop("at"), **fields, "typed": typed}
    if "outlet" in entry:
        entry["outlet"] = site.outlets[fields["outlet"]].label
    if "angles_rad" in entry:
        entry["angles_rad"] = angles_by_label(site, fields["angles_rad"])
    return entry


def angles_by_label(site: Site, angles: Sequence[float | None]) -> dict[str, float | None]:
    """Name angles by the labels of their outlets. [rad]"""
    return {o.label: angle for o, angle in zip(site.outlets, angles, strict=True)}


def event_of(entry: Entry, site: Site) -> events.Event:
    """Read an event from a line of the log.

    Parameters
    ----------
    entry : dict
        From `entry_of`.
    site : Site
        The box.

    Raises
    ------
    ScenarioError
        Where the line does not say what such an event needs.
    """
    kind = _NAMES[entry["event"]]
    labels = {outlet.label: i for i, outlet in enumerate(site.outlets)}
    fields: dict[str, Any] = {"at": str(entry.get("at", ""))}
    try:
        for name in kind.__dataclass_fields__:
            if name == "outlet":
                fields[name] = labels[entry["outlet"]]
            elif name == "angles":
                angles = entry["angles_rad"]
                fields[name] = tuple(angle_of(angles[label]) for label in labels)
            elif name == "angle":
                fields[name] = angle_of(entry["angle_rad"])
            elif name == "heights":
                fields[name] = _heights(entry["readings_m"])
            elif name != "at":
                fields[name] = _as(str if name == "method" else bool, entry[name])
        return kind(**fields)
    except (KeyError, TypeError, ValueError) as error:
        raise ScenarioError(
            f"the answer {show(entry['event'])} of {show(entry.get('at', '?'))} does not go with "
            "the outlets of the scenario; put the log or the scenario back as it was, or begin "
            "another visit with --again, which keeps all of this one"
        ) from error


def angle_of(value: object) -> float | None:
    """An angle from a log, None where it is not known; raises TypeError or ValueError. [rad]"""
    return None if value is None else _finite(value)


def _heights(values: object) -> tuple[float, ...]:
    heights = tuple(map(_finite, _as(list, values)))
    if not heights:
        raise ValueError("no height")
    return heights


def _finite(value: object) -> float:
    number = float(_as((int, float), value))
    if not math.isfinite(number) or abs(number) > 100:
        raise ValueError("not a height or an angle at a box")
    return number


def _as(kind: Any, value: object) -> Any:
    if not isinstance(value, kind):
        raise TypeError(f"{value!r} is no {kind}")
    return value
