"""Notches cut out of a pole face."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence

from polefem.errors import GeometryRefused, refusal
from polefem.params.pole import Notch
from polefem.shapes.curves import SAME, Spot, crossing, joined, part, through
from polefem.shapes.limits import angle_at_most
from polefem.shapes.seat import Seat
from polefem.shapes.segments import Segment

__all__ = ["notched"]


def notched(face: Sequence[Segment], notches: Sequence[Notch], seat: Seat, name: str) -> tuple[Segment, ...]:
    """The face with its notches cut in.

    Raises GeometryRefused for a notch that is not on the face, meets another, or is as deep as the pole.
    """
    path: list[Segment] = []
    last: Spot | None = None
    for notch in sorted(notches, key=lambda notch: notch.at):
        start, end, cut = _cut(face, notch, seat, name)
        if last is not None and seat.angle(start[1]) <= seat.angle(last[1]):
            raise GeometryRefused(
                refusal(
                    "notches must not meet",
                    f"{name}.notch.at",
                    f"{math.degrees(notch.at):.4g} deg",
                    "further apart",
                )
            )
        path += [*part(face, last, start), *cut]
        last = end
    return (*path, *part(face, last))


def _cut(
    face: Sequence[Segment], notch: Notch, seat: Seat, name: str
) -> tuple[Spot, Spot, tuple[Segment, ...]]:
    if notch.depth >= abs(seat.face - seat.root):
        found, most = (
            f"{notch.depth * 1e3:.4g} mm",
            f"below the pole's {abs(seat.face - seat.root) * 1e3:.4g} mm",
        )
        raise GeometryRefused(
            refusal("a notch must not go through the pole", f"{name}.notch.depth", found, most)
        )
    mouth = _mouth(face, notch, seat, notch.at)
    if mouth is None:
        found = f"{math.degrees(notch.at):.4g} deg, {notch.width * 1e3:.4g} mm wide"
        most = angle_at_most(lambda angle: _mouth(face, notch, seat, angle) is not None, notch.at)
        rule = "a notch must lie within its pole face"
        raise GeometryRefused(refusal(rule, f"{name}.notch.at", found, most))
    start, middle, end = mouth
    outward = _outward(seat, notch.at)
    inward, half = -seat.out * outward, 0.5j * notch.width * outward
    bottom = middle[1] + notch.depth * inward
    # A face that is round inside the iron falls away from the notch's own line: its mouth lies deeper than its middle.
    deep = min(((bottom - spot[1]) * inward.conjugate()).real for spot in (start, end))
    if deep <= SAME:
        found, least = f"{notch.depth * 1e3:.4g} mm", f"above {(notch.depth - deep) * 1e3:.4g} mm"
        rule = "a notch must be deeper than the face falls away across it"
        raise GeometryRefused(refusal(rule, f"{name}.notch.depth", found, least))
    if notch.form == "v":
        return start, end, joined([start[1], bottom, end[1]])
    if notch.form == "rectangular":
        return start, end, joined([start[1], bottom - half, bottom + half, end[1]])
    if deep <= notch.width / 2:
        return start, end, through(start[1], bottom, end[1])
    springs = [bottom - notch.width / 2 * inward + side for side in (-half, half)]
    arc = through(springs[0], bottom, springs[1])
    return start, end, (*joined([start[1], springs[0]]), *arc, *joined([springs[1], end[1]]))


def _mouth(face: Sequence[Segment], notch: Notch, seat: Seat, at: float) -> tuple[Spot, Spot, Spot] | None:
    """Where the notch's sides and middle would cross the face, were it at an angle; None where one misses."""
    outward = _outward(seat, at)
    middle = crossing(face, seat.at(seat.face, at), outward)
    if middle is None:
        return None
    half = 0.5j * notch.width * outward
    start, end = (crossing(face, middle[1] + side, outward) for side in (-half, half))
    return None if start is None or end is None else (start, middle, end)


def _outward(seat: Seat, at: float) -> complex:
    return 1.0 + 0j if seat.flat else cmath.rect(1.0, at)
