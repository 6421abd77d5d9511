"""What does each cause show to one who looks? Words with their chances, as judgement.

The rows follow what practice takes to separate one cause from another: common practice, no source.
Every chance is a judgement; none was counted. `usual` is what is seen where a cause does not speak
of the sign. Signs that hang on water are not here but computed in `visible`: the level at rest,
ports, wet ground, traces of use, holes, lips, pours.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.diagnosis.causes import CAUSES

Chances = tuple[float, ...]
SEALED = ("full", "tilt_full", "low_full", "solids_full")


@dataclass(frozen=True)
class Sign:
    """One observation in words.

    Parameters
    ----------
    usual : tuple of float
        Chance of each word where nothing is said below. [-]
    by_cause : mapping of str to tuple of float
        Chance under a cause: of the whole system or, for a sign of one outlet, of the outlet that
        the cause sits at. [-]
    everywhere : mapping of str to tuple of float
        Chance at every outlet under a cause. [-]
    """

    usual: Chances
    by_cause: Mapping[str, Chances] = field(default_factory=dict)
    everywhere: Mapping[str, Chances] = field(default_factory=dict)

    def table(self) -> Array:
        """Chances by cause, at the outlet of the cause or of the system. [-] (causes, words)."""
        chosen = {**self.everywhere, **self.by_cause}
        return _normal([chosen.get(cause.key, self.usual) for cause in CAUSES])

    def elsewhere(self) -> Array:
        """Chances at the outlets that the cause does not sit at. [-] (causes, words)."""
        return _normal([self.everywhere.get(cause.key, self.usual) for cause in CAUSES])


def _normal(rows: list[Chances]) -> Array:
    table = np.array(rows)
    normal: Array = table / table.sum(-1, keepdims=True)
    return normal


def _sealed(chances: Chances) -> dict[str, Chances]:
    return dict.fromkeys(SEALED, chances)


LEAKS = (0.06, 0.94)
"""What the level does, every outlet plugged, in a box that loses water: holds, falls. [-]"""

SYSTEM_SIGNS = {
    "system": Sign((0.97, 0.005, 0.005, 0.02), {
        "serial": (0.03, 0.50, 0.45, 0.02), "capped": (0.70, 0.01, 0.01, 0.28)}),
    "season": Sign((0.80, 0.16, 0.04), {
        "all_full": (0.30, 0.65, 0.05), "infiltration": (0.25, 0.70, 0.05),
        "frozen": (0.02, 0.03, 0.95), "broken": (0.65, 0.30, 0.05),
        **_sealed((0.68, 0.28, 0.04))}),
    "rain": Sign((0.87, 0.13), {
        "all_full": (0.45, 0.55), "infiltration": (0.08, 0.92), "broken": (0.65, 0.35),
        "leak": (0.80, 0.20), **_sealed((0.75, 0.25))}),
    "meter": Sign((0.95, 0.05), {"overload": (0.35, 0.65)}),
    "inflow": Sign((0.90, 0.06, 0.04), {
        "overload": (0.22, 0.72, 0.06), "infiltration": (0.35, 0.05, 0.60),
        "all_full": (0.80, 0.06, 0.14)}),
    "tank_level": Sign((0.92, 0.08), {
        "inlet_drop": (0.25, 0.75), "all_full": (0.45, 0.55), "frozen": (0.35, 0.65),
        "overload": (0.75, 0.25), "infiltration": (0.65, 0.35), "solids": (0.82, 0.18)}),
    "tank_outlet": Sign((0.92, 0.08), {
        "solids": (0.18, 0.82), "solids_full": (0.18, 0.82), "deposit": (0.70, 0.30)}),
    "sludge": Sign((0.87, 0.13), {
        "solids": (0.10, 0.90), "solids_full": (0.12, 0.88), "deposit": (0.65, 0.35),
        "blocked": (0.78, 0.22), **dict.fromkeys(("full", "tilt_full"), (0.80, 0.20))}),
    "stain": Sign((0.90, 0.10), {
        "all_full": (0.25, 0.75), **_sealed((0.62, 0.38)), "overload": (0.65, 0.35),
        "infiltration": (0.65, 0.35), "inlet_drop": (0.60, 0.40), "frozen": (0.72, 0.28)}),
    "cracks": Sign((0.92, 0.03, 0.03, 0.02), {
        "leak": (0.20, 0.70, 0.03, 0.07), "infiltration": (0.45, 0.12, 0.35, 0.08),
        "broken": (0.08, 0.12, 0.12, 0.68)}),
    "ground_at_box": Sign((0.93, 0.07), {
        "leak": (0.28, 0.72), "broken": (0.35, 0.65), "all_full": (0.70, 0.30),
        "inlet_drop": (0.85, 0.15)}),
    "inlet_mouth": Sign((0.94, 0.06), {
        "inlet_drop": (0.10, 0.90), "all_full": (0.40, 0.60), "frozen": (0.50, 0.50)}),
    "baffle": Sign((0.75, 0.25), {"jet": (0.05, 0.95)}),
    "ice": Sign((0.99, 0.01), {"frozen": (0.12, 0.88)}),
    "plugged": Sign((0.95, 0.05), {
        "leak": LEAKS, "broken": (0.85, 0.15), "infiltration": (0.80, 0.20)}),
}  # fmt: skip

OUTLET_SIGNS = {
    "cap": Sign((0.99, 0.01), {"capped": (0.06, 0.94)}),
    "mouth": Sign((0.88, 0.10, 0.02), {
        "blocked": (0.04, 0.16, 0.80), "crushed": (0.08, 0.27, 0.65),
        "back_pitched": (0.06, 0.68, 0.26), **_sealed((0.03, 0.19, 0.78)),
        "deposit": (0.80, 0.15, 0.05), "capped": (0.75, 0.10, 0.15),
    }, {
        "all_full": (0.02, 0.13, 0.85), "frozen": (0.15, 0.30, 0.55),
        "overload": (0.35, 0.60, 0.05), "infiltration": (0.50, 0.45, 0.05),
        "solids": (0.65, 0.30, 0.05)}),
    "lip": Sign((0.87, 0.13), {"deposit": (0.08, 0.92), "high": (0.95, 0.05)},
                {"solids": (0.45, 0.55), "solids_full": (0.55, 0.45)}),
    # behind a block the header falls away, so what stands in it is below its own lip and stays
    "drain_back": Sign((0.87, 0.11, 0.02), {
        "blocked": (0.85, 0.12, 0.03), "crushed": (0.72, 0.24, 0.04),
        "back_pitched": (0.06, 0.88, 0.06), **_sealed((0.04, 0.13, 0.83)),
    }, {"all_full": (0.03, 0.12, 0.85), "frozen": (0.75, 0.20, 0.05),
        "overload": (0.75, 0.20, 0.05)}),
    "rod": Sign((0.92, 0.03, 0.02, 0.03), {
        "blocked": (0.08, 0.60, 0.27, 0.05), "crushed": (0.10, 0.16, 0.69, 0.05),
        "back_pitched": (0.47, 0.05, 0.02, 0.46), **_sealed((0.86, 0.06, 0.02, 0.06)),
        "deposit": (0.80, 0.15, 0.02, 0.03), "capped": (0.60, 0.02, 0.36, 0.02),
    }, {"frozen": (0.25, 0.10, 0.60, 0.05), "solids": (0.76, 0.19, 0.02, 0.03),
        "broken": (0.82, 0.06, 0.07, 0.05)}),
    "traffic": Sign((0.95, 0.05), {"crushed": (0.30, 0.70)}),
    "wiped": Sign((0.93, 0.07), {"deposit": (0.10, 0.90)}, {"solids": (0.55, 0.45)}),
}  # fmt: skip
