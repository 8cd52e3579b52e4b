"""Where a map's angles are too far apart: its pieces are cubic in the angle, and better ones are at hand to compare.

Torque bends where pole corners pass each other, within less than a degree, and hardly anywhere else. So maps begin with
few angles, and more are added where the torque of the cubic pieces is in doubt.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["doubts"]

Floats = NDArray[np.float64]

#: Places of a piece at which torques are compared.
PLACES = np.linspace(0.125, 0.875, 7)


def doubts(angles: Floats, coenergy: Floats, torque: Floats) -> Floats:
    """How far the torque of cubic pieces is from that of quintic ones within each, N m, shape (n,).

    angles: rad, shape (n + 1,), both ends of a period. coenergy, torque: at them but the last, J and N m, shape (n, c);
    of the c columns the worst counts. The quintic pieces go through the same values and slopes, and their second and
    third derivatives are continuous.
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
    found: Floats = np.abs(slope * width / 2).max(axis=(0, 2))
    return found


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
