"""Where a pole stands: the levels of its face and of its yoke, round or flat."""

from __future__ import annotations

import cmath
import itertools
import math
from dataclasses import dataclass

from polefem.shapes.segments import Arc, Line, Segment

__all__ = ["Seat"]


@dataclass(frozen=True)
class Seat:
    """The face level and the yoke level of a pole: radii in a round section, x in a flat one.

    face: level of the pole face at its narrowest gap, m. root: level where the yoke begins, m. half_pitch:
    angle from the pole axis to the middle between two poles, rad. flat: an unrolled section. radius: of the
    cylinder a flat section was cut by, m: an angle of the machine becomes radius * angle along y; 1 in a
    round section, where y along the gap is an angle.

    A pole whose face lies above its root (a rotor inside its stator) has `out` 1, the other kind has -1.
    """

    face: float
    root: float
    half_pitch: float
    flat: bool = False
    radius: float = 1.0

    @property
    def out(self) -> float:
        """Direction along the pole axis from the root to the face: 1 away from the shaft, -1 towards it."""
        return 1.0 if self.face > self.root else -1.0

    def at(self, level: float, angle: float) -> complex:
        """The point on a level at an angle (rad about the shaft) from the pole axis."""
        return complex(level, self.radius * angle) if self.flat else cmath.rect(level, angle)

    def level(self, point: complex) -> float:
        """Radius (flat: x) of a point, m."""
        return point.real if self.flat else abs(point)

    def angle(self, point: complex) -> float:
        """Angle about the shaft from the pole axis to a point, rad."""
        return point.imag / self.radius if self.flat else cmath.phase(point)

    def along(self, level: float, start: float, end: float) -> tuple[Segment, ...]:
        """The path on a level from one angle to another, in arcs of a third of a turn at most."""
        count = 1 if self.flat else max(1, math.ceil(abs(end - start) / (2 * math.pi / 3)))
        stops = [self.at(level, start + (end - start) * k / count) for k in range(count + 1)]
        return self.between(level, stops)

    def between(self, level: float, stops: list[complex]) -> tuple[Segment, ...]:
        """The path on a level through the given points of it, each less than half a turn from the next."""
        pairs = itertools.pairwise(stops)
        if self.flat:
            return tuple(Line(a, b) for a, b in pairs)
        return tuple(Arc(a, b, 0j, (a.conjugate() * b).imag > 0) for a, b in pairs)

    def foot(self, start: complex, direction: complex) -> complex | None:
        """Where a flank from `start` along `direction` (a unit complex) first meets the yoke, if it does."""
        if self.flat:
            reach = (self.root - start.real) / direction.real if direction.real else -1.0
        else:
            middle = -(start * direction.conjugate()).real
            square = middle**2 - abs(start) ** 2 + self.root**2
            reach = middle - self.out * math.sqrt(square) if square > 0 else -1.0
        return start + reach * direction if reach > 0 else None
