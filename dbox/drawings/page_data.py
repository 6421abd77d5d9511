"""A site as a page takes it: plain JSON, SI, in the names of `page/engine.js`; a box to lean."""

from dataclasses import asdict
from typing import Any

import numpy as np

from dbox.arrays import Array
from dbox.drawings.plan import Plan
from dbox.errors import DomainError
from dbox.fieldwork.lessons import FILLED, LESSON_KINDS, LESSON_TOLERANCE, leaning_lips, lesson_site
from dbox.fieldwork.levelling import HAND_STEP
from dbox.fieldwork.readings import without_placeholders
from dbox.fieldwork.shares import SAMPLES, target_shares
from dbox.fieldwork.site import Flow, Outlet, Site
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from dbox.report.cautions import LESSON
from dbox.report.encode import Json, encode
from dbox.units import BUCKET, DOSE, INCH, LITRE_PER_MINUTE, TRICKLE


def site_data(
    site: Site,
    *,
    match_highest: bool = False,
    design_flow: int | None = None,
    hand_step: float = HAND_STEP,
    samples: int = SAMPLES,
) -> dict[str, Any]:
    """What the page knows of a site; None: not known. hand_step [rad]; see `levelling.level`."""
    site = without_placeholders(site)
    return {
        "title": site.title,
        "units": "mm" if site.metric else "in",
        "mark": site.mark,
        "spread": site.spread,
        "tolerance": site.allowed,
        "toleranceSource": site.tolerance and site.tolerance.source,
        "targetOpen": site.target_open,
        "inlet": site.box.inlet,
        "shape": site.box.shape,
        "inside": list(site.box.inside),
        "rim": site.box.rim,
        "holdBack": list(site.hold_back),
        "handError": site.hand,
        "coefficientSpread": site.coefficient_spread,
        "matchHighest": match_highest,
        "designFlow": design_flow,
        "handStep": hand_step,
        "samples": samples,
        "flows": [asdict(flow) for flow in site.flows],
        "outlets": [
            _outlet(outlet, share)
            for outlet, share in zip(site.outlets, target_shares(site).tolist(), strict=True)
        ],
    }


def _outlet(outlet: Outlet, target: float) -> dict[str, Any]:
    offset = outlet.hole_offset or 0.0
    return {
        "label": outlet.label,
        "at": outlet.position and list(outlet.position),
        "opening": opening_data(outlet.opening),
        "point": outlet.point_over_lip,
        "turns": offset > 0,
        # JSON knows no infinity, which stands for an offset that nobody knows
        "offset": offset if 0 < offset < float("inf") else None,
        "clock": outlet.clock,
        "capped": outlet.capped,
        "readings": list(outlet.readings),
        "target": target,
    }


def opening_data(opening: Opening) -> dict[str, Any]:
    """An opening by its kind and its sizes in SI."""
    sizes = {_camel(name): value for name, value in asdict(opening).items()}
    return {"kind": opening.kind, **sizes}


def _camel(name: str) -> str:
    first, *rest = name.split("_")
    return first + "".join(word.capitalize() for word in rest)


LOW, HIGH = -0.75 * INCH, 2.5 * INCH
"""Heights that the strip of wall shows. [m] (judgement)"""

FLOWS = (1.0, 120.0)
"""Least and most flow of the slider, where those of the box are not beyond. [L/min] (judgement)"""

_INSIDE = (0.4, 0.5)
"""Inside of a box that was not measured, along and across. [m] (judgement)"""

_WIDEST = 4 * INCH
"""How wide an opening that widens without end is drawn at most. [m] (judgement)"""

USUAL_FLOWS = (
    Flow(name="trickle", inflow=TRICKLE),
    Flow(name="bucket", inflow=BUCKET),
    Flow(name="dose", inflow=DOSE),
)
"""Flows that the page marks for a made-up box. [m3/s] (as `dbox.units` has them)"""

_SUMP, _RIM = 4 * INCH, 6 * INCH
"""How far floor and rim of a box are drawn under and over its lips where nobody measured them. [m]
(judgement)"""


MOST_OUTLETS = 20
"""Outlets that a box to lean shows. [-] (judgement)"""


def bench_of(site: Site | None) -> Site:
    """A site to lean; a made-up one where there is none, or its outlets' places lack."""
    uncapped = [outlet for outlet in site.outlets if not outlet.capped] if site else []
    if site is None or len(site.outlets) > MOST_OUTLETS or not uncapped:
        return lesson_site()
    return site if all(outlet.position for outlet in uncapped) else lesson_site()


def lean_data(site: Site, outlet: int | None = None) -> Json:
    """A box to lean as `page/lean.js` takes it: that draws it and splits the flow itself.

    outlet: Place of the one whose lip can be wrong and whose trench can fill; else the first open
    one. Heights are over where the lips of the level box are. [m]
    """
    n, uncapped = len(site.outlets), [i for i, o in enumerate(site.outlets) if not o.capped]
    if n > MOST_OUTLETS:
        raise DomainError(f"{n} outlets; a box to lean has at most {MOST_OUTLETS}")
    wrong = uncapped[0] if outlet is None and uncapped else outlet
    if wrong not in uncapped:
        raise DomainError(f"outlet {(outlet or 0) + 1} is not an open one of the {n} outlets")
    inside = site.box.inside or _INSIDE
    length, across = inside[0], inside[-1]
    is_round = site.box.shape == "round"
    far, right = (
        np.where(np.isfinite(lean), lean, 0.0)
        for lean in (leaning_lips(site, 1.0, 0.0), leaning_lips(site, 0.0, 1.0))
    )
    places = [outlet.position or (0.0, 0.0) for outlet in site.outlets]
    plan = Plan((0.5 * across, 0.5 * length), length, across, 1.0, is_round)
    ways = [plan.mouth(*place).way for place in places]
    flows = USUAL_FLOWS if site.record.invented else site.flows
    inflows = [flow.inflow for flow in flows]
    kinds = _kinds(site)
    forms = list(dict.fromkeys(opening for _, openings in kinds for opening in openings))
    allowed = LESSON_TOLERANCE.share if site.allowed is None else site.allowed
    data: Json = encode({
        "title": site.title or "A box",
        "metric": site.metric,
        "round": is_round,
        "along": length,
        "across": across,
        "floor": -(site.box.sump or _SUMP),
        "top": site.box.rim or _RIM,
        "low": LOW,
        "high": HIGH,
        "filled": FILLED,
        "capillary": CAPILLARY_HEAD,
        "outlet": wrong,
        "allowed": allowed,
        "outlets": [
            {
                "label": outlet.label,
                "capped": outlet.capped,
                "target": target,
                "leanFar": far[i],
                "leanRight": right[i],
                "x": places[i][1],
                "y": places[i][0],
                "across": ways[i][0],
                "along": ways[i][1],
            }
            for i, (outlet, target) in enumerate(
                zip(site.outlets, target_shares(site), strict=True)
            )
        ],
        "kinds": [
            {"name": name, "forms": [forms.index(opening) for opening in openings]}
            for name, openings in kinds
        ],
        "forms": [
            {"opening": opening_data(form), "outline": _outline(form)}
            for form in forms
        ],
        "flows": [{"name": flow.name, "inflow": flow.inflow} for flow in flows],
        "leastFlow": min(FLOWS[0] * LITRE_PER_MINUTE, *inflows),
        "mostFlow": max(FLOWS[1] * LITRE_PER_MINUTE, *inflows),
        "notes": [
            *["Invented box."] * site.record.invented,
            "All lips are level before the box leans.",
            LESSON,
        ],
    })  # fmt: skip
    return data


def _outline(opening: Opening) -> Array:
    """Corners of an opening as high as the strip; a notch as far as it is drawn. [m]"""
    corners = opening.outline(HIGH - LOW).round(4)
    wide = float(np.ptp(corners[:, 0]))
    return corners * min(1.0, _WIDEST / wide) if opening.widens else corners


def _kinds(site: Site) -> list[tuple[str, list[Opening]]]:
    """Openings to choose from, the box's own ones first where it is no made-up one."""
    own = [o.opening for o in site.outlets]
    kinds = [(kind.name, [kind.opening] * len(own)) for kind in LESSON_KINDS]
    return kinds if site.record.invented else [("as in this box", own), *kinds]
