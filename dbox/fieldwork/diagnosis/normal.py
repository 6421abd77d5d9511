"""Normal things first: is one wet line what this system is meant to do, or was it just in use?

Serial and drop boxes fill one line after the other; lines are capped or alternated to rest; a box
read just after laundry or a dose is not at rest. Each of these is asked about before a fault is
named (common practice, no source).
"""

from dataclasses import dataclass

from dbox.fieldwork.diagnosis.causes import feed_is_strong
from dbox.fieldwork.site import Site

AT_REST = 1800.0
"""Time since the last use from which a box is taken to be at rest. [s] (common practice)"""


@dataclass(frozen=True, kw_only=True)
class Normal:
    """One normal explanation, and where it stands.

    Parameters
    ----------
    topic : str
        `system`, `caps` or `use`.
    state : str
        `ask` where nobody has looked, `explains` where it may be all there is to it, `ruled out`.
    text : str
        What to ask, or what follows.
    """

    topic: str
    state: str
    text: str


def normal_things(site: Site) -> tuple[Normal, ...]:
    """What may be normal at a site, asked or answered.

    Parameters
    ----------
    site : Site
        The box and what was seen of it.

    Returns
    -------
    tuple of Normal
        One for each topic.
    """
    return _system(site), _caps(site), _use(site)


def _system(site: Site) -> Normal:
    kind = site.evidence.system
    if kind is None:
        return Normal(
            topic="system",
            state="ask",
            text="is it a serial or drop-box system, or do the lines alternate? In those one wet "
            "line is normal unless the last one is full",
        )
    if kind == "distribution box":
        return Normal(topic="system", state="ruled out", text="all lines are to run at once")
    if kind == "alternating":
        text = "lines alternate: the one that rests is dry as it should be; ask which one is on"
    else:
        text = f"{kind} by design: the upper line fills first, normal unless the last one is full"
    return Normal(topic="system", state="explains", text=text)


def _caps(site: Site) -> Normal:
    seen = [site.evidence.of_outlet(i).cap for i in range(len(site.outlets))]
    capped = [
        o.label for o, cap in zip(site.outlets, seen, strict=True) if o.capped or cap == "capped"
    ]
    if capped:
        names = ", ".join(capped)
        return Normal(
            topic="caps",
            state="explains",
            text=f"outlet {names} is capped: its line is dry on purpose; ask who capped it and why",
        )
    if all(cap is not None for cap in seen):
        return Normal(topic="caps", state="ruled out", text="no outlet is capped")
    return Normal(
        topic="caps",
        state="ask",
        text="was an outlet capped, or a line valved off, to rest it? Then it is dry on purpose",
    )


def _use(site: Site) -> Normal:
    since = site.evidence.since_use
    dosed = "pumping or a dose" if feed_is_strong(site) else "laundry, a bath or pumping"
    if since is None:
        return Normal(
            topic="use",
            state="ask",
            text=f"how long since water was used? A box read just after {dosed} is not at rest",
        )
    if since < AT_REST:
        return Normal(
            topic="use",
            state="explains",
            text="the box was read soon after use: what stood in it and in the mouths may have "
            "been on its way; wait half an hour with no water used and look again",
        )
    return Normal(topic="use", state="ruled out", text="the box was at rest")
