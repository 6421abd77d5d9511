"""The extra head that a straight inlet throws at the outlets that its jet strikes.

The inflow enters as a round jet with the velocity U0 it has in the pipe and the diameter D of a
circle as large as its flow area. At a distance x and an offset y from its axis

    U = U0 min(1, 6.2 D / x) exp(-ln 2 (y / b)^2),   b = max(0.1 x, D / 2)

(M. L. Albertson, Y. B. Dai, R. A. Jensen, H. Rouse 1950, Diffusion of submerged jets, Transactions
ASCE 115, for the decay beyond a core of about 6 D; N. Rajaratnam 1976, Turbulent Jets, for the
half-width b; both from memory). An outlet that faces the jet gains U^2 / 2g, where the outlet
stands aslant only the part of U along it. A box is a few D long, so its outlets lie in the core or
near it: a rough model, for the size of the effect. A turned-down inlet, a tee or a baffle ends it.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import GRAVITY, Array, ArrayLike
from dbox.errors import DomainError
from dbox.hydraulics.surge.parts import PressurePipe, SupplyPipe

DECAY = 6.2
"""Centreline velocity over that at the mouth, times distance over diameter. [-] (Albertson and
others 1950, from memory)"""

WIDENING = 0.1
"""Half-width, where velocity is half that on the axis, over distance. [-] (Rajaratnam 1976, from
memory)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Jet:
    """The jet of a straight inlet, and where the outlets stand in it."""

    pipe: SupplyPipe | PressurePipe  # The pipe it comes from.
    distance: Array  # (n,) From the inlet to each outlet along the jet. [m]
    offset: Array  # (n,) From the jet's axis to each outlet. [m]
    # (n,) Cosine between the jet and the way out through the outlet, 0 where it faces away. [-]
    facing: Array

    def __post_init__(self) -> None:
        shapes = {self.distance.shape, self.offset.shape, self.facing.shape}
        if len(shapes) > 1 or not np.all(np.isfinite([self.distance, self.offset, self.facing])):
            raise DomainError("a jet needs a distance, an offset and a facing of each outlet")

    def heads(self, inflow: ArrayLike) -> Array:
        """Extra head at each outlet; inflow [m3/s] -> [m]."""
        flow = np.asarray(inflow, np.float64)[..., None]
        start = self.pipe.velocity(flow)
        area = np.where(flow > 0, flow / np.where(start > 0, start, 1.0), 0.0)
        size = np.sqrt(4 / np.pi * area)
        near = np.maximum(self.distance, 1e-9)
        half_width = np.maximum(WIDENING * near, np.maximum(size / 2, 1e-9))
        axis = start * np.minimum(1.0, DECAY * size / near)
        there = axis * np.exp2(-((self.offset / half_width) ** 2)) * np.maximum(self.facing, 0.0)
        return np.asarray(there**2 / (2 * GRAVITY))
