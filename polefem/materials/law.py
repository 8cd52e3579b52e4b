"""The magnetisation law H(B): cubic Hermite pieces, straight beyond the last knot.

A law is its knots: flux density, field strength and slope dH/dB at each. Between knots it is the cubic that
meets both ends in value and slope, past the last knot the straight line that leaves it. It is therefore C1,
its energy is a quartic in closed form, and nothing is fitted at the time of use. (Cubic Hermite pieces and
the limits that keep them monotone: F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal. 17 (1980) 238-246.)
"""

from dataclasses import dataclass, field
from math import ceil, pi

import numpy as np
from numpy.typing import NDArray

__all__ = ["MU0", "NU0", "FloatArray", "Law"]

FloatArray = NDArray[np.float64]

MU0: float = 4e-7 * pi  #: permeability of vacuum, H/m (the value before 2019; today's differs by 6e-10 of it)
NU0: float = 1.0 / MU0  #: reluctivity of vacuum, m/H

FEW = 16  # knots in a cell of the search grid, above which a bisection over all of them is faster
MOST_CELLS = 8192  # of the search grid: 64 kB, so that it stays in the cache next to the pieces
TINY_B = 1e-9  # T; below it H/B and the slope are one number


@dataclass(frozen=True, eq=False, repr=False)
class Law:
    """A strictly increasing C1 law H(B) for B >= 0, odd through the origin.

    Attributes
    ----------
    b, h, slope : ndarray, shape (n_knots,)
        Flux density in T, field strength in A/m and dH/dB in m/H at the knots; the first knot is (0, 0).

    Examples
    --------
    >>> air = Law(np.zeros(1), np.zeros(1), np.array([NU0]))
    >>> h, slope, energy = air.evaluate(np.array([0.0, 1.0]))
    >>> h.round(), energy.round()
    (array([     0., 795775.]), array([     0., 397887.]))
    """

    b: FloatArray
    h: FloatArray
    slope: FloatArray
    _pieces: FloatArray = field(init=False)
    _ends: FloatArray = field(init=False)
    _cells: NDArray[np.intp] = field(init=False)
    _cells_per_tesla: float = field(init=False)
    _steps: int = field(init=False)

    def __post_init__(self) -> None:
        b, h, slope = (np.array(v, dtype=np.float64) for v in (self.b, self.h, self.slope))
        pieces = _pieces(b, h, slope)
        ends = np.append(b[1:], np.inf)
        cells, cells_per_tesla, steps = _search_grid(b)
        for name, array in (("b", b), ("h", h), ("slope", slope), ("_pieces", pieces), ("_ends", ends)):
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        cells.flags.writeable = False
        object.__setattr__(self, "_cells", cells)
        object.__setattr__(self, "_cells_per_tesla", cells_per_tesla)
        object.__setattr__(self, "_steps", steps)

    def __reduce__(self) -> tuple[type["Law"], tuple[FloatArray, FloatArray, FloatArray]]:
        # Rebuilt rather than copied: an unpickled array would be writable.
        return Law, (self.b, self.h, self.slope)

    def __repr__(self) -> str:
        return f"Law({self.b.size} knots up to {self.b[-1]:.3g} T and {self.h[-1]:.4g} A/m)"

    def evaluate(self, b: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Field strength, its slope and the energy density, in one pass.

        Parameters
        ----------
        b : ndarray, any shape, T, finite and not negative (not checked: this is the solver's innermost call)

        Returns
        -------
        h, slope, energy : ndarrays of the shape of `b`
            H in A/m, dH/dB in m/H, and the integral of H dB from 0 in J/m3.
        """
        # Row by row: a single gather would make one block that malloc takes from the system on every call.
        piece = self._piece_of(b)
        start, h0, d, c2, c3, w0 = (row.take(piece, mode="clip") for row in self._pieces)
        t = b - start
        c3t = c3 * t
        h = ((c3t + c2) * t + d) * t + h0
        slope = (3.0 * c3t + 2.0 * c2) * t + d
        energy = (((0.25 * c3t + c2 / 3.0) * t + 0.5 * d) * t + h0) * t + w0
        return h, slope, energy

    def invert(self, h: FloatArray) -> FloatArray:
        """Flux density in T at a field strength >= 0 in A/m, any shape: Newton kept inside its bracket."""
        piece = np.searchsorted(self.h, h, side="right") - 1
        last = piece == self.b.size - 1
        straight = self.b[-1] + (h - self.h[-1]) / self.slope[-1]
        low = self.b[piece]
        high = np.where(last, np.maximum(straight, low), np.append(self.b[1:], np.inf)[piece])
        b = np.where(last, high, 0.5 * (low + high))
        for _ in range(60):
            value, slope, _ = self.evaluate(b)
            error = value - h
            low, high = np.where(error < 0.0, b, low), np.where(error > 0.0, b, high)
            step = b - error / slope
            step = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
            if np.all(np.abs(step - b) <= 4e-16 * np.abs(step)):
                break
            b = step
        return b

    def beside_air(self, share: float) -> "Law":
        """The law of iron and air side by side, both in the same H: B = share B_iron(H) + (1 - share) mu0 H.

        Exact at the knots in value and slope, and at three more within each piece, so that the cubic between follows
        the sum: to 1e-5 of B for shares above 0.9.
        """
        between = self.b[:-1, None] + np.diff(self.b)[:, None] * np.arange(4) / 4.0
        b = np.append(between.ravel(), self.b[-1])
        h, slope, _ = self.evaluate(b)
        return Law(share * b + (1.0 - share) * MU0 * h, h, slope / (share + (1.0 - share) * MU0 * slope))

    def _piece_of(self, b: FloatArray) -> NDArray[np.intp]:
        if self._steps > FEW:
            return np.searchsorted(self.b, b, side="right") - 1
        cell = np.minimum(b * self._cells_per_tesla, self._cells.size - 1.0).astype(np.intp)
        piece = np.take(self._cells, cell, mode="clip")
        for _ in range(self._steps):
            piece += b >= np.take(self._ends, piece, mode="clip")
        return piece


def _pieces(b: FloatArray, h: FloatArray, slope: FloatArray) -> FloatArray:
    """Start, the four coefficients of H and the energy at the start of each piece: shape (6, n_knots)."""
    width, rise = np.diff(b), np.diff(h)
    secant = rise / width
    c2 = np.append((3.0 * secant - 2.0 * slope[:-1] - slope[1:]) / width, 0.0)
    c3 = np.append((slope[:-1] + slope[1:] - 2.0 * secant) / width**2, 0.0)
    step = (h[:-1] + (slope[:-1] / 2.0 + (c2[:-1] / 3.0 + c3[:-1] / 4.0 * width) * width) * width) * width
    return np.stack([b, h, slope, c2, c3, np.append(0.0, np.cumsum(step))])


def _search_grid(b: FloatArray) -> tuple[NDArray[np.intp], float, int]:
    """For even cells in b: the piece at each cell's start, cells per tesla, and the most knots within a cell.

    A division and that many comparisons then find a piece, in place of a bisection for every value.
    """
    if b.size == 1:
        return np.zeros(1, dtype=np.intp), 1.0, 0
    n = min(MOST_CELLS, ceil(b[-1] / np.diff(b).min()) + 1)
    starts = np.arange(n + 1) * (b[-1] / n)
    pieces = np.searchsorted(b, starts, side="right") - 1
    pieces[-1] = b.size - 1
    return pieces.astype(np.intp), n / float(b[-1]), int(np.diff(pieces).max())
