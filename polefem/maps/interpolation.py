"""One potential through a map: the co-energy as a function of angle and current.

The co-energy is a Hermite interpolant, cubic in the angle and quintic in the current, so that flux linkage
(its derivative in the current) and torque (its derivative in the angle) come from one function and no motion
round a closed path can make or lose energy. At the nodes it takes the map's own co-energy, flux linkage and
torque. What a node also needs, the incremental inductance and how the torque changes with current, comes from
cubic splines along the current: the change of torque with current is also the change of flux linkage with
angle, which is where a grid is coarse.

Between the nodes: torque is continuous in the angle, incremental inductance in the current. Symmetry is built
in: the co-energy is even in the current, repeats over the pitch, and is even in the angle where the poles are
symmetric.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.maps.polynomials import BENDS, CUBIC, QUINTIC, powers, quintic, solve_rising
from polefem.maps.rising import rising_between

__all__ = ["MapValues", "Potential", "initial_inductance"]

Array = NDArray[np.float64]

#: The lowest slope allowed along the nodes' angles, in parts of the lowest secant there: the first with which the
#: flux linkage rises between those angles too.
FLOORS = (0.001, 0.03, 0.1, 0.3, 0.9)
_SAME_ANGLE = 1e-9


class MapValues(NamedTuple):
    """Values of a potential; all arrays of the common shape of the arguments."""

    flux_linkage: Array
    torque: Array
    coenergy: Array
    incremental_inductance: Array


def initial_inductance(currents: Array, flux_linkage: Array) -> Array:
    """Slope of the flux linkage where the current is zero, H, shape (n_angles,)."""
    i, psi = _from_zero(currents, flux_linkage)
    slope: Array = _odd_slopes(i, psi)[0]
    return slope


def _from_zero(currents: Array, table: Array) -> tuple[Array, Array]:
    if currents[0] > 0.0:
        return np.concatenate([[0.0], currents]), np.vstack([np.zeros(table.shape[1]), table])
    table = table.copy()
    table[0] = 0.0
    return currents, table


def _odd_slopes(i: Array, psi: Array) -> Array:
    """Slopes of a spline that is odd in the current."""
    if i.size == 2:
        slope: Array = np.broadcast_to(psi[1] / i[1], psi.shape).copy()
        return slope
    straight = np.zeros(psi.shape[1])
    slopes: Array = scipy.interpolate.CubicSpline(i, psi, bc_type=((2, straight), "not-a-knot"))(i, 1)
    return slopes


@dataclass(frozen=True, eq=False)
class Potential:
    """Co-energy over angle and current.

    angles: ndarray, shape (n + 1,), rad: nodes over one whole pitch, the last one pitch after the first.
    currents: ndarray, shape (m + 1,), A: nodes from 0.
    patches: ndarray, shape (m, n, 6, 4), J: power coefficients in the current and the angle, each 0 to 1 in
    its cell.
    """

    angles: Array
    currents: Array
    patches: Array

    @classmethod
    def through(
        cls,
        angles: Array,
        currents: Array,
        flux_linkage: Array,
        torque: Array,
        coenergy: Array,
        incremental_inductance: Array | None = None,
        *,
        pitch: float,
        mirror: bool,
    ) -> Potential:
        """The potential through the points of a map (arrays of shape (n_currents, n_angles)).

        Raises InvalidValue where the angles leave out a part of the pitch (half of it with `mirror`), or
        where the flux linkage does not rise with the current.
        """
        chosen, source, sign = _whole_pitch(angles, pitch, mirror)
        i, psi = _from_zero(currents, flux_linkage[:, source])
        _, t = _from_zero(currents, torque[:, source] * sign)
        _, w = _from_zero(currents, coenergy[:, source])
        _check_rising(chosen, i, psi)
        slopes = _odd_slopes(i, psi)
        if incremental_inductance is not None:
            slopes[-currents.size :] = incremental_inductance[:, source]
        turned = np.stack([t, *_torque_slopes(i, t)])
        wider = np.maximum(np.diff(chosen, append=chosen[-1]), np.diff(chosen, prepend=chosen[0]))
        for part in FLOORS:
            work, bent = rising_between(i, psi, w, slopes, part)
            # A cubic between positive ends stays positive while its slopes stay below three ends over its width.
            most = 3 * bent / wider
            for bend in (turned[2], np.clip(turned[2], -most, most)):
                values, change = np.stack([work, psi, bent]), np.stack([*turned[:2], bend])
                potential = cls(chosen, i, _patches(chosen, i, values, change))
                if potential._slopes().min() > 0.0:
                    return potential
        raise potential._falling()

    def _slopes(self) -> Array:
        """Incremental inductance at 17 x 9 places of each cell, in units of the cell; shape (m, n, 17, 9)."""
        along = np.linspace(0, 1, 9) ** np.arange(4)[:, None]
        slopes: Array = np.einsum("sa,knab,bu->knsu", BENDS, self.patches, along, optimize=True)
        return slopes

    def _falling(self) -> InvalidValue:
        """The refusal of a map whose flux linkage falls, where it falls most."""
        slopes = self._slopes()
        k, j, *_ = np.unravel_index(slopes.argmin(), slopes.shape)
        low, high, angle = self.currents[k], self.currents[k + 1], np.degrees(self.angles[j])
        found = f"falling from {low:.4g} to {high:.4g} A near {angle:.4g} deg"
        rule = "flux linkage must rise with current between the points of a map"
        return InvalidValue(refusal(rule, "flux_linkage", found, "a map with closer points there"))

    def at(self, angle: ArrayLike, current: ArrayLike) -> MapValues:
        """Values at angles (rad) and currents (A); raises InvalidValue beyond the last current."""
        angle, current = np.broadcast_arrays(np.asarray(angle, dtype=float), np.asarray(current, dtype=float))
        size = np.abs(current)
        if not (size <= self.currents[-1] * (1 + 1e-12)).all():
            found, most = f"{np.max(size):.6g} A", f"up to {self.currents[-1]:.6g} A"
            raise InvalidValue(refusal("a map says nothing beyond its last current", "current", found, most))
        j, u, width = self._angle_cell(angle)
        k = np.clip(np.searchsorted(self.currents, size, side="right") - 1, 0, self.currents.size - 2)
        height = self.currents[k + 1] - self.currents[k]
        s = (size - self.currents[k]) / height
        value, slope = powers(u)
        patch = self.patches[k, j]
        along = np.einsum("...ab,...b->...a", patch, value)
        across = np.einsum("...ab,...b->...a", patch, slope)
        coenergy, flux, bend = quintic(along, s)
        torque = quintic(across, s)[0] / width
        return MapValues(np.copysign(1.0, current) * flux / height, torque, coenergy, bend / height**2)

    def turning(self, angle: ArrayLike, current: ArrayLike) -> Array:
        """How the flux linkage changes with the angle, which is how the torque changes with the current, Wb/rad.

        angle: rad. current: A, from 0 to the last. Their shapes broadcast.
        """
        angle, size = np.broadcast_arrays(np.asarray(angle, dtype=float), np.asarray(current, dtype=float))
        j, u, width = self._angle_cell(angle)
        k = np.clip(np.searchsorted(self.currents, size, side="right") - 1, 0, self.currents.size - 2)
        height = self.currents[k + 1] - self.currents[k]
        across = np.einsum("...ab,...b->...a", self.patches[k, j], powers(u)[1])
        change: Array = quintic(across, (size - self.currents[k]) / height)[1] / (width * height)
        return change

    def current(self, angle: ArrayLike, flux_linkage: ArrayLike) -> Array:
        """Current (A) at angles (rad) and flux linkages (Wb); raises InvalidValue beyond the last."""
        angle, psi = np.broadcast_arrays(
            np.asarray(angle, dtype=float), np.asarray(flux_linkage, dtype=float)
        )
        shape = psi.shape
        size = np.abs(psi).ravel()
        j, u, _ = self._angle_cell(angle.ravel())
        value, _ = powers(u)
        columns = np.einsum(
            "knab,nb->nka", self.patches[:, j], value
        )  # flux linkage of each cell at each angle
        heights = np.diff(self.currents)
        ends = columns @ np.arange(6.0) / heights
        k = np.minimum((ends < size[:, None]).sum(axis=1), heights.size - 1)
        beyond = size - ends[:, -1]
        if not (beyond <= 1e-9 * ends[:, -1]).all():
            worst = int(np.argmax(beyond))
            found, most = f"{size[worst]:.6g} Wb", f"up to {ends[worst, -1]:.6g} Wb at that angle"
            raise InvalidValue(
                refusal("a map says nothing beyond its last current", "flux_linkage", found, most)
            )
        column = columns[np.arange(size.size), k]
        s = solve_rising(column, size * heights[k])
        size = self.currents[k] + s * heights[k]
        signed: Array = np.copysign(size, psi.ravel()).reshape(shape)
        return signed

    def _angle_cell(self, angle: Array) -> tuple[NDArray[np.intp], Array, Array]:
        first = self.angles[0]
        inside = first + np.mod(angle - first, self.angles[-1] - first)
        j = np.clip(np.searchsorted(self.angles, inside, side="right") - 1, 0, self.angles.size - 2)
        width = self.angles[j + 1] - self.angles[j]
        return j, (inside - self.angles[j]) / width, width


def _whole_pitch(angles: Array, pitch: float, mirror: bool) -> tuple[Array, NDArray[np.intp], Array]:
    """Nodes over one pitch (both ends), the column of the map each comes from, and the sign of its torque."""
    need = pitch / 2 if mirror else pitch
    close = _SAME_ANGLE * pitch
    start = need * np.ceil((angles[0] - close) / need) if mirror else angles[0]
    used = np.flatnonzero((angles >= start - close) & (angles <= start + need + close))
    inside = angles[used]
    if not mirror and pitch - close > inside[-1] - start > pitch * 0.5 and inside.size > 2:
        widest = (
            1.5 * np.diff(inside).max()
        )  # a list that stops one step before the pitch is whole: it repeats
        if start + pitch - inside[-1] <= widest:
            return np.append(inside, start + pitch), np.append(used, used[0]), np.ones(used.size + 1)
    if inside.size < 2 or inside[0] > start + close or inside[-1] < start + need - close:
        part = "half a rotor pitch, aligned to unaligned" if mirror else "a whole rotor pitch"
        found = f"{np.degrees(angles[0]):.6g} to {np.degrees(angles[-1]):.6g} deg"
        allowed = f"angles over {np.degrees(need):.6g} deg"
        raise InvalidValue(refusal(f"a drive needs a map over {part}", "angles", found, allowed))
    if not mirror:
        return inside, np.append(used[:-1], used[0]), np.ones(used.size)
    inside[0], inside[-1] = start, start + need
    nodes = np.concatenate([inside, 2 * (start + need) - inside[-2::-1]])
    sign = np.concatenate([np.ones(used.size), -np.ones(used.size - 1)])
    sign[[0, used.size - 1, -1]] = 0.0  # by symmetry no torque at the aligned and the unaligned angle
    return nodes, np.concatenate([used, used[-2::-1]]), sign


def _check_rising(angles: Array, i: Array, psi: Array) -> None:
    if (np.diff(psi, axis=0) <= 0).any():
        k, j = np.argwhere(np.diff(psi, axis=0) <= 0)[0]
        found = f"{psi[k + 1, j]:.6g} Wb at {i[k + 1]:.6g} A and {np.degrees(angles[j]):.6g} deg"
        rule = "flux linkage must rise with current"
        raise InvalidValue(
            refusal(rule, "flux_linkage", found, f"above the {psi[k, j]:.6g} Wb of {i[k]:.6g} A")
        )


def _torque_slopes(i: Array, torque: Array) -> tuple[Array, Array]:
    """First and second derivative of the torque in the current, from a spline that is even in the current."""
    if i.size == 2:
        square = torque[1] / i[1] ** 2
        return 2 * i[:, None] * square, np.broadcast_to(2 * square, torque.shape).copy()
    flat = np.zeros(torque.shape[1])
    spline = scipy.interpolate.CubicSpline(i, torque, bc_type=((1, flat), "not-a-knot"))
    return spline(i, 1), spline(i, 2)


def _patches(angles: Array, i: Array, values: Array, turned: Array) -> Array:
    """Power coefficients of every cell from the nodes.

    values: shape (3, m + 1, n + 1): co-energy and its first and second derivative in the current.
    turned: of the same shape: their derivatives in the angle.
    """
    d = np.diff(angles)
    h = np.diff(i)[:, None]
    nodes = np.stack([values, turned])
    ends = np.empty((h.size, d.size, 6, 4))
    for order in range(3):
        for far in range(2):
            row = nodes[:, order, far : far + h.size] * h**order
            ends[:, :, order + 3 * far, 0], ends[:, :, order + 3 * far, 1] = (
                row[0, :, :-1],
                row[1, :, :-1] * d,
            )
            ends[:, :, order + 3 * far, 2], ends[:, :, order + 3 * far, 3] = row[0, :, 1:], row[1, :, 1:] * d
    patches: Array = np.einsum("ap,knpq,bq->knab", QUINTIC, ends, CUBIC, optimize=True)
    return patches
