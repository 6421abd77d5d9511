"""How much does a pipe fall from one reading to the next, and how sure is that?

The fall of a piece is the difference of two readings, so its error is the root of the sum of their
squared errors, and the probability that it falls at least a wanted height is

    P(fall >= wanted) = Phi((fall - wanted) / error)

with Phi the normal distribution. A belly is a station that stands lower than the straight line
between its two neighbours by more than the rod's error. The straight grade through all stations is
the weighted least-squares line.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, ArrayLike, BoolArray, freeze
from dbox.fieldwork.confidence import SURE

QUANTILE = 1.6448536269514722
"""Standard deviations that a sure answer lies from its limit: Phi of it is `SURE`. [-]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Falls:
    """Falls held to a limit; arrays are read-only.

    Parameters
    ----------
    fall, error : ndarray, shape (...)
        Height lost, and its standard deviation. [m]
    wanted : ndarray, shape (...)
        Least height that ought to be lost. [m]
    probability : ndarray, shape (...)
        That it falls at least that much. [-]
    back_probability : ndarray, shape (...)
        That it rises. [-]
    """

    fall: Array
    error: Array
    wanted: Array
    probability: Array
    back_probability: Array

    @property
    def verdicts(self) -> tuple[str, ...]:
        """`enough`, `too flat`, `back-pitched` or `cannot tell`, for each fall in C order."""
        return tuple(
            "back-pitched"
            if back >= SURE
            else "enough"
            if enough >= SURE
            else "too flat"
            if enough <= 1.0 - SURE
            else "cannot tell"
            for enough, back in zip(self.probability.flat, self.back_probability.flat, strict=True)
        )

    @property
    def settling_repeats(self) -> Array:
        """How many times as many readings would give a sure answer; 1 where it is. [-] (...)."""
        margin = np.abs(self.fall - self.wanted)
        with np.errstate(divide="ignore"):
            more = (QUANTILE * self.error / margin) ** 2
        result: Array = np.maximum(np.ceil(more - 1e-9), 1.0)
        return result


@dataclass(frozen=True, kw_only=True, eq=False)
class Line:
    """The straight grade through stations; arrays are read-only.

    Parameters
    ----------
    slope, slope_error : float
        Fall over length of the least-squares line, and its standard deviation. [-]
    residual : ndarray, shape (n,)
        Height of each station over the line. [m]
    """

    slope: float
    slope_error: float
    residual: Array


def hold_to(fall: ArrayLike, error: ArrayLike, wanted: ArrayLike) -> Falls:
    """Hold falls to what they ought to be.

    Parameters
    ----------
    fall, error : array_like, shape (...)
        Height lost, and its standard deviation, above 0. [m]
    wanted : array_like, shape (...)
        Least height that ought to be lost. [m]

    Returns
    -------
    Falls
        With the probabilities.

    >>> held = hold_to([0.02, 0.01, 0.001, -0.01], 0.003, 0.01)
    >>> held.verdicts
    ('enough', 'cannot tell', 'too flat', 'back-pitched')
    """
    from scipy.special import ndtr

    given = (np.array(values, np.float64) for values in (fall, error, wanted))
    lost, spread, least = (np.array(values) for values in np.broadcast_arrays(*given))
    enough, back = np.asarray(ndtr((lost - least) / spread)), np.asarray(ndtr(-lost / spread))
    freeze(lost, spread, least, enough, back)
    return Falls(fall=lost, error=spread, wanted=least, probability=enough, back_probability=back)


def fit_line(at: Array, height: Array, error: Array) -> Line:
    """Fit the straight grade through stations, each weighted by its error.

    Parameters
    ----------
    at : ndarray, shape (n,)
        Distance along the run, two at least. [m]
    height, error : ndarray, shape (n,)
        Height and its standard deviation, above 0. [m]

    Returns
    -------
    Line
        A fall counts as above 0.

    References
    ----------
    P. R. Bevington, Data Reduction and Error Analysis for the Physical Sciences (1969), chapter 6:
    from memory. Any text gives the weighted line.

    >>> fall = fit_line(np.array([0.0, 1.0, 2.0]), np.array([0.0, -0.01, -0.02]), np.ones(3))
    >>> round(fall.slope, 12), round(fall.slope_error, 6)
    (0.01, 0.707107)
    """
    weight = error**-2
    over, up = at - np.average(at, weights=weight), height - np.average(height, weights=weight)
    spread = float((weight * over**2).sum())
    rise = float((weight * over * up).sum()) / spread
    residual = up - rise * over
    freeze(residual)
    return Line(slope=-rise, slope_error=spread**-0.5, residual=residual)


def find_bellies(at: Array, height: Array, error: Array) -> tuple[Array, BoolArray]:
    """Look for stations that sag.

    Parameters
    ----------
    at : ndarray, shape (n,)
        Distance along the run. [m]
    height, error : ndarray, shape (n,)
        Height and its standard deviation. [m]

    Returns
    -------
    sag : ndarray, shape (n,)
        How far each stands under the line between its neighbours; NaN at the ends. [m]
    belly : ndarray of bool, shape (n,)
        Whether it sags by more than the error.

    Notes
    -----
    Of many sound stations one in twenty would seem to sag, so the surer the more there are: all of
    a straight run together stay without a belly with probability `confidence.SURE` at least.
    """
    from scipy.special import ndtri

    sag, belly = np.full(at.shape, np.nan), np.zeros(at.shape, dtype=bool)
    if at.size > 2:
        upper = (at[2:] - at[1:-1]) / (at[2:] - at[:-2])
        between = upper * height[:-2] + (1 - upper) * height[2:]
        sag[1:-1] = between - height[1:-1]
        variance = error[1:-1] ** 2 + (upper * error[:-2]) ** 2 + ((1 - upper) * error[2:]) ** 2
        sure = float(ndtri(1.0 - (1.0 - SURE) / (at.size - 2)))
        belly[1:-1] = sag[1:-1] > sure * np.sqrt(variance)
    return sag, belly
