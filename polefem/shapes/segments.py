"""Lines and arcs in the plane: the only two curves an outline is made of.

A point is a complex number, x + 1j*y in metres: a rotation is a product, a mirror a conjugate. An arc keeps
its centre, so that a face stays a true arc from the parameters to the mesh and to the cutter's file.

The frame of a pole: its axis is the x axis, with x growing away from the shaft; y grows counter-clockwise. A
flat (unrolled) section keeps the frame: x across the gap, y along the motion, as if the shaft lay at minus
infinity.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Arc", "Line", "Segment", "area", "moved", "points", "turned_back"]


@dataclass(frozen=True)
class Line:
    """A straight segment from `start` to `end` (complex, m)."""

    start: complex
    end: complex


@dataclass(frozen=True)
class Arc:
    """A circular arc from `start` to `end` about `centre` (complex, m), counter-clockwise if `ccw`."""

    start: complex
    end: complex
    centre: complex
    ccw: bool

    @property
    def radius(self) -> float:
        """Radius, m."""
        return abs(self.start - self.centre)

    @property
    def sweep(self) -> float:
        """Signed angle from start to end, rad: positive counter-clockwise, in (-2 pi, 2 pi)."""
        angle = cmath.phase((self.end - self.centre) / (self.start - self.centre))
        if self.ccw:
            return angle if angle > 0 else angle + 2 * math.pi
        return angle if angle < 0 else angle - 2 * math.pi


Segment = Line | Arc


def moved(
    path: Sequence[Segment], turn: complex = 1.0, shift: complex = 0.0, mirror: bool = False
) -> tuple[Segment, ...]:
    """The path mirrored in the pole axis (if asked), then turned by `turn` (a unit complex), then shifted.

    A mirrored path is walked backwards, so that a ring keeps its sense.
    """

    def place(z: complex) -> complex:
        return (z.conjugate() if mirror else z) * turn + shift

    placed = [_mapped(segment, place, mirror) for segment in path]
    return turned_back(placed) if mirror else tuple(placed)


def _mapped(segment: Segment, place: Callable[[complex], complex], mirror: bool) -> Segment:
    if isinstance(segment, Line):
        return Line(place(segment.start), place(segment.end))
    return Arc(place(segment.start), place(segment.end), place(segment.centre), segment.ccw ^ mirror)


def turned_back(path: Sequence[Segment]) -> tuple[Segment, ...]:
    """The same path walked from its end to its start."""
    return tuple(
        Line(s.end, s.start) if isinstance(s, Line) else Arc(s.end, s.start, s.centre, not s.ccw)
        for s in reversed(path)
    )


def points(path: Sequence[Segment], sagitta: float = 1e-6) -> NDArray[np.complex128]:
    """Corners of a polyline along the path, arcs cut so that none is missed by more than `sagitta` (m)."""
    corners: list[complex] = []
    for segment in path:
        if isinstance(segment, Line):
            corners.append(segment.start)
            continue
        step = 2 * math.acos(max(0.0, 1 - sagitta / max(segment.radius, sagitta)))
        count = max(2, math.ceil(abs(segment.sweep) / step))
        turns = np.exp(1j * segment.sweep * np.arange(count) / count)
        corners.extend(segment.centre + (segment.start - segment.centre) * turns)
    corners.append(path[-1].end)
    return np.array(corners)


def area(ring: Sequence[Segment]) -> float:
    """Signed area inside a closed ring, m2, exact for arcs: positive when walked counter-clockwise.

    >>> unit = [Arc(1, -1, 0, True), Arc(-1, 1, 0, True)]
    >>> round(area(unit) - math.pi, 12)
    0.0
    """
    total = 0.0
    for segment in ring:
        total += (segment.start.conjugate() * segment.end).imag / 2
        if isinstance(segment, Arc):
            total += segment.radius**2 * (segment.sweep - math.sin(segment.sweep)) / 2
    return total
