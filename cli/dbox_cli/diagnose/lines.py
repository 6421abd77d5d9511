"""The favoured line in the text of `dbox diagnose`: its share, its load, what would change it."""

import numpy as np

from dbox.fieldwork.diagnosis.overload import Overload
from dbox.fieldwork.site import Site
from dbox.files.notation import gallons
from dbox.files.units import DAY, FOOT, GALLON
from dbox_cli.output import wrapped
from dbox_cli.surge.report import duration

_FIT = 1.02
_LABEL = 12


def overloaded(site: Site, over: Overload) -> list[str]:
    """Every line's share, and the line that gets the most over what it ought to in numbers."""
    i = over.outlet
    label, share, target = site.outlets[i].label, float(over.share[i]), float(over.target[i])
    if share <= _FIT * target:
        lines = wrapped("No line gets more than it ought to.", first="  ")
        return [*_shares(site, over), *lines, *_sealed(site, over)]
    ends = f"{100 * over.share_low[i]:.0f} to {100 * over.share_high[i]:.0f} %"
    sentences = [
        f"As it stands it gets {100 * share:.0f} % ({ends}) of an ordinary day; it ought to get "
        f"{100 * target:.0f} %, and would from a box that is set again."
    ]
    sentences += _loads(over) if over.known else [_missing(over)]
    sentences += _since(site)
    sentences += _rest(over)
    lines = [*_shares(site, over), *_sealed(site, over)]
    lines += ["", *wrapped(f"THE LINE THAT GETS THE MOST NOW: outlet {label}")]
    for sentence in sentences:
        lines += wrapped(sentence, first="  ", indent="  ")
    return lines


def _shares(site: Site, over: Overload) -> list[str]:
    lines = ["SHARE OF AN ORDINARY DAY, as the box stands"]
    heads = f"{'now':>6}{'5 to 95 %':>16}{'ought':>9}{'of what soil takes':>21}"
    lines.append(f"  {'outlet':<{_LABEL}}{heads}")
    for i, outlet in enumerate(site.outlets):
        label = outlet.label if len(outlet.label) < _LABEL else f"{outlet.label[: _LABEL - 2]}~"
        if outlet.capped:
            lines.append(f"  {label:<{_LABEL}}{'capped':>6}")
            continue
        now, ought = (f"{100 * float(s[i]):.0f} %" for s in (over.share, over.target))
        band = f"{100 * over.share_low[i]:.0f} to {100 * over.share_high[i]:.0f} %"
        load = float(over.load[i] / over.acceptance[i])
        times = f"{load:.1f} times" if np.isfinite(load) else "not known"
        lines.append(f"  {label:<{_LABEL}}{now:>6}{band:>16}{ought:>9}{times:>21}")
    return lines


def _sealed(site: Site, over: Overload) -> list[str]:
    if over.sealed < 0:
        return []
    label, (low, share, high) = site.outlets[over.sealed].label, over.before
    words = (
        f"The line of outlet {label} is probably full and backs up, so it takes little now. Before "
        f"that the box as it stands sent it {100 * share:.0f} % ({100 * low:.0f} to "
        f"{100 * high:.0f} %) of an ordinary day; it ought to get "
        f"{100 * over.target[over.sealed]:.0f} %."
    )
    return wrapped(words, first="  ", indent="  ")


def _loads(over: Overload) -> list[str]:
    i = over.outlet
    day = f"{gallons(over.daily_flow * DAY)} a day"
    whence = f"{day}, taken from the number of people alone" if over.from_people else day
    now, takes = float(over.load[i]), float(over.acceptance[i])
    told = (
        f"Of {whence}, its trench bottom is loaded with {_rate(now)}; entered is that its soil "
        f"takes {_rate(takes)}: {now / takes:.1f} times that. Set again: "
        f"{_rate(float(over.load_reset[i]))}."
    )
    if np.isposinf(over.fills_in):
        return [told, "With what its walls take it keeps up: it would not fill to its pipe."]
    if np.isnan(over.fills_in):
        return [told]
    full = duration(over.fills_in)
    return [
        told,
        f"At that, an empty trench fills to its pipe in {full}; one that is found full has been "
        "over for that long at least.",
    ]


def _missing(over: Overload) -> str:
    need = [] if np.isfinite(over.daily_flow) else ["daily_flow under [evidence]"]
    if not np.isfinite(over.acceptance[over.outlet]):
        need.append("[trench] with its acceptance")
    need = need or ["line_area or line_length and [trench] width"]
    return f"Its load for each square foot is not known; it needs {' and '.join(need)}."


def _since(site: Site) -> list[str]:
    since = site.evidence.since
    return [] if since is None else [f"The trouble has been known for {duration(since)}."]


def _rest(over: Overload) -> list[str]:
    n = int((over.target > 0).sum())
    if n < 2:
        return []
    others = [k for k in np.flatnonzero(over.target > 0).tolist() if k != over.outlet]
    target = over.target[others]
    if np.ptp(target) > 1e-9 * target.max() or abs(target[0] - over.target[over.outlet]) > 1e-9:
        factor = float(over.rested[others[0]] / target[0])
        told = f"{factor:.2f} times"
    else:
        told = f"{n}/{n - 1} of"
    words = f"Capped for a rest, each of the others gets {told} its share in a box set again"
    worst = over.load_rested[others] / over.acceptance[others]
    if np.isfinite(worst).all():
        words += f": at most {worst.max():.2f} times what its soil takes"
    return [f"{words}."]


def _rate(rate: float) -> str:
    imperial, metric = rate * DAY * FOOT**2 / GALLON, rate * DAY * 1e3
    return f"{imperial:.2g} gal/ft2/day ({metric:.3g} L/m2/day)"
