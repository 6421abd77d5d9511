"""The box that the log of a set-up is about: how it is kept, and whether another is the same.

A log goes with a box, not with the bytes of a file: by the title and, for each label, the hole, its
offset, where it stood at first and the point that is read. All that a person may mend while the job
runs (tolerance, flows, target, spread, places, line lengths) is free to change, and is then worked
out anew. A line that is new, capped, opened or gone is a change of the same box: it is told, and
goes with the next visit or with one that fits it. Any other difference means another box.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Annotated, Any

from pydantic import Field, TypeAdapter

from dbox.errors import ScenarioError, show
from dbox.fieldwork.evidence import Evidence
from dbox.fieldwork.site import INLETS, Outlet, Site, Target, Works
from dbox.hydraulics.openings import Circle, Notch, Opening, PipeEnd, Slot

Number = Annotated[float, Field(strict=True, ge=-100, le=100)]
"""A height at a box [m] or an angle [rad]; more cannot be one."""

_SIZE: TypeAdapter[Any] = TypeAdapter(Annotated[float, Field(strict=True, ge=0, le=1e6)] | None)
"""Length of a line [m] or area of its bottom [m2]."""

_HOLES: dict[str, type[Opening]] = {kind.__name__: kind for kind in (Circle, Notch, Slot, PipeEnd)}
_UNITS = {"diameter": "_m", "width": "_m", "height": "_m", "angle": "_rad"}


def identity(site: Site) -> dict[str, Any]:
    """What a log goes by: the box, as JSON in SI."""
    return {
        "title": site.title,
        "inlet": site.box.inlet,
        "outlets": [
            {
                "label": outlet.label,
                "hole": {
                    "kind": type(outlet.opening).__name__,
                    **{f"{k}{_UNITS.get(k, '')}": v for k, v in asdict(outlet.opening).items()},
                },
                "offset_m": "unknown" if outlet.hole_offset == math.inf else outlet.hole_offset,
                "clock_rad": outlet.clock,
                "point_over_lip_m": outlet.point_over_lip,
                "capped": outlet.capped,
                "line_length_m": outlet.line_length,
                "line_area_m2": outlet.line_area,
            }
            for outlet in site.outlets
        ],
        "target": {"by": site.target.by, "weights": list(site.target.weights)},
    }


def logged_site(box: Mapping[str, Any], present: Site, *, earlier: bool = False) -> Site:
    """The box that a log goes with, whatever its scenario has become since.

    earlier: With the inlet of its time, which may have been turned down before another visit.
    """
    if earlier and (inlet := box.get("inlet", "")) in (None, *INLETS):
        present = replace(present, box=replace(present.box, inlet=inlet))
    if not differences(box, present) and not line_changes(box, identity(present)):
        return present
    own = {outlet.label: outlet for outlet in present.outlets}
    try:
        outlets = tuple(_logged_outlet(told, own) for told in box["outlets"])
        title = str(box["title"])
        target = _logged_target(box, outlets, present)
    except (KeyError, TypeError, ValueError) as error:
        raise ScenarioError(
            "the log does not say which box it is about; put it back as it was, or move it away "
            "and start over"
        ) from error
    logged = replace(present, title=title, outlets=outlets, target=target)
    # what is told outlet by outlet belongs to the outlets that there are now
    same = [outlet.label for outlet in outlets] == list(own)
    return logged if same else replace(logged, pours=(), evidence=Evidence(), works=Works())


def _logged_target(box: Mapping[str, Any], outlets: Sequence[Outlet], present: Site) -> Target:
    """The present target for the outlets that there were; that of the log where it has no part for
    one that is gone."""
    target = present.target
    weights = dict(zip((o.label for o in present.outlets), target.weights, strict=False))
    parts: dict[str, list[float | None]] = {
        "list": [weights.get(outlet.label) for outlet in outlets],
        "length": [outlet.line_length for outlet in outlets],
        "area": [outlet.line_area for outlet in outlets],
    }
    each = parts.get(target.by, [])
    lacks = any(part is None and not o.capped for part, o in zip(each, outlets, strict=False))
    if lacks and (then := box.get("target")):
        return Target(by=str(then["by"]), weights=tuple(map(float, then["weights"])))
    if lacks or target.by != "list":
        return target
    return replace(target, weights=tuple(part or 0.0 for part in each))


def _logged_outlet(told: Mapping[str, Any], own: Mapping[str, Outlet]) -> Outlet:
    sizes = {key.removesuffix("_m").removesuffix("_rad"): v for key, v in told["hole"].items()}
    opening = _HOLES[sizes.pop("kind")](**sizes)
    label = str(told["label"])
    gone = Outlet(
        label=label,
        opening=opening,
        line_length=_SIZE.validate_python(told.get("line_length_m")),
        line_area=_SIZE.validate_python(told.get("line_area_m2")),
    )
    return replace(
        own.get(label, gone),
        opening=opening,
        hole_offset=math.inf if told["offset_m"] == "unknown" else told["offset_m"],
        clock=TypeAdapter(Number | None).validate_python(told["clock_rad"]),
        point_over_lip=TypeAdapter(Number).validate_python(told["point_over_lip_m"]),
        capped=bool(told["capped"]),
    )


_FREE = ("capped", "line_length_m", "line_area_m2")
"""What may change at a line of the same box."""

_PLAIN = {"offset_m": "offset", "clock_rad": "clock", "point_over_lip_m": "point of reading"}


def differences(logged: Mapping[str, Any], site: Site) -> list[str]:
    """In what a box is another than the one that a log goes with, its lines apart."""
    present, told = identity(site), []
    if logged.get("title") != present["title"]:
        told.append(f"title was {show(logged.get('title'))}, is {show(present['title'])}")
    before, now = _by_label(logged), _by_label(present)
    shared = [label for label in before if label in now]
    if not shared:
        told.append(f"its outlets were {', '.join(before) or 'none'}, are {', '.join(now)}")
    for label in shared:
        old, new = before[label], now[label]
        changed = [
            _PLAIN.get(key, key) for key in new if key not in _FREE and old.get(key) != new[key]
        ]
        if changed:
            told.append(f"outlet {label} has another {' and '.join(changed)}")
    return told


def line_changes(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """Which lines have come, gone, been capped or opened between two boxes as `identity`."""
    old, new = _by_label(before), _by_label(now)
    told = [f"outlet {label} is new" for label in new if label not in old]
    for label, outlet in new.items():
        if label in old and old[label].get("capped") != outlet["capped"]:
            told.append(f"outlet {label} is {'capped now' if outlet['capped'] else 'open again'}")
    return told + [f"outlet {label} is gone" for label in old if label not in new]


def _by_label(box: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    return {str(outlet.get("label")): outlet for outlet in box.get("outlets", ())}
