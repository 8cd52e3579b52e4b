"""How much room there is beside the curves of an outline, and how long an element there may be for it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from polefem.shapes import CurveArrays, Line, Segment

__all__ = ["BEND", "SAME", "distances", "tight_spots"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: An element may be this many times as long as the room beside it is wide.
STRETCH = 8.0
#: An element follows no more than this much of an arc, rad.
BEND = math.pi / 6
#: Beside one of the pieces that a smooth curve is drawn in, an element may be this many times as long as the piece.
#: Each piece has edges of its own: elements far longer than those would stand before a fan of them.
PIECE = 3.0
#: A joint that turns by less than this joins pieces of one smooth curve, rad.
SMOOTH = 0.01
#: Spots lie no further apart than this part of the length they allow.
SPACING = 1.0
#: Distances are found for so many points at a time, for the sake of memory.
BLOCK = 4096
#: Curves nearer to each other than this touch, m: far above rounding, below what any edge of a part is long.
SAME = 1e-8


def tight_spots(
    curves: Sequence[Segment], walls: Sequence[Line], coarsest: float, enough: float
) -> tuple[Complexes, Floats, bool]:
    """Points on the curves, and how long an element may be there, where that is less than `coarsest` (all in m).

    Room is the distance to the nearest curve or wall that does not touch the one the point lies on (two that touch
    enclose an angle, which no length of an element widens). curves: ring by ring, in order. walls: straight edges of
    the meshed part, which curves may cross. enough: pieces of curves, each as long as it allows, after which the search
    ends; the last value is whether it came to its own end before.
    """
    own, every = _Curves.of(curves), _Curves.of([*curves, *walls])
    apart = ~_touching(own, every)
    bend = BEND * np.where(own.round, own.radius, np.inf)
    bend = np.minimum(bend, PIECE * np.where(_pieces(own), own.length, np.inf))

    def room(curve: Ints, at: Complexes) -> Floats:
        nearest: Floats = np.where(apart[curve], every.distance(at), np.inf).min(axis=1)
        return nearest

    def limit(curve: Ints, part: Floats) -> tuple[Complexes, Floats]:
        at = own.point(curve, part)
        cuts = range(BLOCK, len(at), BLOCK)
        blocks = zip(np.split(curve, cuts), np.split(at, cuts), strict=True)
        return at, np.minimum(STRETCH * np.concatenate([room(*block) for block in blocks]), bend[curve])

    # Halves of curves, halved again where their ends allow less than their length.
    curve = np.repeat(np.arange(len(curves)), 2)
    low = np.tile([0.0, 0.5], len(curves))
    width, whole = 0.5, 0
    spots, limits = [], []
    while len(curve) and whole + len(curve) <= enough:
        ends = [limit(curve, low), limit(curve, low + width)]
        for at, most in ends:
            spots.append(at)
            limits.append(most)
        least = np.minimum(np.minimum(ends[0][1], ends[1][1]), coarsest)
        split = own.length[curve] * width > SPACING * least
        whole += int(np.sum(~split & (least < coarsest)))
        width /= 2
        curve, low = np.repeat(curve[split], 2), np.repeat(low[split], 2)
        low[1::2] += width
    at, most = np.concatenate(spots), np.concatenate(limits)
    tight = most < coarsest
    return at[tight], most[tight], not len(curve)


def distances(z: Complexes, curves: Sequence[Segment]) -> Floats:
    """From each point to each curve, m, shape (n_points, n_curves)."""
    return _Curves.of(curves).distance(z)


class _Curves(CurveArrays):
    """Curves that lengths and distances are asked of."""

    @property
    def radius(self) -> Floats:
        return np.abs(self.start - self.centre)

    @property
    def length(self) -> Floats:
        return np.where(self.round, self.radius * np.abs(self.sweep), np.abs(self.end - self.start))

    def distance(self, z: Complexes) -> Floats:
        """From each point to each curve, shape (n_points, n)."""
        z = z[:, None]
        along = self.end - self.start
        part = ((z - self.start) * along.conjugate()).real / np.abs(along) ** 2
        straight = np.abs(z - self.start - along * part.clip(0.0, 1.0))
        with np.errstate(divide="ignore", invalid="ignore"):  # lines have no sweep
            turn = np.angle((z - self.centre) / (self.start - self.centre)) / self.sweep
            turn = turn % (2 * math.pi / np.abs(self.sweep))
            beside = np.where(turn <= 1.0, np.abs(np.abs(z - self.centre) - self.radius), np.inf)
        ends = np.minimum(np.abs(z - self.start), np.abs(z - self.end))
        return np.where(self.round, np.minimum(beside, ends), straight)


def _pieces(curves: _Curves) -> Bools:
    """Whether each curve goes on without a bend at both its ends, from the one before and into the one after it."""
    way = [
        np.where(curves.round, 1j * np.sign(curves.sweep) * (z - curves.centre), curves.end - curves.start)
        for z in (curves.start, curves.end)
    ]
    turn = np.angle(way[0][1:] / way[1][:-1])
    joined = (np.abs(curves.start[1:] - curves.end[:-1]) < SAME) & (np.abs(turn) < SMOOTH)
    inner: Bools = np.append(False, joined) & np.append(joined, False)
    return inner


def _touching(some: _Curves, every: _Curves) -> Bools:
    """Whether each of some curves meets each of every: an end of one lies on the other, or a wall parts its ends."""
    ends = np.minimum(every.distance(some.start), every.distance(some.end))
    others = np.minimum(some.distance(every.start), some.distance(every.end)).T
    along = every.end - every.start
    sides = [((z[:, None] - every.start) * along.conjugate()).imag for z in (some.start, some.end)]
    parted = ~every.round & (sides[0] * sides[1] < 0.0)
    parted[:, : len(some.start)] = False  # a wall is crossed; two curves of an outline are not
    return (np.minimum(ends, others) < SAME) | parted
