"""What does a dose send? Pumps, with what drains back, and siphons, which empty by their own head.

A pump works at the rate at which the head of its curve is the lift plus what the pressure pipe
loses by Manning's formula running full. What runs back into the chamber after a dose must first be
filled again: the dose is late and less by it.

A chamber of plan area A that drains through a siphon of area a and coefficient C under the head h
obeys A dh/dt = -C a sqrt(2 g h) (Torricelli; any text on hydraulics), so sqrt(h) and with it the
rate fall as straight lines until the low level breaks the siphon.
"""

from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import GRAVITY, Array
from dbox.errors import DomainError
from dbox.hydraulics.pipes import full_flow
from dbox.hydraulics.surge.inflow import Inflow, pulses


@dataclass(frozen=True, kw_only=True)
class Pump:
    """A dosing pump and what its pressure pipe gives back.

    Parameters
    ----------
    volume : float
        What it lifts in one dose. [m3]
    rate : float or None
        Its rate, where it is known. [m3/s]
    curve : tuple of (float, float)
        Where the rate is not: rates and the heads that the pump gives at them. [m3/s, m]
    lift : float
        Height from the water in the chamber to the box. [m]
    main_length, main_diameter : float
        Pressure pipe from pump to box; 0 where it is left out. [m]
    drain_back : float
        What runs back from the pressure pipe after a dose and must be filled first. [m3]
    """

    volume: float
    rate: float | None = None
    curve: tuple[tuple[float, float], ...] = ()
    lift: float = 0.0
    main_length: float = 0.0
    main_diameter: float = 0.0
    drain_back: float = 0.0

    def working_rate(self) -> float:
        """Rate at which the pump's head is what lift and pressure pipe ask for. [m3/s]

        Raises
        ------
        DomainError
            Where neither rate nor curve is given, or the curve ends before head and rate meet.

        Notes
        -----
        The pressure pipe loses head by Manning's formula, running full. Between the points of the
        curve the head falls straight; beyond its ends nothing is known of the pump.
        """
        if self.rate is not None:
            return self.rate
        if len(self.curve) < 2:
            raise DomainError("the pump has neither a rate nor a curve of two or more points")
        points = sorted(self.curve)
        rates, heads = np.array([q for q, _ in points]), np.array([h for _, h in points])
        if not np.all(np.diff(rates) > 0) or not np.all(np.diff(heads) <= 0):
            raise DomainError("the pump's heads must fall as its rates rise")
        flows = np.linspace(rates[0], rates[-1], 4001)
        asked = self.lift + self._friction(flows)
        spare = np.interp(flows, rates, heads) - asked
        if spare[0] <= 0:
            raise DomainError(
                f"at the lowest rate of its curve, {rates[0]:.3g} m3/s, the pump gives "
                f"{heads[0]:.3g} m of head; lift and pressure pipe ask for {asked[0]:.3g} m: give "
                "points at lower rates, or a pump that lifts more"
            )
        if spare[-1] <= 0:
            return float(np.interp(0.0, -spare, flows))
        raise DomainError(
            f"at the highest rate of its curve, {rates[-1]:.3g} m3/s, the pump gives "
            f"{heads[-1]:.3g} m of head, and lift and pressure pipe ask for {asked[-1]:.3g} m "
            "only: it runs beyond its curve; give points at higher rates, or its rate"
        )

    def _friction(self, flows: Array) -> Array:
        if not (self.main_length and self.main_diameter):
            return np.zeros_like(flows)
        return np.asarray(self.main_length * (flows / full_flow(self.main_diameter, 1.0)) ** 2)

    def dose(self) -> Inflow:
        """One dose as the box sees it: late and less by what drains back.

        Raises
        ------
        DomainError
            Where nothing of the dose reaches the box; else as for `working_rate`.

        >>> dose = Pump(volume=0.2, rate=2e-3, drain_back=0.02).dose()
        >>> dose.begin.round(6).tolist(), round(dose.volume(1e4), 9)
        ([0.0, 10.0, 100.0], 0.18)
        """
        rate = self.working_rate()
        delivered = self.volume - self.drain_back
        if not (delivered > 0 and self.drain_back >= 0):
            raise DomainError(
                f"the pump lifts {self.volume:g} m3 and {self.drain_back:g} m3 drain back: "
                "no dose is left"
            )
        late = self.drain_back / rate
        dose = pulses([late], [delivered / rate], [rate], entry="box", name="pump dose")
        return replace(dose, pumped=True)


@dataclass(frozen=True, kw_only=True)
class Siphon:
    """A dosing siphon, which empties its chamber by its own head.

    Parameters
    ----------
    area : float
        Plan area of the chamber. [m2]
    diameter : float
        Inside diameter of the siphon. [m]
    high, low : float
        Head over its outlet where it starts, and where air breaks it. [m]
    coefficient : float
        Discharge coefficient of the whole siphon, its losses within. [-]
    """

    area: float
    diameter: float
    high: float
    low: float
    coefficient: float = 0.6

    def dose(self) -> Inflow:
        """One dose, its rate falling straight.

        Raises
        ------
        DomainError
            Where the heads do not fall or a size is not above 0.

        >>> dose = Siphon(area=2.0, diameter=0.075, high=0.5, low=0.2).dose()
        >>> round(dose.volume(1e4), 9)
        0.6
        """
        sizes = (self.area, self.diameter, self.coefficient, self.low, self.high - self.low)
        if not all(np.isfinite(size) and size > 0 for size in sizes):
            raise DomainError("a siphon needs sizes above 0 and a high level over its low one")
        k = self.coefficient * np.pi / 4 * self.diameter**2 * np.sqrt(2 * GRAVITY)
        rates = k * np.sqrt([self.high, self.low])
        seconds = 2 * self.area * (np.sqrt(self.high) - np.sqrt(self.low)) / k
        return Inflow(
            begin=np.array([0.0, seconds]),
            first=np.array([rates[0], 0.0]),
            last=np.array([rates[1], 0.0]),
            entry="supply",
            name="siphon dose",
        )
