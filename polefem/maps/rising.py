"""Co-energy and slopes that make a map's flux linkage rise with the current everywhere between its points."""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.maps.polynomials import BENDS, QUINTIC

__all__ = ["rising_between"]

Array = NDArray[np.float64]

#: A step of co-energy gives way only where slopes would have to change by this much more, as parts of their own.
STIFF = 1e-4
#: Second derivative at each place, from the values at the ends of an interval.
_TURNS = BENDS @ QUINTIC


def rising_between(i: Array, psi: Array, w: Array, slopes: Array, part: float) -> tuple[Array, Array]:
    """Co-energy and slopes at the nodes such that the flux linkage rises between them too.

    Where the map's own co-energy and the spline's slopes would make it fall (a coarse grid across the knee), the
    slopes of that angle give way as little as they can, and the co-energy only where slopes cannot do it alone: its
    change from angle to angle is the torque. Flux linkage and torque at the nodes stay the map's.
    """
    h = np.diff(i)[:, None]
    step = np.diff(w, axis=0)
    floor = part * (np.diff(psi, axis=0) / h).min(axis=0)
    bad = (_lowest_slope(h, psi, slopes, step) < floor).any(axis=0)
    slopes = slopes.copy()
    for at in np.flatnonzero(bad):
        slopes[:, at], step[:, at] = _nearest_rising(
            h[:, 0], psi[:, at], slopes[:, at], step[:, at], floor[at]
        )
    return np.vstack([np.zeros(psi.shape[1]), np.cumsum(step, axis=0)]), slopes


def _nearest_rising(h: Array, psi: Array, slopes: Array, step: Array, floor: float) -> tuple[Array, Array]:
    """The slopes (m + 1,) and steps of co-energy (m,) next to those given with which no interval has a slope below
    `floor` at 17 places.

    A least-distance problem, solved by least squares without negative numbers (C. L. Lawson, R. J. Hanson, Solving
    Least Squares Problems, 1974, chapter 23), so that the result changes steadily with the angle.
    """
    m = h.size
    secant = np.diff(psi) / h
    # In parts of the secants about a node, and of a rectangle of one interval: the latter counts far more.
    give = np.concatenate([secant[:1], np.sqrt(secant[1:] * secant[:-1]), secant[-1:], STIFF * h**2 * secant])
    rows, ends = np.arange(m), np.zeros((m, 6, 2 * m + 1))
    ends[rows, 2, rows], ends[rows, 5, rows + 1], ends[rows, 3, m + 1 + rows] = h**2, h**2, 1.0
    scale = (h**2 * secant)[:, None]
    lift = np.einsum("pe,kez->kpz", _TURNS, ends) * give / scale[..., None]
    short = (floor / secant)[:, None] - _ends(h, psi, slopes, step) @ _TURNS.T / scale
    table = np.vstack([lift.reshape(-1, 2 * m + 1).T, short.ravel()])
    wanted = np.append(np.zeros(2 * m + 1), 1.0)
    rest = table @ scipy.optimize.nnls(table, wanted)[0] - wanted
    moved = -rest[:-1] / rest[-1] * give
    return slopes + moved[: m + 1], step + moved[m + 1 :]


def _lowest_slope(h: Array, psi: Array, slopes: Array, step: Array) -> Array:
    """Lowest slope in each interval, H, shape (n_intervals, n_angles), looked for at 17 places."""
    lowest: Array = (_ends(h, psi, slopes, step) @ _TURNS.T).min(axis=-1) / h**2
    return lowest


def _ends(h: Array, psi: Array, slopes: Array, step: Array) -> Array:
    """Co-energy of each interval from its start, with slope and curvature, at both ends, in units of the interval;
    shape (n_intervals, ..., 6)."""
    return np.stack(
        [0 * step, h * psi[:-1], h**2 * slopes[:-1], step, h * psi[1:], h**2 * slopes[1:]], axis=-1
    )
