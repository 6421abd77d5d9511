"""Do bare pipe ends fall freely, as their model needs? In sentences, for people.

Water falls through critical depth at a bare pipe end only while the header beyond it is steep:
normal depth below critical at its flow. A flatter header backs water up to the mouth.
"""

import numpy as np

from dbox.fieldwork.site import Site
from dbox.hydraulics.openings import PipeEnd
from dbox.hydraulics.pipes import header_check
from dbox.hydraulics.split import Split

DEFAULT_FALL = 0.125 / 12
"""Fall of a header where none is entered. [-] (1/8 in per ft; common practice, no source)"""


def header_warnings(site: Site, result: Split) -> tuple[str, ...]:
    """Sentences on bare pipe ends whose header is too flat, or whose fall is not known.

    Parameters
    ----------
    site : Site
        The box; only open outlets that are bare pipe ends matter.
    result : Split
        Their flows, cases by outlets.

    Returns
    -------
    tuple of str
        Empty where there is no bare pipe end or every one falls freely.
    """
    sentences = []
    unknown = []
    for i, outlet in enumerate(site.outlets):
        if outlet.capped or not isinstance(outlet.opening, PipeEnd):
            continue
        fall = DEFAULT_FALL if outlet.header_fall is None else outlet.header_fall
        if outlet.header_fall is None:
            unknown.append(outlet.label)
        check = header_check(result.flow[:, i], outlet.opening.diameter, fall)
        flat = [site.flows[case].name for case in np.flatnonzero(~check.steep).tolist()]
        if flat:
            sentences.append(
                f"outlet {outlet.label}: its header falls {100 * fall:.2g} %, flatter than "
                f"critical at {', '.join(flat)}; water backs up to the mouth and less flows than "
                f"computed"
            )
    if unknown:
        sentences.append(
            f"outlet {', '.join(unknown)}: a bare pipe end, its header taken to fall "
            f"{100 * DEFAULT_FALL:.1f} % (1/8 in per ft, common practice); enter header_fall"
        )
    return tuple(sentences)
