"""Where a map's angles are too far apart: its pieces are cubic in the angle, and better ones are at hand to compare.

Torque bends where pole corners pass each other, within less than a degree, and hardly anywhere else. So maps begin with
few angles, and more are added where the torque of the cubic pieces is in doubt. Where one phase conducts, what the
better pieces say at an added angle serves for the currents at which fields would say the same (`refining`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BPoly

__all__ = ["doubts", "quintic"]

Floats = NDArray[np.float64]

#: Places of a piece at which torques are compared.
PLACES = np.linspace(0.125, 0.875, 7)


def doubts(angles: Floats, coenergy: Floats, torque: Floats) -> Floats:
    """How far the torque of cubic pieces is from that of quintic ones within each, at most, N m, shape (n, c).

    angles: rad, shape (n + 1,), both ends of a period. coenergy, torque: at them but the last, J and N m, shape (n, c).
    The quintic pieces go through the same values and slopes, and their second and third derivatives are continuous.
    """
    width: Floats = np.diff(angles)[:, None]
    gained: Floats = np.roll(coenergy, -1, axis=0) - coenergy
    after = np.roll(torque, -1, axis=0)
    bends = _bends(width, gained, torque, after)
    # How much more either end of a piece bends as a quintic than as a cubic.
    first = bends - (6 * gained / width - 4 * torque - 2 * after) / width
    last = np.roll(bends, -1, axis=0) - (-6 * gained / width + 2 * torque + 4 * after) / width
    u = PLACES[:, None, None]
    slope = first * u * (1 - u) ** 2 * (2 - 5 * u) + last * u**2 * (1 - u) * (3 - 5 * u)
    found: Floats = np.abs(slope * width / 2).max(axis=0)
    return found


def quintic(angles: Floats, value: Floats, slope: Floats, at: float | Floats) -> tuple[Floats, Floats]:
    """Value and slope of the quintic pieces at angles (rad) between the first and the last, each of shape (..., c).

    angles: shape (n + 1,), both ends of a period. value, slope: at them but the last, shape (n, c).
    """
    after = np.roll(slope, -1, axis=0)
    bends = _bends(np.diff(angles)[:, None], np.roll(value, -1, axis=0) - value, slope, after)
    ends = np.stack([value, slope, bends], axis=1)
    pieces = BPoly.from_derivatives(angles, np.concatenate([ends, ends[:1]]))
    return pieces(at), pieces(at, 1)


def _bends(width: Floats, gained: Floats, torque: Floats, after: Floats) -> Floats:
    """Second derivatives at the nodes, J / rad^2, shape (n, c), with which the third ones of quintic pieces meet."""
    n = len(width)
    ahead, behind = np.arange(n), np.arange(n) - 1
    matrix = np.zeros((n, n))
    np.add.at(matrix, (ahead, behind), -3 / width[behind, 0])
    np.add.at(matrix, (ahead, (ahead + 1) % n), -3 / width[:, 0])
    matrix[ahead, ahead] += 9 / width[:, 0] + 9 / width[behind, 0]
    starts = (60 * gained / width - 36 * torque - 24 * after) / width**2
    ends = (60 * gained / width - 24 * torque - 36 * after) / width**2
    found: Floats = np.linalg.solve(matrix, starts - np.roll(ends, 1, axis=0)).astype(np.float64)
    return found
