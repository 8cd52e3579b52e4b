"""Holes and barriers inside a pole, as rings in its own frame."""

from __future__ import annotations

import cmath
from itertools import pairwise

from polefem.params.pole import Barrier, Hole, Pole
from polefem.shapes.curves import joined
from polefem.shapes.seat import Seat
from polefem.shapes.segments import Arc, Segment

__all__ = ["openings"]


def openings(pole: Pole, seat: Seat) -> tuple[tuple[Segment, ...], ...]:
    """Closed rings, counter-clockwise, of the pole's holes and then of its barriers."""
    return (
        *(_hole(hole, seat) for hole in pole.holes),
        *(_barrier(barrier, seat) for barrier in pole.barriers),
    )


def _hole(hole: Hole, seat: Seat) -> tuple[Segment, ...]:
    centre = complex(seat.face - seat.out * hole.depth, hole.offset)
    rim = [centre + hole.diameter / 2 * turn for turn in (1, 1j, -1, -1j, 1)]
    return tuple(Arc(a, b, centre, True) for a, b in pairwise(rim))


def _barrier(barrier: Barrier, seat: Seat) -> tuple[Segment, ...]:
    centre = complex(seat.face - seat.out * barrier.depth, barrier.offset)
    along = barrier.length / 2 * cmath.rect(1.0, barrier.tilt)
    across = barrier.width / 2 * cmath.rect(1.0, barrier.tilt) * 1j
    corners = [centre + a * along + b * across for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1))]
    return joined(corners)
