"""The potential of a map one point at a time, in plain floats.

A bridge is followed step by step, and a step of one phase is too small for numpy: its time would go into the
calls. The polynomials are those of `Potential`, cell by cell.
"""

from __future__ import annotations

import math
from bisect import bisect_right

import numpy as np

from polefem.errors import InvalidValue, refusal
from polefem.maps.interpolation import Potential

__all__ = ["Pointwise"]

_NEWTON_STEPS = 8
_BISECTIONS = 50
_SETTLED = 1e-12


class Pointwise:
    """Current, flux linkage and torque of one phase at single points of a potential, for currents of 0 and
    above.

    Every lookup takes the cell of current where the last one ended and returns its own: neighbours in time
    are neighbours in current.
    """

    def __init__(self, potential: Potential) -> None:
        angles, currents, patches = potential.angles, potential.currents, potential.patches
        widths, heights = np.diff(angles), np.diff(currents)
        flux = patches[:, :, 1:, :] * np.arange(1.0, 6.0)[:, None] / heights[:, None, None, None]
        torque = patches[:, :, :, 1:] * np.arange(1.0, 4.0) / widths[:, None, None]
        self._angles: list[float] = angles.tolist()
        self._widths: list[float] = widths.tolist()
        self._currents: list[float] = currents.tolist()
        self._flux: list[list[list[list[float]]]] = flux.tolist()
        self._torque: list[list[list[list[float]]]] = torque.tolist()
        self._coenergy: list[list[list[list[float]]]] = patches.tolist()

    @property
    def flux_scale(self) -> float:
        """Flux linkage of the last current at the aligned angle, Wb."""
        return self.flux_linkage(0.0, self._currents[-1])

    def _place(self, angle: float) -> tuple[int, float]:
        first = self._angles[0]
        inside = first + (angle - first) % (self._angles[-1] - first)
        j = min(bisect_right(self._angles, inside) - 1, len(self._widths) - 1)
        return j, (inside - self._angles[j]) / self._widths[j]

    def _column(self, k: int, j: int, u: float) -> tuple[float, float, float, float, float]:
        """Flux linkage along one cell as a quartic in the current, 0 to 1 in the cell."""
        a, b, c, d, e = self._flux[k][j]
        return (
            a[0] + u * (a[1] + u * (a[2] + u * a[3])),
            b[0] + u * (b[1] + u * (b[2] + u * b[3])),
            c[0] + u * (c[1] + u * (c[2] + u * c[3])),
            d[0] + u * (d[1] + u * (d[2] + u * d[3])),
            e[0] + u * (e[1] + u * (e[2] + u * e[3])),
        )

    def current(self, angle: float, total: float, ease: float = 0.0, cell: int = 0) -> tuple[float, int]:
        """The current at which flux linkage + ease * current is `total` (Wb; ease in Wb/A), and its cell.

        A step of an implicit scheme asks just this, and for the price of a plain inversion.
        Raises InvalidValue beyond the last current of the map.
        """
        j, u = self._place(angle)
        currents = self._currents
        k, came_down = cell, False
        while True:
            p, q, r, s, t = self._column(k, j, u)
            low = p + ease * currents[k]
            if total < low and k > 0:
                k, came_down = k - 1, True
                continue
            high = p + q + r + s + t + ease * currents[k + 1]
            if total <= high or came_down:
                break
            if k == len(currents) - 2:
                if total <= high * (1 + 1e-9):
                    break
                raise InvalidValue(self._beyond(angle))
            k += 1
        height = currents[k + 1] - currents[k]
        place = _solve(
            p - total + ease * currents[k], q + ease * height, r, s, t, (total - low) / (high - low)
        )
        return currents[k] + place * height, k

    def flux_linkage(self, angle: float, current: float) -> float:
        """Flux linkage (Wb) at an angle (rad) and a current (A, 0 or above)."""
        j, u = self._place(angle)
        k, x = self._cell(angle, current)
        p, q, r, s, t = self._column(k, j, u)
        return p + x * (q + x * (r + x * (s + x * t)))

    def torque(self, angle: float, current: float) -> float:
        """Torque (N m) at an angle (rad) and a current (A, 0 or above)."""
        j, u = self._place(angle)
        k, x = self._cell(angle, current)
        value = 0.0
        for a in reversed(self._torque[k][j]):
            value = value * x + a[0] + u * (a[1] + u * a[2])
        return value

    def coenergy(self, angle: float, current: float) -> float:
        """Co-energy (J) at an angle (rad) and a current (A, 0 or above)."""
        j, u = self._place(angle)
        k, x = self._cell(angle, current)
        value = 0.0
        for a in reversed(self._coenergy[k][j]):
            value = value * x + a[0] + u * (a[1] + u * (a[2] + u * a[3]))
        return value

    def _cell(self, angle: float, current: float) -> tuple[int, float]:
        currents = self._currents
        if current > currents[-1] * (1 + 1e-9):
            raise InvalidValue(self._beyond(angle))
        k = min(bisect_right(currents, current) - 1, len(currents) - 2)
        return k, (current - currents[k]) / (currents[k + 1] - currents[k])

    def _beyond(self, angle: float) -> str:
        where = f"above {self._currents[-1]:.6g} A at {math.degrees(angle):.4g} deg"
        most = f"up to {self._currents[-1]:.6g} A"
        return refusal("a map says nothing beyond its last current", "current", where, most)


def _solve(a: float, b: float, c: float, d: float, e: float, x: float) -> float:
    """Zero in [0, 1] of the rising quartic a + b x + ... + e x^4, from a first guess by Newton's steps."""
    for _ in range(_NEWTON_STEPS):
        step = (a + x * (b + x * (c + x * (d + x * e)))) / (b + x * (2 * c + x * (3 * d + x * 4 * e)))
        x = min(1.0, max(0.0, x - step))
        if -_SETTLED < step < _SETTLED:
            return x
    low, high = 0.0, 1.0  # Newton's steps went to and fro between the ends
    for _ in range(_BISECTIONS):
        x = 0.5 * (low + high)
        if a + x * (b + x * (c + x * (d + x * e))) > 0.0:
            high = x
        else:
            low = x
    return x
