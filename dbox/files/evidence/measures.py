"""Can that be, as something seen? Readers of the values that only `[evidence]` and `[priors]` have.

As in `measures`: the limits are wide, and what cannot be raises `ScenarioError` with a message that
begins with `is` and ends with the mend.
"""

from dbox.errors import ScenarioError
from dbox.fieldwork.diagnosis.causes import KEYS
from dbox.fieldwork.records.evidence import PLACES, Prior
from dbox.files import measures, units
from dbox.files.faults import at_place, did_you_mean, key_text, show

MOST_PHOTOS = 100
NOWHERE = "none"
"""Word for a line that was walked and is dry all along."""


def _within(value: object, measure: float, low: float, high: float, limits: str) -> float:
    if not low <= measure <= high:
        raise ScenarioError(f"is {show(value)}; {limits}, check the value and its unit")
    return measure


def since_use(value: object) -> float:
    """Read how long ago water was last used. [s]

    >>> since_use("8 h")
    28800.0
    """
    limits = "water was last used up to a year ago"
    return _within(value, units.duration(value), 0.0, 366 * units.DAY, limits)


def known_since(value: object) -> float:
    """Read for how long a trouble has been known. [s]"""
    limits = "trouble has been known for up to 50 years"
    return _within(value, units.duration(value), 0.0, 50 * 366 * units.DAY, limits)


def daily_flow(value: object) -> float:
    """Read what a house sends in a day. [m3/s]"""
    limits = "a house sends between 1 L and 100 m3 a day"
    return _within(value, units.flow(value), 0.001 / units.DAY, 100 / units.DAY, limits)


def rim_slope(value: object) -> tuple[float, float]:
    """Read the rise per run of a rim, along the inlet direction and across it. [-]

    >>> rim_slope(["1 %", "-2 %"])
    (0.01, -0.02)
    """
    if not isinstance(value, list) or len(value) != 2:
        raise ScenarioError(
            f'is {show(value)}; write the rises along and across, as ["0 %", "1/8 in/ft"]'
        )
    along, across = measures.each(value, _rise)
    return along, across


def _rise(value: object) -> float:
    return _within(value, units.grade(value), -0.5, 0.5, "a rim rises by 50 % at most")


def rod_distance(value: object, bare_unit: str | None = None) -> float:
    """Read how far from the box a rod stopped. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, 0.0, 300.0, "a rod stops between 0 and 300 m from the box")


def port_water(value: object, bare_unit: str | None = None) -> float:
    """Read water in a port over the bottom of the pipe, or two depths from one mark. [m]

    >>> port_water("-1 in"), port_water(["31 in", "30 in"])
    (-0.0254, -0.0254)
    """
    limits = "water in a port is less than 5 m from the bottom of the pipe"
    if not isinstance(value, list):
        return _within(value, units.length(value, bare_unit), -5.0, 5.0, limits)
    if len(value) != 2:
        raise ScenarioError(
            f"is a list of {len(value)}; write the depths to the water and to the bottom of the "
            'pipe, as ["31 in", "30 in"]'
        )
    water, pipe = measures.each(value, lambda item: units.length(item, bare_unit))
    return _within(value, round(pipe - water, 12), -5.0, 5.0, limits)


def ground(value: object) -> tuple[str, ...]:
    """Read the wet places over a line; none of them where it was walked and is dry.

    >>> ground(["head", "end"]), ground([]), ground("none")
    (('head', 'end'), (), ())
    """
    listed = value if isinstance(value, list) else [value]
    if listed == [NOWHERE]:
        return ()
    places, faults = [], []
    for index, item in enumerate(listed, start=1):
        try:
            places.append(measures.choice(item, PLACES))
        except ScenarioError as error:
            place = f"[{index}]" if isinstance(value, list) else ""
            faults.append(at_place(place, str(error)).strip())
    if faults:
        raise ScenarioError(*faults)
    return tuple(dict.fromkeys(places))


def photos(value: object) -> tuple[str, ...]:
    """Read the names of photo files."""
    listed = value if isinstance(value, list) else [value]
    if len(listed) > MOST_PHOTOS:
        raise ScenarioError(f"is a list of {len(listed)}; write {MOST_PHOTOS} at most")
    return tuple(measures.text(item) for item in listed)


def priors(value: object) -> tuple[Prior, ...]:
    """Read weights of causes by key, all faults at once."""
    if not isinstance(value, dict):
        raise ScenarioError(f"is {show(value)}; write [priors] and under it causes, as tilt = 20")
    found, faults = [], []
    for cause, written in value.items():
        try:
            if cause not in KEYS:
                raise ScenarioError(f"is no cause; {did_you_mean(cause, KEYS)}")
            found.append(Prior(cause, measures.weight(written)))
        except ScenarioError as error:
            faults.append(at_place(f".{key_text(cause)}", str(error)))
    if faults:
        raise ScenarioError(*faults)
    return tuple(found)
