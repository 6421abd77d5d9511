"""The cautions of the trade, each worded once: one by one for a list or a frame, and in short.

Depths of a trench: 29 CFR 1926.651 (a way out at 4 ft) and 1926.652 (protection at 5 ft).
"""

GAS = "Sewer gas kills: never enter or lean into a tank or a box."
LIDS = "Never leave an open lid alone, keep children away, fasten it after."
TRENCH = (
    "A trench can cave in: protection at 5 ft and deeper, a way out at 4 ft (29 CFR 1926.651-652)."
)
UTILITIES = "Have buried utilities marked before you dig."
GERMS = "Sewage carries disease: gloves, no bare cuts, wash before you eat."
POWER = "Switch off and lock out the pump."
WATER = "Test with clean water only."
CODE = "Local code, the permit, the inspector and licensed practice decide."

IN_USE = (
    "Where the box is in use, nobody in the house lets water run, and the pump is off, while you "
    "read."
)
"""What a later visit has to see to. (common practice, no source)"""

MODEL = "The tool models the box; local code, the permit and the inspector decide."
"""What a result warns of that asks for no work."""

TURNING = "Local code, the permit and the inspector decide; use clean water only."
"""The same for one that asks to turn inserts."""

LONG = (GAS, LIDS, f"{TRENCH} {UTILITIES}", GERMS, f"{POWER} {WATER}", CODE)
"""What every set-up and every sheet warns of."""

SHORT = (
    f"{GAS} Keep children from open lids. Trenches cave in; have utilities marked. Wear gloves, "
    f"wash; lock out the pump; use clean water only. {CODE}"
)
"""The same where there is room for a few lines."""

LESSON = f"{GAS} Keep children from open lids. Wear gloves; use clean water only. {CODE}"
"""The same for a class, which opens no trench."""

RANKED = f"{SHORT} Causes are ranked, not proved."
"""The same for a diagnosis."""

FOOT = "Never enter or lean into a tank or a box: the gas kills. Local code and permit decide."
"""What one line at the foot of a page has room for."""
