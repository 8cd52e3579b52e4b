"""The face of a pole, from its edge on the minus side to its edge on the plus side."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from itertools import pairwise

from polefem.errors import GeometryRefused, refusal
from polefem.params.checks import both
from polefem.params.face import FreeFace, RoundFace, SlopedFace
from polefem.params.pole import Pole
from polefem.shapes.curves import smooth
from polefem.shapes.limits import flatter
from polefem.shapes.seat import Seat
from polefem.shapes.segments import Arc, Segment

__all__ = ["face_path"]

#: A slope that is a spiral in a round section is drawn with this many pairs of arcs: missed by under 1e-4 of
#: its rise.
PAIRS = 4


def face_path(pole: Pole, seat: Seat, name: str) -> tuple[Segment, ...]:
    """The face in the pole's own frame, in the sense of growing angle; arcs and lines.

    Raises GeometryRefused where a shaped face would make the gap narrower than its narrowest.
    """
    half = pole.arc / 2
    if pole.face is None:
        return seat.along(seat.face, -half, half)
    if isinstance(pole.face, SlopedFace):
        return _sloped(pole.face, seat, half, name)
    if isinstance(pole.face, RoundFace):
        return _round(pole.face, seat, half, name)
    return _free(pole.face, seat, half)


def _sloped(face: SlopedFace, seat: Seat, half: float, name: str) -> tuple[Segment, ...]:
    (rise_minus, rise_plus), (start_minus, start_plus) = both(face.rise), both(face.start)
    first = -start_minus if rise_minus else -half
    last = start_plus if rise_plus else half
    if not -half <= first <= last <= half or first == half or last == -half:
        found = f"{math.degrees(start_minus):.4g} and {math.degrees(start_plus):.4g} deg"
        most = f"between the edges at {math.degrees(half):.4g} deg, one slope ending before the other begins"
        raise GeometryRefused(refusal("a slope must begin on the face", f"{name}.face.start", found, most))
    path: list[Segment] = []
    if rise_minus:
        path += _curve(seat, [-half, first], [rise_minus, 0.0], [-rise_minus / (first + half)] * 2)
    if last > first:
        path += seat.along(seat.face, first, last)
    if rise_plus:
        path += _curve(seat, [last, half], [0.0, rise_plus], [rise_plus / (half - last)] * 2)
    return tuple(path)


def _free(face: FreeFace, seat: Seat, half: float) -> tuple[Segment, ...]:
    angles = [half * station for station in face.stations]
    return tuple(_curve(seat, angles, face.rises, _slopes(angles, face.rises)))


def _slopes(angles: Sequence[float], rises: Sequence[float]) -> list[float]:
    """Slopes that keep a curve within its points: level at a peak or trough, the harmonic mean of both sides
    else.

    F. N. Fritsch, J. Butland, A method for constructing local monotone piecewise cubic interpolants, SIAM
    Journal on Scientific and Statistical Computing 5(2), 1984 (from memory).
    """
    knots = list(zip(angles, rises, strict=True))
    steps = [(d - b) / (c - a) for (a, b), (c, d) in pairwise(knots)]
    inner = [2 * a * b / (a + b) if a * b > 0 else 0.0 for a, b in pairwise(steps)]
    return [steps[0], *inner, steps[-1]]


def _curve(
    seat: Seat, angles: Sequence[float], rises: Sequence[float], slopes: Sequence[float]
) -> list[Segment]:
    """Arcs along a rise over the angle, given at knots with its slopes and cubic in between."""
    knots = list(zip(angles, rises, slopes, strict=True))
    stops, headings = [], []
    for at, ((a, rise_a, slope_a), (b, rise_b, slope_b)) in enumerate(pairwise(knots)):
        for k in range(1 if at else 0, PAIRS + 1):
            t, width = k / PAIRS, b - a
            rise = (
                (1 + 2 * t) * (1 - t) ** 2 * rise_a
                + t**2 * (3 - 2 * t) * rise_b
                + width * t * (1 - t) * ((1 - t) * slope_a - t * slope_b)
            )
            slope = 6 * t * (1 - t) * (rise_b - rise_a) / width
            slope += (1 - t) * (1 - 3 * t) * slope_a + t * (3 * t - 2) * slope_b
            angle = a + t * width
            stops.append(seat.at(seat.face - seat.out * rise, angle))
            headings.append(_heading(seat, seat.face - seat.out * rise, -seat.out * slope, angle))
    return list(smooth(stops, headings))


def _heading(seat: Seat, level: float, slope: float, angle: float) -> complex:
    """Direction of travel of a curve whose level has this slope over the angle."""
    along = complex(slope, seat.radius) if seat.flat else complex(slope, level) * cmath.rect(1.0, angle)
    return along / abs(along)


def _round(face: RoundFace, seat: Seat, half: float, name: str) -> tuple[Segment, ...]:
    # The gap is narrowest where the face touches its level only if it bends away from it on both sides.
    level = math.inf if seat.flat else seat.face
    bends_away = 0 < face.radius <= level if seat.out > 0 else face.radius < 0 or face.radius >= level
    if not bends_away or abs(face.at) > half:
        allowed = "above 0 mm" if seat.out > 0 else "below 0 mm"
        if not seat.flat:
            allowed += (
                f" and up to {level * 1e3:.4g} mm" if seat.out > 0 else f", or {level * 1e3:.4g} mm and above"
            )
        found = f"{face.radius * 1e3:.4g} mm at {math.degrees(face.at):.4g} deg"
        rule = "a round face must be nearest to the gap where its `at` says"
        raise GeometryRefused(refusal(rule, f"{name}.face.radius", found, allowed))
    arc = _bent(face.radius, face.at, seat, half)
    if arc is None:
        found = f"{face.radius * 1e3:.4g} mm"
        flattest = flatter(lambda radius: _bent(radius, face.at, seat, half) is not None, face.radius)
        rule = "a round face must reach both edges of the pole"
        raise GeometryRefused(refusal(rule, f"{name}.face.radius", found, flattest))
    return (arc,)


def _bent(radius: float, at: float, seat: Seat, half: float) -> Arc | None:
    """The arc of a radius from edge to edge that touches the face's level at an angle; None where it ends before."""
    top = seat.at(seat.face, at)
    outward = 1.0 + 0j if seat.flat else top / abs(top)
    centre = top - radius * outward
    start, end = (_reach(seat, centre, abs(radius), angle, radius > 0) for angle in (-half, half))
    return None if start is None or end is None else Arc(start, end, centre, radius > 0)


def _reach(seat: Seat, centre: complex, radius: float, angle: float, far: bool) -> complex | None:
    """Where the line across the gap at an angle meets a circle, on the far side from the shaft or the near one."""
    foot = seat.at(0.0, angle)
    along = 1.0 + 0j if seat.flat else cmath.rect(1.0, angle)
    middle = ((centre - foot) * along.conjugate()).real
    square = radius**2 - abs(foot + middle * along - centre) ** 2
    if square <= 0:
        return None
    return foot + (middle + math.copysign(math.sqrt(square), 1 if far else -1)) * along
