"""What to do about each cause, the least drastic first. All of it common practice, no source.

The first lines disturb nothing and can be taken back; the last need a permit in most places.
"""

PERMIT = "ask the local authority first: this may need a permit and a licensed installer"
GAS = "never lean into the box or the tank: sewer gas kills"
TRENCH = "have utilities marked, keep out of a trench that may cave in"

_LEVEL = (
    "set the inserts: dbox level says which way and how far",
    "where inserts cannot reach, bed the box again on firm ground",
)
_REST = (
    "use less water; send the others more, or cap this line to rest it for months, if they can "
    "take it (see its load)",
    f"replace or add a line only when rest has failed; {PERMIT}",
)
_ROD = (
    "rod or jet it from the box, gently; note how far the rod goes",
    f"dig where the rod stops; {TRENCH}",
)

ADVICE = {
    "tilt": _LEVEL,
    "low": ("raise that insert, or seat it again: dbox level says how far",
            "look whether its pipe has sunk; bed and seal it again"),
    "high": ("lower that insert: dbox level says how far",
             "look whether its pipe was pushed up; set and seal it again"),
    "deposit": ("wipe the lip, take the deposit or root out, pour again",
                "look at the tank's outlet tee or filter: where did it come from?"),
    "blocked": _ROD,
    "crushed": ("keep wheels off", *_ROD, f"replace the crushed length; {PERMIT}"),
    "back_pitched": ("read the fall of the header with a rod: dbox grades FILE",
                     f"dig up and bed the header so that it falls away; {TRENCH}; {PERMIT}"),
    "full": _REST,
    "all_full": ("wait for the ground to dry and look again; use less water",
                 "look where rain and roof water go, and lead them away",
                 f"have the field judged as a whole; {PERMIT}"),
    "overload": ("close the house valve: does it stop? Find and mend the running fixture",
                 "read the water meter for a week; use less water"),
    "infiltration": ("lead roof and surface water away from tank, box and field",
                     "seal lids, joints and cracks; look at the tank after rain"),
    "leak": ("plug the outlets, fill with clean water, mark where the level stops falling",
             "seal the crack there, or replace the box"),
    "jet": ("turn the inlet down, or fit a tee or baffle, then pour slow and fast again",),
    "inlet_drop": ("measure the inlet's invert against the outlets'",
                   f"set the inlet pipe higher or the box lower; {PERMIT}"),
    "trickle": ("set the lips alike as finely as a hand can: dbox level",
                "a ruler cannot prove equal shares at a trickle; a dosed feed hides such "
                f"differences; {PERMIT}"),
    "unequal": ("send each line a share by its length: dbox level with [target] by length",
                f"give the short or slow line less, or lengthen it; {PERMIT}"),
    "trench_slope": ("rest the line", f"relay it level along the contour; {PERMIT}"),
    "solids": ("have the tank pumped, mend its outlet tee or filter",
               "clean the box, wipe every lip, pour again",
               "flush headers only where what comes out is caught"),
    "capped": ("ask who capped it and when; if it has rested for long enough, open it and watch",),
    "serial": ("nothing: look at the last line, only if that is full is the field full",),
    "frozen": ("use warm water steadily; cover the ground with straw or snow",
               "do not thaw with salt, chemicals or flame"),
    "holes": ("fit inserts with holes alike, then level",),
    "broken": (f"close the ground around it off; {GAS}",
               "replace lid, pipe or box; seal and level it again"),
    "tilt_full": (*_LEVEL, *_REST),
    "low_full": ("raise that insert, or seat it again", *_REST),
    "solids_full": ("have the tank pumped, mend its outlet tee or filter", *_REST),
}  # fmt: skip
"""Steps by the key of the cause."""

CAUTIONS = (
    "Sewer gas kills: never enter, or lean into, a tank or a box.",
    "Never leave an open lid alone; keep children away.",
    "Effluent carries pathogens: gloves, wash, nothing to the face.",
    "Trenches cave in; have buried utilities marked before you dig.",
    "Switch off and lock out a pump before you reach for it.",
    "Pour clean water only.",
    "Local code, the permit and licensed practice decide; causes are ranked here, not proved.",
)
"""What is said with every diagnosis."""
