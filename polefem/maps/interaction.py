"""What phases that conduct together add to the co-energy of each alone: a correction that vanishes where one rests."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from polefem.errors import InvalidValue, refusal
from polefem.maps.hermite import collapsed, cubic_powers, mixed_nodes, node_patches

__all__ = ["Interaction", "Joint"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Joint:
    """Values of an interaction at points of shape (...): co-energy, torque, what it adds to the flux linkages of its
    k phases (..., k), and their derivatives in the currents (..., k, k); J, N m, Wb, H."""

    coenergy: Array
    torque: Array
    flux_linkages: Array
    inductances: Array


@dataclass(frozen=True, eq=False)
class Interaction:
    """The correction of one set of k phases, k >= 2, over the machine's angle and their currents.

    phases: increasing. angles: ndarray, shape (n + 1,), rad: nodes over one rotor pitch, both ends, of the machine's
    angle (phase 0 aligned at 0). currents: ndarray, shape (m + 1,), A: nodes from 0, the same for each phase. nodes:
    ndarray, shape (2,) * (1 + k) + (n,) + (m + 1,) * k, J per rad and A: derivatives of the co-energy at the nodes; a 1
    among the first indices stands for one order along the angle, then along each current.

    Between the nodes it is a tensor product of cubics (see `hermite`): torque and flux linkages are continuous, and
    are exact derivatives of one function.

    Raises InvalidValue where the shapes contradict each other.
    """

    phases: tuple[int, ...]
    angles: Array
    currents: Array
    nodes: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "phases", tuple(int(phase) for phase in self.phases))
        for name in ("angles", "currents", "nodes"):
            array: Array = np.array(getattr(self, name), dtype=float)
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        k = len(self.phases)
        shape = (2,) * (1 + k) + (self.angles.size - 1,) + (self.currents.size,) * k
        if self.nodes.shape != shape:
            rule = "an interaction has every mixed derivative at every node"
            raise InvalidValue(refusal(rule, "nodes", f"of shape {self.nodes.shape}", f"shape {shape}"))

    @classmethod
    def through(
        cls,
        phases: tuple[int, ...],
        angles: Array,
        currents: Array,
        coenergy: Array,
        torque: Array,
        flux_linkages: Array,
        mixed: Mapping[tuple[int, ...], Array] | None = None,
    ) -> Interaction:
        """The interaction through nodes that know its co-energy (J) and torque (N m), shape (n,) + (m + 1,) * k, and
        what it adds to the flux linkages of its phases (Wb), shape (k, n) + (m + 1,) * k.

        angles: shape (n + 1,), rad, over one pitch, both ends. currents: shape (m + 1,), A, from 0. What stands where
        a current is 0 is taken for 0, but for the flux linkage of the very phase that rests. mixed: derivatives of more
        than one order that are known, as `mixed_nodes` takes them; fields know them better than splines do.
        """
        value, gradient = np.array(coenergy, dtype=float), np.stack([torque, *flux_linkages])
        k = len(phases)
        for axis in range(1, 1 + k):
            rest = (slice(None),) * axis + (0,)
            value[rest] = 0.0
            for along in range(1 + k):
                if along != axis:
                    gradient[along][rest] = 0.0
        known = {}
        for orders, table in (mixed or {}).items():
            known[orders] = np.array(table, dtype=float)
            for axis in range(1, 1 + k):
                if not orders[axis]:
                    known[orders][(slice(None),) * axis + (0,)] = 0.0
        return cls(phases, angles, currents, mixed_nodes(angles, currents, value, gradient, known))

    @cached_property
    def patches(self) -> Array:
        """Power coefficients, J, shape (n,) + (m,) * k + (4,) * k + (4,): of the places in the currents' cells, then of
        that in the angle's, each 0 to 1 in its cell."""
        patches = node_patches(self.angles, self.currents, self.nodes)
        patches.flags.writeable = False
        return patches

    def at(self, angle: Array, currents: Array) -> Joint:
        """Values at angles (rad), shape (...), and currents of its phases (A), shape (..., k), within the nodes.

        A current a little outside is followed along the polynomial of the nearest cell.
        """
        k = len(self.phases)
        first, period = self.angles[0], self.angles[-1] - self.angles[0]
        cell, place, width = _cell(self.angles, first + np.mod(angle - first, period))
        cells, places, heights = _cell(self.currents, currents)
        patch = self.patches[(cell, *np.moveaxis(cells, -1, 0))]
        turn, turning, _ = cubic_powers(place)
        powers = [
            [basis / height[..., None] ** order for order, basis in enumerate(cubic_powers(u))]
            for u, height in zip(np.moveaxis(places, -1, 0), np.moveaxis(heights, -1, 0), strict=True)
        ]
        still, moving = (
            collapsed(patch, turn),
            collapsed(patch, turning) / width[..., None].reshape(width.shape + (1,) * k),
        )
        none = np.zeros(k, dtype=int)
        unit = np.eye(k, dtype=int)
        flux = [_contracted(still, powers, row) for row in unit]
        bends = [[_contracted(still, powers, row + other) for other in unit] for row in unit]
        return Joint(
            _contracted(still, powers, none),
            _contracted(moving, powers, none),
            np.stack(flux, axis=-1),
            np.stack([np.stack(row, axis=-1) for row in bends], axis=-2),
        )

    def only(self, angle: Array, currents: Array, turned: bool) -> Array:
        """Co-energy (J), or torque where `turned` (N m), at points of shape (n,), and nothing else: at a tenth of what
        `at` costs. angle: rad, (n,). currents: A, (n, k)."""
        first, period = self.angles[0], self.angles[-1] - self.angles[0]
        cell, place, width = _cell(self.angles, first + np.mod(angle - first, period))
        cells, places, _ = _cell(self.currents, currents)
        table = self.patches[(cell, *cells.T)]
        value, slope, _ = cubic_powers(place)
        for basis in (
            slope / width[:, None] if turned else value,
            *(cubic_powers(u)[0] for u in places.T[::-1]),
        ):
            table = (table.reshape(len(cell), -1, 4) @ basis[:, :, None])[..., 0]
        found: Array = table[:, 0]
        return found


def _contracted(table: Array, powers: list[list[Array]], orders: NDArray[np.int64]) -> Array:
    """A polynomial in k currents, shape (...) + (4,) * k, or its derivative of some orders, at the powers given."""
    for own, order in zip(reversed(powers), reversed(orders.tolist()), strict=True):
        table = collapsed(table, own[order])
    return table


def _cell(nodes: Array, at: Array) -> tuple[NDArray[np.intp], Array, Array]:
    """The cell that holds each value, the place in it (0 to 1), and the cell's width."""
    cell = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, nodes.size - 2)
    width = nodes[cell + 1] - nodes[cell]
    return cell, (at - nodes[cell]) / width, width
