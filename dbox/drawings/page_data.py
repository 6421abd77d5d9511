"""A site as the engine of a page takes it: plain JSON, SI, in the names of `page/engine.js`."""

from dataclasses import asdict
from typing import Any

from dbox.fieldwork.levelling import HAND_STEP
from dbox.fieldwork.readings import without_placeholders
from dbox.fieldwork.shares import SAMPLES, target_shares
from dbox.fieldwork.site import Outlet, Site
from dbox.hydraulics.openings import Opening


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
