"""Where paths are crossed, cut, rounded and drawn through points: exact geometry of lines and arcs."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from polefem.shapes.segments import Arc, Line, Segment

__all__ = [
    "SAME",
    "Spot",
    "chamfered",
    "crossing",
    "distance",
    "heading",
    "joined",
    "length",
    "part",
    "rounded",
    "smooth",
    "tangent_arc",
    "through",
]

#: Lengths closer than this are the same, m: far below any tool, far above rounding.
SAME = 1e-10

Spot = tuple[int, complex]


def heading(segment: Segment, point: complex) -> complex:
    """Unit direction of travel along a segment at a point of it."""
    if isinstance(segment, Line):
        along = segment.end - segment.start
    else:
        along = (point - segment.centre) * (1j if segment.ccw else -1j)
    return along / abs(along)


def crossing(path: Sequence[Segment], point: complex, direction: complex) -> Spot | None:
    """Where the infinite line through `point` along `direction` (a unit) crosses the path, nearest to
    `point`.

    Gives the index of the segment and the point on it; None where it crosses nowhere.
    """
    spots = [(at, z) for at, segment in enumerate(path) for z in _met(segment, point, direction)]
    return min(spots, key=lambda spot: abs(spot[1] - point), default=None)


def _met(segment: Segment, point: complex, direction: complex) -> list[complex]:
    met = _line_meets(Line(point, point + direction), _support(segment, 0.0))
    return [z for z in met if _holds(segment, z)]


def _holds(segment: Segment, z: complex) -> bool:
    """Whether a point of the segment's whole line or circle lies between its ends."""
    if abs(z - segment.start) < SAME or abs(z - segment.end) < SAME:
        return True
    if isinstance(segment, Line):
        along = (z - segment.start) / (segment.end - segment.start)
        return 0.0 <= along.real <= 1.0
    turn = cmath.phase((z - segment.centre) / (segment.start - segment.centre))
    turn = turn if segment.ccw else -turn
    return (turn if turn >= 0 else turn + 2 * math.pi) <= abs(segment.sweep)


@dataclass(frozen=True)
class _Circle:
    centre: complex
    radius: float


_Support = Line | _Circle  # a line stands here for the whole of it, both ends without end


def _support(segment: Segment, left: float) -> _Support:
    """What a segment is a piece of, moved to its left by a length."""
    if isinstance(segment, Line):
        along = heading(segment, segment.start)
        return Line(segment.start + 1j * left * along, segment.start + (1j * left + 1) * along)
    return _Circle(segment.centre, segment.radius - left if segment.ccw else segment.radius + left)


def _line_meets(line: Line, support: _Support) -> list[complex]:
    """Points where a whole line meets a support."""
    point, along = line.start, heading(line, line.start)
    if isinstance(support, Line):
        way = heading(support, support.start)
        sine = (along.conjugate() * way).imag
        if abs(sine) < 1e-12:
            return []
        return [point + along * ((support.start - point).conjugate() * way).imag / sine]
    middle = ((support.centre - point) * along.conjugate()).real
    square = support.radius**2 - abs(point + middle * along - support.centre) ** 2
    if support.radius < 0 or square < 0:
        return []
    reach = math.sqrt(square)
    return [point + (middle - reach) * along, point + (middle + reach) * along]


def _meet(one: _Support, two: _Support) -> list[complex]:
    if isinstance(one, Line):
        return _line_meets(one, two)
    if isinstance(two, Line):
        return _line_meets(two, one)
    # Two circles share the chord on their radical line.
    apart = two.centre - one.centre
    if abs(apart) < SAME:
        return []
    middle = (abs(apart) + (one.radius**2 - two.radius**2) / abs(apart)) / 2
    foot = one.centre + middle * apart / abs(apart)
    return _line_meets(Line(foot, foot + 1j * apart), one)


def part(path: Sequence[Segment], start: Spot | None = None, end: Spot | None = None) -> tuple[Segment, ...]:
    """The piece of a path between two of its points; from its beginning or to its end where one is None."""
    first, last = (start[0] if start else 0), (end[0] if end else len(path) - 1)
    pieces = list(path[first : last + 1])
    if end:
        pieces[-1] = _with_ends(pieces[-1], pieces[-1].start, end[1])
    if start:
        pieces[0] = _with_ends(pieces[0], start[1], pieces[0].end)
    return tuple(piece for piece in pieces if abs(piece.end - piece.start) > SAME)


def _with_ends(segment: Segment, start: complex, end: complex) -> Segment:
    if isinstance(segment, Line):
        return Line(start, end)
    return Arc(start, end, segment.centre, segment.ccw)


def rounded(before: Segment, after: Segment, radius: float) -> tuple[Segment, Arc, Segment] | None:
    """The corner between two segments replaced by an arc tangent to both; None where it does not fit."""
    corner = before.end
    turn = (heading(before, corner).conjugate() * heading(after, after.start)).imag
    left = math.copysign(radius, turn)
    centres = _meet(_support(before, left), _support(after, left))
    for centre in sorted(centres, key=lambda z: abs(z - corner)):
        start, end = _nearest(before, centre), _nearest(after, centre)
        if _holds(before, start) and _holds(after, end):
            return (
                _with_ends(before, before.start, start),
                Arc(start, end, centre, left > 0),
                _with_ends(after, end, after.end),
            )
    return None


def _nearest(segment: Segment, z: complex) -> complex:
    """The point of the segment's whole line or circle nearest to z."""
    if isinstance(segment, Line):
        along = heading(segment, segment.start)
        return segment.start + along * ((z - segment.start) * along.conjugate()).real
    return segment.centre + segment.radius * (z - segment.centre) / abs(z - segment.centre)


def distance(path: Sequence[Segment], z: complex) -> float:
    """From a point to the nearest of a path, m."""
    return min(_away(segment, z) for segment in path)


def _away(segment: Segment, z: complex) -> float:
    if isinstance(segment, Arc) and abs(z - segment.centre) < SAME:
        return segment.radius
    foot = _nearest(segment, z)
    return abs(z - foot) if _holds(segment, foot) else min(abs(z - segment.start), abs(z - segment.end))


def chamfered(
    before: Segment, after: Segment, back: float, onward: float
) -> tuple[Segment, Line, Segment] | None:
    """The corner of two segments cut off, `back` and `onward` (m) along them; None where one is too short."""
    if not 0 < back < length(before) or not onward < length(after):
        return None
    start, end = _along(before, length(before) - back), _along(after, onward)
    return _with_ends(before, before.start, start), Line(start, end), _with_ends(after, end, after.end)


def length(segment: Segment) -> float:
    """Length of a segment, m."""
    if isinstance(segment, Line):
        return abs(segment.end - segment.start)
    return abs(segment.sweep) * segment.radius


def _along(segment: Segment, way: float) -> complex:
    if isinstance(segment, Line):
        return segment.start + way * heading(segment, segment.start)
    return segment.centre + (segment.start - segment.centre) * cmath.exp(
        1j * math.copysign(way / segment.radius, segment.sweep)
    )


def joined(corners: Sequence[complex]) -> tuple[Line, ...]:
    """Straight segments through the corners."""
    return tuple(Line(a, b) for a, b in pairwise(corners) if abs(b - a) > SAME)


def through(start: complex, middle: complex, end: complex) -> tuple[Segment, ...]:
    """The arc from `start` over `middle` to `end`, in two pieces; lines where they lie on one."""
    one, two = middle - start, end - start
    area = (one.conjugate() * two).imag
    if abs(area) < 1e-9 * abs(two) ** 2:
        return joined([start, middle, end])
    centre = start + 1j * (abs(two) ** 2 * one - abs(one) ** 2 * two) / (2 * area)
    return Arc(start, middle, centre, area > 0), Arc(middle, end, centre, area > 0)


def smooth(stops: Sequence[complex], headings: Sequence[complex]) -> tuple[Segment, ...]:
    """A path of arcs through the stops, with the given unit direction at each and no kink anywhere.

    Two arcs from stop to stop, as far from the one as from the other (a biarc of equal tangent lengths:
    K. M. Bolton, Biarc curves, Computer-Aided Design 7(2), 1975; from memory).
    """
    path: list[Segment] = []
    for a, b, along, onward in zip(stops[:-1], stops[1:], headings[:-1], headings[1:], strict=True):
        chord, turn = b - a, along + onward
        reach = (chord * turn.conjugate()).real
        bend = 2 * (1 - (along * onward.conjugate()).real)
        size = abs(chord) ** 2 / (reach + math.sqrt(reach**2 + bend * abs(chord) ** 2))
        middle = (a + b + size * (along - onward)) / 2
        path += [tangent_arc(a, along, middle), tangent_arc(middle, _onward(a, along, middle), b)]
    return tuple(path)


def _onward(a: complex, along: complex, b: complex) -> complex:
    """Direction at the end of the arc from a along `along` to b."""
    chord = (b - a) / abs(b - a)
    return chord * chord * along.conjugate()


def tangent_arc(a: complex, along: complex, b: complex) -> Segment:
    """The arc from a in the direction `along` to b; a line where it hardly bends."""
    bend = 2 * (along.conjugate() * (b - a)).imag / abs(b - a) ** 2
    if abs(bend) * abs(b - a) < 1e-7:
        return Line(a, b)
    return Arc(a, b, a + 1j * along / bend, bend > 0)
