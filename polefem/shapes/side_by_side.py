"""Many lines and arcs at once: ends, centres and sweeps as arrays, for what looks at all curves of an outline."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from polefem.shapes.segments import Arc, Segment

__all__ = ["CurveArrays"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class CurveArrays:
    """Lines and arcs side by side; each array of shape (n_curves,). A line has the centre 0 and the sweep 0."""

    start: Complexes
    end: Complexes
    centre: Complexes
    sweep: Floats

    @classmethod
    def of(cls, curves: Iterable[Segment]) -> Self:
        """The curves in their order."""
        known = list(curves)
        arcs = [curve if isinstance(curve, Arc) else None for curve in known]
        return cls(
            np.array([curve.start for curve in known], dtype=complex),
            np.array([curve.end for curve in known], dtype=complex),
            np.array([arc.centre if arc else 0.0 for arc in arcs], dtype=complex),
            np.array([arc.sweep if arc else 0.0 for arc in arcs]),
        )

    @property
    def round(self) -> Bools:
        """Which are arcs."""
        bent: Bools = self.sweep != 0.0
        return bent

    def point(self, curve: Ints, part: Floats) -> Complexes:
        """The point of each named curve at a part of its way."""
        start, end, centre = self.start[curve], self.end[curve], self.centre[curve]
        turned = centre + (start - centre) * np.exp(1j * self.sweep[curve] * part)
        return np.where(self.round[curve], turned, start + (end - start) * part)
