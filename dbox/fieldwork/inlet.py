"""What the pipes at the box do to it: headers behind bare pipe ends, the jet of the inlet.

Water falls through critical depth at a bare pipe end only while the header beyond it is steep:
normal depth below critical at its flow. A flatter header backs water up to the mouth.

An outlet that the jet strikes runs as if its lip stood lower by the velocity head there (see
`hydraulics.jet`): the surge computes with that. A split, a turning and a pour test compute without
it; they ask here at which flows that matters, and give no verdict there.

Where it is not known which pipe the water comes through, or where the outlets stand, there are
several ways in which the jet may strike; each is a way, the first axis of the arrays here.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, ArrayLike, BoolArray, freeze
from dbox.errors import outlets_text
from dbox.fieldwork.site import Site
from dbox.hydraulics.jet import Jet
from dbox.hydraulics.openings import PipeEnd
from dbox.hydraulics.pipes import header_check
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

NOTICED = 0.05
"""Change of a share, over its target, from which the jet counts where no tolerance is given. [-]
(judgement)"""

CURE = "turn the inlet's end down, or set a tee or a baffle: that ends the jet"
"""What ends the jet."""

_AT_WALL = 0.05
"""How near to a wall an outlet is in it. [m] (judgement)"""


@dataclass(frozen=True, kw_only=True)
class Mouth:
    """A pipe that may bring the water, and a note where its size is taken and not known."""

    pipe: SupplyPipe | PressurePipe
    taken: Note | None = None


def mouths(site: Site) -> tuple[Mouth, ...]:
    """The pipes that water may come through, the gravity pipe first; one ordinary pipe for none."""
    supply, pump = site.works.supply, site.works.pump
    found = [] if supply is None else [Mouth(pipe=supply)]
    if pump is not None:
        found.append(pumped_mouth(site))
    return tuple(found) or (Mouth(pipe=ORDINARY_PIPE, taken=Note(what="jet: supply not known")),)


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


def possible_jets(site: Site) -> list[Jet]:
    """Every way in which a jet may strike: one a pipe, and one an outlet where places are unknown.

    Only a straight inlet throws a jet; where it is not said how the inlet ends none is computed.
    An outlet without a place may stand on the axis in the far wall.
    """
    if site.box.inlet != "straight":
        return []
    if placed(site):
        return [jet_from(site, mouth) for mouth in mouths(site)]
    distance = np.full(len(site.outlets), site.box.inside[0] if site.box.inside else 0.0)
    struck = np.eye(len(site.outlets))[[not outlet.capped for outlet in site.outlets]]
    return [
        Jet(pipe=mouth.pipe, distance=distance, offset=np.zeros_like(distance), facing=facing)
        for mouth in mouths(site)
        for facing in struck
    ]


@dataclass(frozen=True, kw_only=True, eq=False)
class Strike:
    """What the jet of a straight inlet adds at flows, and the shares with it; read-only."""

    inflow: Array  # (flows,) The flows. [m3/s]
    head: Array  # (ways, flows, n) Extra head at each outlet; no ways where there is no jet. [m]
    share: Array  # (ways, flows, n) Shares with the jet. [-]
    without: Array  # (flows, n) Shares without it. [-]
    target: Array  # (n,) Wanted shares. [-]

    def changes(self, allowed: ArrayLike) -> BoolArray:
        """Whether the jet moves a share by more than is allowed, in some way. (flows,)

        allowed [-].
        """
        room = np.asarray(allowed)[..., None] * self.target
        moved: BoolArray = np.any(np.abs(self.share - self.without) > room, axis=(0, 2))
        return moved


def strike(
    site: Site, jets: Sequence[Jet], lips: Array, inflow: Array, without: Array, target: Array
) -> Strike:
    """Find what a jet changes; lips [m], inflow [m3/s], without [-], target [-]."""
    head = np.array([jet.heads(inflow) for jet in jets]).reshape(-1, *without.shape)
    openings = [outlet.opening for outlet in site.outlets]
    share = split(inflow, lips - head, openings, rim=site.box.rim).share if jets else head
    found = Strike(inflow=inflow, head=head, share=share, without=without, target=target)
    freeze(found.head, found.share)
    return found


def jet_notes(
    site: Site, found: Strike, matters: BoolArray, names: Sequence[str]
) -> tuple[Note, ...]:
    """The flows at which the jet matters to what is computed without it."""
    if not matters.any():
        return ()
    cases = np.flatnonzero(matters).tolist()
    notes = [jet_note(site, found, case, "jet: counts", where=names[case]) for case in cases]
    notes.append(Note(what="jet: computed without"))
    notes += [mouth.taken for mouth in mouths(site) if mouth.taken]
    return (*notes, *([] if placed(site) else [Note(what="jet: places not known")]))


def jet_note(site: Site, found: Strike, case: int, what: str, where: str = "") -> Note:
    """What the jet does at one flow, at the outlet where it adds the most."""
    moved = np.abs(found.share - found.without)[:, case]
    way = int(moved.max(-1).argmax())
    i = int(found.head[way, case].argmax())
    values = {
        "inflow": float(found.inflow[case]),
        "outlet": site.outlets[i].label if placed(site) else "",
        "head": float(found.head[way, case, i]),
        "share": float(found.share[way, case, i]),
        "without": float(found.without[case, i]),
    }
    return Note(what=what, where=where, values=values)
