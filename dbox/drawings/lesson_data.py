"""A lesson's box as its page takes it: lean it, and watch the water.

`page/lean.js` draws it and splits the flow itself; here it gets its box, the openings to choose
from and the flows to mark. Heights are metres over where the lips of the level box are.
"""

import numpy as np

from dbox.arrays import Array
from dbox.drawings.page_data import opening_data
from dbox.fieldwork.lessons import (
    FILLED,
    LESSON_TOLERANCE,
    MOST_OUTLETS,
    Bench,
    lesson_site,
)
from dbox.fieldwork.shares import target_shares
from dbox.fieldwork.site import Flow, Site
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from dbox.report.cautions import LESSON
from dbox.report.encode import Json, encode
from dbox.units import BUCKET, DOSE, INCH, LITRE_PER_MINUTE, TRICKLE

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


def bench_of(site: Site | None) -> Bench:
    """A site's box to lean; a made-up one where there is none, or its outlets' places lack."""
    uncapped = [i for i, o in enumerate(site.outlets) if not o.capped] if site else []
    if site is None or len(site.outlets) > MOST_OUTLETS or not uncapped:
        return Bench(site=lesson_site())
    placed = all(site.outlets[i].position for i in uncapped)
    return Bench(site=site, outlet=uncapped[0]) if placed else Bench(site=lesson_site())


def lean_data(bench: Bench) -> Json:
    """What `page/lean.js` needs of a bench, in SI: it splits the flow itself."""
    site = bench.site
    inside = site.box.inside or _INSIDE
    length, across = inside[0], inside[-1]
    is_round = site.box.shape == "round"
    far, right = (
        np.where(np.isfinite(lean), lean, 0.0)
        for lean in (bench.lips(1.0, 0.0, 0.0), bench.lips(0.0, 1.0, 0.0))
    )
    flows = USUAL_FLOWS if site.record.invented else site.flows
    inflows = [flow.inflow for flow in flows]
    kinds = _kinds(bench)
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
        "outlet": bench.outlet,
        "allowed": allowed,
        "outlets": [
            {
                "label": outlet.label,
                "capped": outlet.capped,
                "target": target,
                "leanFar": far[i],
                "leanRight": right[i],
                **_leaves(outlet.position or (0.0, 0.0), length, across, is_round),
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


def _leaves(
    position: tuple[float, float], length: float, width: float, is_round: bool
) -> dict[str, float]:
    """Where an outlet leaves the box, and which way: out of the nearest wall. [m], [-]"""
    y, x = position
    walls = [(length - y, (0.0, 1.0)), (x, (-1.0, 0.0)), (width - x, (1.0, 0.0))]
    across, along = min(walls, key=lambda wall: wall[0])[1]
    if is_round:
        away = (x - width / 2, y - length / 2)
        across, along = (part / (np.hypot(*away) or 1.0) for part in away)
    return {"x": x, "y": y, "across": across, "along": along}


def _kinds(bench: Bench) -> list[tuple[str, list[Opening]]]:
    """Openings to choose from, the box's own ones first where it is no made-up one."""
    own = [o.opening for o in bench.site.outlets]
    kinds = [(kind.name, [kind.opening] * len(own)) for kind in bench.kinds]
    return kinds if bench.site.record.invented else [("as in this box", own), *kinds]
