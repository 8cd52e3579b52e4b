"""How the coupling across the gap changes as nodes slide along its circles.

A trace goes with its nodes: where they slide with a velocity v, linear between them, it changes by -v dA/dphi, a
quadratic on each element, which the kernels of the gap answer like any other: exact for the discrete energy.
"""

from __future__ import annotations

import math

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from polefem.gap.annulus import Gap
from polefem.gap.harmonics import SHAPES
from polefem.model import Trace

__all__ = ["SlidField", "Sliding"]

Floats = NDArray[np.float64]


class Sliding:
    """How the energy of a gap changes as the corner nodes of its traces slide along their circles, the values held."""

    def __init__(self, gap: Gap) -> None:
        self._gap = gap
        pieces = [gap.pieces(trace) for trace in gap.traces]
        self._own = [gap.own_block(every) for every, _ in pieces]
        self._across = [deep for _, deep in pieces]
        self._angle, self._mixed = math.nan, [sp.csr_matrix((0, 0))] * 2

    def field(self, angle: float, rotor: Floats, stator: Floats) -> SlidField:
        """The traces' unknowns, ready, at a rotor angle, rad."""
        if angle != self._angle:
            rotor_pieces, stator_pieces = self._across
            self._angle, self._mixed = angle, self._gap.mixed_blocks(rotor_pieces, stator_pieces, angle)
        return SlidField(self._gap.traces, self._own, self._mixed, (rotor, stator))


class SlidField:
    """Moments on the corner nodes of both traces, the rotor's first: the derivative of the ring's energy per length of
    the sector in the place of each, J/m/rad, shape (n_corners,)."""

    def __init__(
        self,
        traces: tuple[Trace, Trace],
        own: list[sp.csr_matrix],
        mixed: list[sp.csr_matrix],
        unknowns: tuple[Floats, Floats],
    ) -> None:
        self._traces, self._own_kernel, self._mixed = traces, own, mixed
        self._values = self._legendre(unknowns)
        self._answers = self._answered(self._values)

    def own(self) -> Floats:
        """The moments themselves."""
        return self._moments(self._values, self._answers)

    def along(self, rotor: Floats, stator: Floats) -> Floats:
        """Their change with the unknowns along a direction."""
        change = self._legendre((rotor, stator))
        return self._moments(change, self._answers) + self._moments(self._values, self._answered(change))

    def turned(self) -> Floats:
        """Their change with the rotor angle, per rad, the unknowns held."""
        (rotor, stator), slope = self._values, self._mixed[1]
        return self._moments(self._values, [slope @ stator, slope.T @ rotor])

    def _legendre(self, unknowns: tuple[Floats, Floats]) -> list[Floats]:
        """Each trace as Legendre's polynomials on its elements, shape (3 n_elements,)."""
        found = []
        for trace, own in zip(self._traces, unknowns, strict=True):
            nodal = trace.signs * own[trace.unknowns]
            found.append((np.stack([nodal[:-1:2], nodal[1::2], nodal[2::2]], axis=1) @ SHAPES.T).ravel())
        return found

    def _answered(self, values: list[Floats]) -> list[Floats]:
        (rotor, stator), (own_rotor, own_stator) = values, self._own_kernel
        mixed = self._mixed[0]
        return [own_rotor @ rotor + mixed @ stator, own_stator @ stator + mixed.T @ rotor]

    def _moments(self, values: list[Floats], answers: list[Floats]) -> Floats:
        """What -v dA/dphi of these values makes with the answers, by the velocity of each corner."""
        found = []
        for trace, value, answer in zip(self._traces, values, answers, strict=True):
            half = np.diff(trace.angles[::2]) / 2
            (_, first, second), (y, y1, y2) = value.reshape(-1, 3).T, answer.reshape(-1, 3).T
            even = -(y * first + 3 * y1 * second) / half  # by the mean of both ends' velocities
            apart = -(y * second + y1 * first + 2 * y2 * second) / half  # by half their difference
            corners = np.zeros(len(half) + 1)
            corners[:-1] += (even - apart) / 2
            corners[1:] += (even + apart) / 2
            found.append(corners)
        return np.concatenate(found)
