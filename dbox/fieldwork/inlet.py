"""What the pipes at the box do to it: headers behind bare pipe ends, the jet of the inlet.

Water falls through critical depth at a bare pipe end only while the header beyond it is steep:
normal depth below critical at its flow. A flatter header backs water up to the mouth.

An outlet that the jet strikes runs as if its lip stood lower by the velocity head there (see
`hydraulics.pipes.Jet`): splits, turnings, pour tests and the surge compute with that. A straight
inlet throws one; where it is not said how the inlet ends it may.

Where it is not known which pipe the water comes through, where the outlets stand or how the inlet
ends, the jet may strike in several ways; each is a way, the first axis of the arrays here. The
first is the one that shares are computed by: the jet of the first pipe where the inlet is straight
and the places are known, else no jet. What does not hold in every way is not said for certain.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from dbox.arrays import Array, ArrayLike, BoolArray, Result
from dbox.errors import outlets_text
from dbox.fieldwork.site import Site
from dbox.hydraulics.openings import PipeEnd
from dbox.hydraulics.pipes import Jet, header_check
from dbox.hydraulics.split import Split, split
from dbox.hydraulics.surge.parts import PressurePipe, SupplyPipe
from dbox.notes import Note
from dbox.units import FOOT, INCH

DEFAULT_FALL = INCH / 8 / FOOT
"""Fall of a header where none is entered. [-] (1/8 in per ft; common practice, no source)"""


def header_notes(site: Site, result: Split) -> tuple[Note, ...]:
    """Bare pipe ends whose header is too flat, or whose fall is not known."""
    notes, unknown = [], []
    for i, outlet in enumerate(site.outlets):
        if outlet.capped or not isinstance(outlet.opening, PipeEnd):
            continue
        fall = outlet.header_fall
        if fall is None:
            unknown.append(outlet.label)
            fall = DEFAULT_FALL
        steep = header_check(result.flow[:, i], outlet.opening.diameter, fall).steep
        flat = tuple(site.flows[case].name for case in np.flatnonzero(~steep))
        if flat:
            values = {"fall": fall, "flows": flat}
            notes.append(
                Note(what="header: too flat", where=f"outlet {outlet.label}", values=values)
            )
    if unknown:
        where, values = outlets_text(unknown), {"fall": DEFAULT_FALL}
        notes.append(Note(what="header: fall not known", where=where, values=values))
    return tuple(notes)


ORDINARY_PIPE = SupplyPipe(length=1.0, diameter=4 * INCH, fall=DEFAULT_FALL)
"""The gravity pipe where none is given, for its velocity: its length plays no part. [m, m, -]
(4 in at 1/8 in per ft: common practice, no source)"""

ORDINARY_MAIN = PressurePipe(diameter=2 * INCH)
"""The pressure pipe of a pump where its diameter is not given. [m] (2 in: common practice, no
source)"""

ENDED = ("turned down", "tee", "baffle")
"""Inlets that leave nothing of the jet. (common practice, no source: they are there to end it; that
what is left of it favors no outlet: judgement)"""

NEAREST_WALL = 12 * INCH
"""From the inlet to the wall across from it where the box's inside is not given: that of a small
box. [m] (judgement)"""

NOTICED = 0.05
"""Change of a share, over its target, from which the jet counts where no tolerance is given. [-]
(judgement)"""

CURE = "turn the inlet's end down, or set a tee or a baffle: that ends the jet"
"""What ends the jet."""

LOOK = "look how the inlet ends, and enter inlet under [box]"
"""What tells whether there is a jet."""

_AT_WALL = 0.05
"""How near to a wall an outlet is in it. [m] (judgement)"""


@dataclass(frozen=True, kw_only=True)
class Mouth:
    """A pipe that may bring the water, and a note where its size is taken and not known."""

    pipe: SupplyPipe | PressurePipe
    taken: Note | None = None


def mouths(site: Site) -> tuple[Mouth, ...]:
    """The pipes that water may come through, the gravity pipe first; ordinary ones for none."""
    supply, pump = site.works.supply, site.works.pump
    found = [] if supply is None else [Mouth(pipe=supply)]
    if pump is not None:
        found.append(pumped_mouth(site))
    unknown = Mouth(pipe=ORDINARY_PIPE, taken=Note(what="jet: supply not known"))
    return tuple(found) or (unknown, Mouth(pipe=ORDINARY_MAIN))


def pumped_mouth(site: Site) -> Mouth:
    """The pressure pipe of the site's pump, or an ordinary one where its size is not given."""
    pump = site.works.pump
    if pump is not None and pump.main_diameter:
        return Mouth(pipe=PressurePipe(diameter=pump.main_diameter))
    return Mouth(pipe=ORDINARY_MAIN, taken=Note(what="jet: main not known"))


def placed(site: Site) -> bool:
    """Whether it is known where every open outlet stands in the box."""
    return bool(site.box.inside) and all(o.position or o.capped for o in site.outlets)


def jet_from(site: Site, mouth: Mouth) -> Jet:
    """The jet of a straight inlet in the middle of its wall."""
    box = site.box
    along, across = np.array([outlet.position or (0.0, 0.0) for outlet in site.outlets]).T
    offset = np.abs(across - box.inside[-1] / 2)
    if box.shape == "round":
        facing = (along - box.inside[0] / 2) / (box.inside[0] / 2)
    else:
        facing = np.where(along >= box.inside[0] - _AT_WALL, 1.0, 0.0)
    return Jet(
        pipe=mouth.pipe,
        distance=np.maximum(along, 0.0),
        offset=offset,
        facing=np.clip(facing, 0.0, 1.0),
    )


def strongest(pipes: Sequence[SupplyPipe | PressurePipe], inflow: Array, across: float) -> Array:
    """Most head that jets of some pipes have on their axis, across a box; inflow [m3/s] -> [m]."""
    on_axis = {"distance": np.array([across]), "offset": np.zeros(1), "facing": np.ones(1)}
    most: Array = np.max([Jet(pipe=p, **on_axis).heads(inflow)[..., 0] for p in pipes], axis=0)
    return most


def possible_heads(ended: BoolArray, pipe: Array, main: Array, inflow: Array) -> Array | None:
    """Most head that the jets of boxes may have, where nobody knows where outlets stand. (flows, k)

    ended: Whether the inlet ends the jet; pipe, main: inside diameters of the gravity pipe and of
    the pump's main, NaN where not given [m]; inflow [m3/s] -> [m]. None where no box has any.
    """
    if ended.all():
        return None
    # no two NaN are alike, so that each box would be of a kind of its own
    sizes = np.nan_to_num(np.stack([pipe, main], -1))
    kinds, kind = sizes[:1], np.zeros(len(sizes), np.intp)
    if np.any(sizes != kinds):
        kinds, kind = np.unique(sizes, axis=0, return_inverse=True)
    heads = [_strongest(*sizes, *inflow.tolist()) for sizes in kinds.tolist()]
    return np.where(ended, 0.0, np.stack(heads, -1)[:, kind.ravel()])


@lru_cache(1024)
def _strongest(gravity: float, pumped: float, *inflow: float) -> Array:
    """Of pipes of these diameters, 0 where not given, in a small box; [m], [m3/s] -> [m]."""
    pipes: list[SupplyPipe | PressurePipe] = [
        *([replace(ORDINARY_PIPE, diameter=gravity)] if gravity else []),
        *([PressurePipe(diameter=pumped)] if pumped else []),
    ] or [ORDINARY_PIPE, ORDINARY_MAIN]
    return strongest(pipes, np.array(inflow), NEAREST_WALL)


def known_jet(site: Site) -> Jet | None:
    """The jet that shares are computed with; None where none is, or nobody can say where."""
    straight = site.box.inlet == "straight" and placed(site)
    return jet_from(site, mouths(site)[0]) if straight else None


@dataclass(frozen=True, kw_only=True, eq=False)
class Ways(Result):
    """The ways in which the jet may strike at some flows; arrays are read-only."""

    head: Array  # (ways, flows, n) Extra head at each outlet; the first is what is computed by. [m]
    calm: int  # The way without a jet, there to compare with: the first of them, or the last.

    @property
    def taken(self) -> Array:
        """Extra head that shares are computed with. [m] (flows, n)"""
        result: Array = self.head[0]
        return result

    @property
    def possible(self) -> slice:
        """The ways that may be true."""
        return slice(0, None if self.calm == 0 else self.calm)


def ways(site: Site, inflow: Array) -> Ways:
    """The ways in which the jet of a site may strike; inflow [m3/s].

    Where places are not known each open outlet may stand in the far wall on the jet's axis, and
    that of the stronger pipe counts.
    """
    n = len(site.outlets)
    calm, jets, known = np.zeros((1, inflow.size, n)), [], known_jet(site)
    if site.box.inlet in ENDED:
        pass
    elif placed(site):
        jets = [jet_from(site, mouth).heads(inflow) for mouth in mouths(site)]
    else:
        across = site.box.inside[0] if site.box.inside else NEAREST_WALL
        most = strongest([mouth.pipe for mouth in mouths(site)], inflow, across)
        struck = np.eye(n)[[not outlet.capped for outlet in site.outlets]]
        jets = list(most[:, None] * struck[:, None])
    if not np.any(jets):
        return Ways(head=calm, calm=0)
    if known is not None:
        return Ways(head=np.concatenate([jets, calm]), calm=len(jets))
    return Ways(head=np.concatenate([calm, jets]), calm=0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Strike(Result):
    """What the jet of a straight inlet does at flows, in every way; read-only."""

    inflow: Array  # (flows,) The flows. [m3/s]
    ways: Ways  # The ways in which it may strike.
    share: Array  # (ways, flows, n) Shares in each way. [-]
    target: Array  # (n,) Wanted shares. [-]

    @property
    def without(self) -> Array:
        """Shares without a jet. [-] (flows, n)"""
        result: Array = self.share[self.ways.calm]
        return result

    def changes(self, allowed: ArrayLike) -> BoolArray:
        """Whether the jet moves a share by more than is allowed, in some way. (flows,)

        allowed [-].
        """
        room = np.asarray(allowed)[..., None] * self.target
        moved: BoolArray = np.any(np.abs(self.share - self.without) > room, axis=(0, 2))
        return moved


def strike(site: Site, each: Ways, lips: Array, inflow: Array, target: Array) -> Strike:
    """Find what a jet changes; lips [m], inflow [m3/s], target [-]."""
    openings = [outlet.opening for outlet in site.outlets]
    share = split(inflow, lips - each.head, openings, rim=site.box.rim).share
    return Strike(inflow=inflow, ways=each, share=share, target=target)


def jet_notes(
    site: Site, found: Strike, matters: BoolArray, names: Sequence[str]
) -> tuple[Note, ...]:
    """The flows at which the jet matters, what is not known of it, and what ends it."""
    if not matters.any():
        return ()
    cases = np.flatnonzero(matters).tolist()
    if site.box.inlet is None:
        most = max(cases, key=lambda case: float(np.ptp(found.share[:, case], axis=0).max()))
        told = jet_note(site, found, most, "jet: inlet not known")
        flows = tuple(names[case] for case in cases)
        return (replace(told, values={**told.values, "flows": flows, "at": names[most]}),)
    notes = [jet_note(site, found, case, "jet: counts", where=names[case]) for case in cases]
    notes += [mouth.taken for mouth in mouths(site) if mouth.taken]
    if site.works.supply and site.works.pump:
        notes.append(Note(what="jet: two pipes"))
    if not placed(site):
        notes.append(Note(what="jet: places not known"))
    return (*notes, Note(what="jet: cure"))


def jet_note(site: Site, found: Strike, case: int, what: str, where: str = "") -> Note:
    """What the jet does at one flow, at the outlet that gains the most by it.

    In the way that shares are computed by; where that has no jet, in the one that moves most.
    """
    moved = np.abs(found.share - found.without)[:, case]
    way = 0 if found.ways.calm else int(moved.max(-1).argmax())
    i = int((found.share[way, case] - found.without[case]).argmax())
    values = {
        "inflow": float(found.inflow[case]),
        "which": f"outlet {site.outlets[i].label}" if placed(site) else "an outlet opposite",
        "head": float(found.ways.head[way, case, i]),
        "share": float(found.share[way, case, i]),
        "without": float(found.without[case, i]),
    }
    return Note(what=what, where=where, values=values)
