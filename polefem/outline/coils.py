"""CoilSide sides: rectangles along the flanks of a wound pole, in the pole's own frame."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import accumulate
from typing import Literal

from polefem.errors import GeometryRefused, refusal
from polefem.outline.values import Ring
from polefem.params.winding import Winding
from polefem.shapes import Edge, Line, Seat

__all__ = ["CoilSide", "coils_of"]


@dataclass(frozen=True, eq=False)
class CoilSide:
    """One coil side of one pole of the unit; `ring` in the pole's own frame, counter-clockwise.

    corners: from beside the flank near the face, to the far end, away from the flank, and back: four of a
    rectangle, two more for each step.
    """

    pole: int
    side: Literal["minus", "plus"]
    corners: tuple[complex, ...]

    @property
    def ring(self) -> Ring:
        """Its edge, counter-clockwise."""
        ring = [Line(a, b) for a, b in zip(self.corners, (*self.corners[1:], self.corners[0]), strict=True)]
        turn = ((self.corners[1] - self.corners[0]).conjugate() * (self.corners[2] - self.corners[1])).imag
        return tuple(ring) if turn > 0 else tuple(Line(s.end, s.start) for s in reversed(ring))


def coils_of(pole: int, edge: Edge, seat: Seat, winding: Winding) -> tuple[CoilSide, CoilSide]:
    """The two coil sides of a pole, minus side first.

    A coil side is a rectangle parallel to the flank and `liner` away from it. Both ends are reckoned along
    the pole axis: no corner of it comes nearer to the face than `face_inset` behind the face's level on the
    axis, or nearer to the yoke than `yoke_clearance` before the yoke's level on the axis. Beside parallel
    flanks it is the rectangle with |y| from w / 2 + liner to w / 2 + liner + coil_width and x from bore
    radius + face_inset to slot radius - yoke_clearance. Behind a pole shoe it starts no nearer than `liner`
    to the deepest point of the shoe's underside. Steps take its first part with widths of their own.

    Raises GeometryRefused for steps that leave nothing of the coil's own width.
    """
    return _coil(pole, "minus", edge, seat, winding), _coil(pole, "plus", edge, seat, winding)


def _coil(pole: int, side: Literal["minus", "plus"], edge: Edge, seat: Seat, winding: Winding) -> CoilSide:
    sign = -1.0 if side == "minus" else 1.0
    flank = edge.flanks[0] if side == "minus" else edge.flanks[1]
    shelter = edge.shelter[0] if side == "minus" else edge.shelter[1]
    along = flank.end - flank.start
    along /= abs(along)
    away = along * 1j if (along * 1j).imag * sign > 0 else along * -1j
    near = flank.start + winding.liner * away
    widths = [*(step.width for step in winding.steps), winding.coil_width]
    inward = -seat.out  # along x from the face to the yoke
    begins = max(
        inward * seat.face + winding.face_inset,
        inward * shelter + (winding.liner if shelter != seat.face else 0),
    )
    ends = inward * seat.root - winding.yoke_clearance
    # Both corners of an end keep the distance: the one that reaches furthest decides.
    lean = inward * away.real
    first = (begins - min(lean * widths[0], 0.0) - inward * near.real) / (inward * along.real)
    last = (ends - max(lean * widths[-1], 0.0) - inward * near.real) / (inward * along.real)
    a, b = near + first * along, near + last * along
    outside = [b + widths[-1] * away, *_stairs(winding, a, along, away, last - first), a + widths[0] * away]
    return CoilSide(pole, side, (a, b, *outside))


def _stairs(
    winding: Winding, start: complex, along: complex, away: complex, length: float
) -> Iterator[complex]:
    """Corners where one width meets the next, from the yoke to the face, of a coil `length` (m) long."""
    ends = list(accumulate(step.length for step in winding.steps))
    if ends and ends[-1] >= length:
        found, most = f"{ends[-1] * 1e3:.4g} mm", f"below the coil's {length * 1e3:.4g} mm"
        rule = "the steps of a coil must leave some of it to its own width"
        raise GeometryRefused(refusal(rule, "winding.steps, together,", found, most))
    beyond = winding.coil_width
    for end, step in zip(reversed(ends), reversed(winding.steps), strict=True):
        if step.width != beyond:
            yield from (start + end * along + width * away for width in (beyond, step.width))
        beyond = step.width
