"""What does each cause of a mystery case do to a box, and what does it show?

A recipe follows one row of what practice takes to separate the causes (common practice, no source):
what it does to lips and lines, from which readings and pours are computed, and what is seen of it.
The look that settles it is named and kept for the key.
"""

from dataclasses import dataclass, field
from typing import Any

INCH = 0.0254


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """One cause as it may be met.

    Parameters
    ----------
    cause : str
        Key of the diagnosis cause.
    lip : tuple of float
        How far the lip of its outlet is off, least and most; + is high. [m]
    lean : tuple of float
        How far the box leans to one side, least and most. [m]
    takes : str
        What the line of its outlet does with water: `all`, `little`, or `none`.
    tail : float or None
        Water that the line holds against its outlet, over its lip. [m]
    unread : bool
        Whether a ruler does not see what is off at the lip: it stands on the lip.
    lost : float
        Part of a slow pour that leaves by the wall. [-]
    whole : dict
        What is seen of the whole system, as in `Evidence`.
    own, others : dict
        What is seen of its outlet, and of every other, as in `OutletEvidence`.
    look : str
        The one look that settles it, as named in `Evidence` or `OutletEvidence`.
    why : tuple of str
        The reasoning of the key.
    hidden : tuple of str
        What else is kept from the class, since it says nearly the same.
    """

    cause: str
    lip: tuple[float, float] = (0.0, 0.0)
    lean: tuple[float, float] = (0.0, 0.0)
    takes: str = "all"
    tail: float | None = None
    unread: bool = False
    lost: float = 0.0
    whole: dict[str, Any] = field(default_factory=dict)
    own: dict[str, Any] = field(default_factory=dict)
    others: dict[str, Any] = field(default_factory=dict)
    look: str
    why: tuple[str, ...]
    hidden: tuple[str, ...] = ()


_DRY: dict[str, Any] = {
    "mouth": "dry", "lip": "clean", "port": "dry", "rod": "clear", "trace": "as the others",
    "ground": (),
}  # fmt: skip
_WET: dict[str, Any] = {**_DRY, "port": "below the pipe", "trace": "stained", "ground": ("middle",)}
_SOUND: dict[str, Any] = {"cap": "none", "drain_back": "none", "traffic": "none"}
_QUIET: dict[str, Any] = {
    "system": "distribution box", "feed": "gravity", "meter": "still", "inflow": "none",
    "tank_level": "normal", "sludge": "none", "cracks": "none", "rain": "no matter",
    "season": "all year", "stain": "none", "inlet_mouth": "clear", "ground_at_box": "dry",
    "tank_outlet": "sound", "rim": "level", "at_rest": "at the lowest lip",
}  # fmt: skip


def _whole(**seen: Any) -> dict[str, Any]:
    return {**_QUIET, **seen}


def _own(start: dict[str, Any], **seen: Any) -> dict[str, Any]:
    return {**_SOUND, **start, **seen}


RECIPES = (
    Recipe(
        cause="tilt", lean=(0.35 * INCH, 0.6 * INCH), whole=_whole(rim="out of level"),
        own=_own(_WET), others=_own(_DRY), look="rim",
        why=("The lips fall evenly from one side of the box to the other: they fit one plane, as a "
             "box that leans would have it.",
             "The lines on the low side run first, and the gap closes as the flow rises.",
             "No pipe holds water, and the rod runs clear: nothing is in the way."),
    ),
    Recipe(
        cause="low", lip=(-0.35 * INCH, -0.22 * INCH), whole=_whole(), own=_own(_WET),
        others=_own(_DRY), look="rim",
        why=("One lip stands off the plane of the others: that insert or pipe dropped.",
             "Its line runs first and is the wet one; the others are even among themselves."),
    ),
    Recipe(
        cause="high", lip=(0.25 * INCH, 0.4 * INCH), whole=_whole(),
        own=_own(_DRY, trace="dusty"), others=_own(_WET),
        look="rod",
        why=("One lip stands over the others by more than the water of a slow pour; height alone "
             "explains that its line gets nothing.",
             "Its pipe is clean and dusty, and under the bucket it does run."),
    ),
    Recipe(
        cause="deposit", lip=(0.16 * INCH, 0.28 * INCH), unread=True, whole=_whole(),
        own=_own(_DRY, lip="deposit", wiped="better"), others=_own(_DRY, port="below the pipe"),
        look="wiped",
        why=("By the ruler all lips are alike, and yet one line gets less at a slow pour.",
             "Something lies on its lip. The bucket runs over it."),
    ),
    Recipe(
        cause="blocked", takes="little", whole=_whole(at_rest="at the lowest lip"),
        own=_own(_DRY, mouth="full", rod="soft stop"),
        others=_own(_DRY, port="below the pipe"), look="rod",
        why=("The mouth stands full while the port of that line is DRY: the water does not get "
             "that far.",
             "It takes a little and then no more; a full trench would show in the port."),
    ),
    Recipe(
        cause="crushed", takes="little", whole=_whole(),
        own=_own(_DRY, mouth="full", rod="hard stop", traffic="ruts", ground=("over the pipe",)),
        others=_own(_DRY, port="below the pipe"), look="rod",
        why=("The mouth stands full, the port is dry, and the ground is wet over the pipe, not "
             "over the trench.", "Ruts cross the line: something heavy went over it."),
    ),
    Recipe(
        cause="back_pitched", lip=(0.3 * INCH, 0.6 * INCH), unread=True, whole=_whole(),
        own=_own(_DRY, mouth="part full", rod="belly", drain_back="small"),
        others=_own(_DRY, port="below the pipe"), look="drain_back", hidden=("rod",),
        why=("The mouth is part full at rest and the lip is no lower than the others.",
             "That line joins late, and its port is dry: water stands in the pipe, not in the "
             "trench."),
    ),
    Recipe(
        cause="full", tail=0.06, whole=_whole(at_rest="at the lowest lip"),
        own=_own(_DRY, mouth="full", port="to the pipe", drain_back="long", ground=("head",)),
        others=_own(_DRY, port="below the pipe"), look="drain_back",
        why=("The mouth stands full AND the port is wet to the pipe: the trench itself is full.",
             "It takes nothing at the pour; the rod runs clear, so nothing is in the way."),
    ),
    Recipe(
        cause="leak", lost=0.55,
        whole=_whole(at_rest="below the lowest lip", ground_at_box="wet", cracks="below the lips",
                     plugged="falls"),
        own=_own(_DRY), others=_own(_DRY), look="plugged", hidden=("cracks",),
        why=("Water at rest stands BELOW the lowest lip: it found another way out.",
             "Less is caught at the slow pour than was poured, and the ground by the box is wet."),
    ),
    Recipe(
        cause="overload",
        whole=_whole(inflow="stops with the house valve", meter="turning"),
        own=_own(_WET, trace="as the others", mouth="part full", port="to the pipe"),
        others=_own(_WET, trace="as the others", mouth="part full"), look="meter",
        why=("The split is even, and all lines are wet alike.",
             "Water runs into the box with nobody at home, and stops with the house valve: it "
             "comes by the meter."),
    ),
    Recipe(
        cause="infiltration",
        whole=_whole(rain="only after rain", season="wet season", cracks="above the lips",
                     inflow="runs with the house shut"),
        own=_own(_DRY, port="below the pipe"), others=_own(_DRY, port="below the pipe"),
        look="inflow",
        why=("The split is even; the trouble comes with rain and goes with it.",
             "The meter stands still and a joint over the lips is open."),
    ),
    Recipe(
        cause="solids",
        whole=_whole(sludge="sludge", tank_outlet="failed"),
        own=_own(_DRY, lip="deposit", port="below the pipe", ground=("head",), wiped="better"),
        others=_own(_DRY, lip="deposit", port="below the pipe", ground=("head",)),
        look="tank_outlet", hidden=("wiped",),
        why=("All lips carry a deposit and sludge lies in the box: what should stay in the tank "
             "comes over.", "All trenches are wet at their heads, none more than the others."),
    ),
    Recipe(
        cause="capped", takes="none", whole=_whole(),
        own=_own(_DRY, cap="capped", trace="dusty"),
        others=_own(_DRY, port="below the pipe"), look="cap",
        why=("One line gets nothing at any flow, although its lip stands as low as the others.",
             "Its mouth is dry: nothing stands in it, as it would before a stoppage."),
    ),
)  # fmt: skip
