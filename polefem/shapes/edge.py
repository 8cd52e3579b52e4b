"""The edge of a pole, from its foot on the yoke over its face to its other foot, in the pole's own frame."""

from __future__ import annotations

import cmath
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.errors import GeometryRefused, refusal
from polefem.params.pole import Pole
from polefem.shapes.seat import Seat
from polefem.shapes.segments import Line, Segment

__all__ = ["Edge", "pole_edge"]


@dataclass(frozen=True, eq=False)
class Edge:
    """The edge of one pole.

    path: from the foot on the minus side (clockwise of the axis) over the face to the foot on the plus side.
    flanks: the straight flanks of the pole's body, minus and plus side, each from its top to its foot.
    shelter: x of the level behind which a coil may lie on the minus and on the plus side: the face, or the
    deepest point of a shoe's underside, m. corners: where the field is singular near the gap, complex, shape
    (n,), m. width: of the face, from corner to corner, m.
    """

    path: tuple[Segment, ...]
    flanks: tuple[Line, Line]
    shelter: tuple[float, float]
    corners: NDArray[np.complex128]
    width: float


@dataclass(frozen=True)
class _Half:
    """One side of the pole mirrored to positive y: the points from the face corner to the foot."""

    points: tuple[complex, ...]
    shelter: float

    def line(self, at: int, mirror: bool) -> Line:
        start, end = self.points[at - 1], self.points[at]
        return Line(start.conjugate(), end.conjugate()) if mirror else Line(start, end)


def pole_edge(pole: Pole, seat: Seat, name: str = "pole") -> Edge:
    """The edge of `pole` where it stands on `seat`; `name` is what a refusal calls the pole.

    Raises GeometryRefused where the words of the pole make no edge.
    """
    minus, plus = _half(pole, seat, name), _half(pole, seat, name)
    down = [plus.line(k, False) for k in range(1, len(plus.points))]
    up = [minus.line(k, True) for k in range(1, len(minus.points))]
    face = seat.along(seat.face, -pole.arc / 2, pole.arc / 2)
    climb = [Line(s.end, s.start) for s in reversed(up)]
    return Edge(
        path=(*climb, *face, *down),
        flanks=(up[-1], down[-1]),
        shelter=(minus.shelter, plus.shelter),
        corners=np.array([face[0].start, face[-1].end]),
        width=abs(face[-1].end - face[0].start),
    )


def _half(pole: Pole, seat: Seat, name: str) -> _Half:
    points = [seat.at(seat.face, pole.arc / 2)]
    direction = -seat.out * cmath.rect(1.0, -seat.out * pole.taper)
    foot = seat.foot(points[-1], direction)
    if foot is None:
        found, most = f"{2e3 * points[-1].imag:.4g} mm", f"below {2e3 * seat.root:.4g} mm"
        raise GeometryRefused(
            refusal("the flanks of a pole must meet its yoke", f"{name}.width", found, most)
        )
    return _Half((*points, foot), seat.face)
