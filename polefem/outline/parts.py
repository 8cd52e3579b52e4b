"""Whole parts, ready to be cut: the outline's repeating units joined round the turn, arcs still arcs.

Each unit's ring is walked with its inside on the left. Where two units meet, the same line is walked both ways: such
pairs are left out, and what remains falls into closed rings again, edges of the part counter-clockwise and edges of its
openings clockwise.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from polefem.outline.discs import disc_rings
from polefem.outline.drawn import DrawnMachine, drawn
from polefem.outline.values import Label, Material, Member, Outline, Ring, Side
from polefem.params import AxialMachine, Machine, made_of_discs
from polefem.shapes import Arc, Line, Segment, area, moved, turned_back

__all__ = ["Part", "circle", "extent", "joined_rings", "parts_of", "whole_parts"]

#: Points nearer to each other than this are one, m: far below any tool, far above rounding.
SAME = 1e-9
#: Room between views that lie side by side, m.
APART = 10e-3


@dataclass(frozen=True, eq=False)
class Part:
    """One part as a person cuts or winds it.

    label: what it is, its pole counted round the whole turn. rings: closed, m; edges counter-clockwise, edges of
    openings clockwise. piece: which piece of a disc. radius: of the cut that shows it, m; None of what is shown whole.
    """

    label: Label
    rings: tuple[Ring, ...]
    piece: Literal["poles", "plate"] | None = None
    radius: float | None = None

    @property
    def name(self) -> str:
        """For people, also of its layer: "rotor", "stator plate", "coil 1 minus at 40 mm"."""
        words = [self.kind if self.material == "iron" else str(replace(self.label, member=None))]
        words += [self.piece] if self.piece else []
        words += [] if self.radius is None else [f"at {self.radius * 1e3:.5g} mm"]
        return " ".join(words)

    @property
    def kind(self) -> str:
        """Which iron, or else which material: what its colour goes by."""
        member = self.label.member if self.material == "iron" else None
        return member or self.material

    @property
    def material(self) -> Material:
        """Of its label."""
        return self.label.material

    @property
    def area(self) -> float:
        """What the part covers, m2."""
        return sum(area(ring) for ring in self.rings)


def parts_of(machine: Machine | DrawnMachine, coils: bool = True) -> tuple[Part, ...]:
    """The parts of a machine in one plane: "rotor", "stator", a "shaft" that carries flux and, if asked for, each coil
    side ("coil 1 minus" ...).

    A radial machine is seen along its shaft, the rotor aligned. An axial machine is taken apart: side by side lie each
    disc as seen along the shaft (its poles' faces and its plate), then for each cut the unrolled strips of rotor and
    stator, x along the shaft and y along the motion. Of two discs that are mirror images one is shown; the disc in the
    middle of a double-sided build is whole. Notches and shoes of an axial machine show in its strips alone.

    Raises GeometryRefused for a machine that cannot be built.
    """
    known = drawn(machine)
    machine = known.machine
    if not made_of_discs(machine):
        return whole_parts(known.outline, coils)
    views: list[Sequence[Part]] = [_disc(machine, "rotor"), _disc(machine, "stator")]
    for outline in known.sections:
        views.append(whole_parts(outline, coils, machine.middle, outline.radius))
    return tuple(_side_by_side(views))


def whole_parts(
    outline: Outline, coils: bool = True, middle: Member | None = None, radius: float | None = None
) -> tuple[Part, ...]:
    """Rotor, stator and coil sides of one outline, round the turn.

    middle: the member of which half is drawn: its other half is added. radius: of the cut, where parts of several are
    shown side by side, m.
    """
    parts = []
    for side in (outline.rotor, outline.stator):
        doubled = side.row.far if side.row.name == middle else None
        labelled = _rings(side)
        iron = [ring for label, ring in labelled if label.material == "iron"]
        rings = joined_rings(_with_image(iron, doubled))
        parts.append(Part(Label("iron", side.row.name), rings, radius=radius))
        if shaft := [ring for label, ring in labelled if label.material == "shaft"]:
            parts.append(Part(Label("shaft", side.row.name), joined_rings(shaft)))
        if coils:
            parts += [
                Part(label, joined_rings(_with_image([ring], doubled)), radius=radius)
                for label, ring in labelled
                if label.material == "coil"
            ]
    return tuple(parts)


def _rings(side: Side) -> list[tuple[Label, Ring]]:
    """All rings round the turn with what they are, openings clockwise."""
    found: list[tuple[Label, Ring]] = []
    for copy in range(side.row.poles // side.unit_poles):
        for region in side.regions:
            label = replace(region.label.further(copy * side.unit_poles), member=side.row.name)
            own = (region.ring, *(turned_back(hole) for hole in region.holes))
            found += [(label, _placed(ring, side, copy)) for ring in own]
    return found


def _with_image(rings: list[Ring], doubled: float | None) -> list[Ring]:
    """The rings, and their mirror images beyond x = `doubled` if it is given."""
    if doubled is None:
        return rings
    return rings + [moved(ring, turn=-1.0, shift=2 * doubled, mirror=True) for ring in rings]


def _placed(ring: Ring, side: Side, copy: int) -> Ring:
    step = copy * side.unit_poles * side.pitch
    return moved(ring, shift=1j * step) if side.flat else moved(ring, turn=cmath.exp(1j * step))


def _disc(machine: AxialMachine, member: Member) -> list[Part]:
    faces, plate = disc_rings(machine, member)
    iron = Label("iron", member)
    return [Part(iron, faces, "poles"), *([Part(iron, plate, "plate")] if plate else [])]


def _side_by_side(views: Sequence[Sequence[Part]]) -> Iterable[Part]:
    """The views from left to right, each about the same height."""
    end: float | None = None
    for view in views:
        left, low, right, high = extent(view)
        shift = 0j if end is None else complex(end + APART - left, -(low + high) / 2)
        for part in view:
            yield replace(part, rings=tuple(moved(ring, shift=shift) for ring in part.rings))
        end = right + shift.real


def extent(parts: Sequence[Part]) -> tuple[float, float, float, float]:
    """Least x, least y, greatest x and greatest y of some parts, m."""
    z = [z for part in parts for ring in part.rings for piece in ring for z in _outermost(piece)]
    x, y = [spot.real for spot in z], [spot.imag for spot in z]
    return min(x), min(y), max(x), max(y)


def _outermost(piece: Segment) -> Iterable[complex]:
    """The ends of a segment, and where an arc runs along an axis."""
    yield from (piece.start, piece.end)
    if isinstance(piece, Arc):
        for way in (1, 1j, -1, -1j):
            turn = cmath.phase(way * piece.radius / (piece.start - piece.centre)) * (1 if piece.ccw else -1)
            if turn % (2 * math.pi) < abs(piece.sweep):
                yield piece.centre + piece.radius * way


def joined_rings(rings: Sequence[Ring]) -> tuple[Ring, ...]:
    """The edges of what the rings cover together: lines walked both ways left out, pieces of one curve joined."""
    pieces = [piece for ring in rings for piece in ring]
    starts = np.array([piece.start for piece in pieces])
    ends = np.array([piece.end for piece in pieces])
    seam = [
        isinstance(piece, Line)
        and bool(np.any((abs(ends - piece.start) < SAME) & (abs(starts - piece.end) < SAME)))
        for piece in pieces
    ]
    left = {at: piece for at, piece in enumerate(pieces) if not seam[at]}
    starts[seam] = np.inf
    found = []
    while left:
        at = next(iter(left))
        ring = []
        while at in left:
            ring.append(left.pop(at))
            at = int(np.argmin(abs(starts - ring[-1].end)))
        found.append(_simple(tuple(ring)))
    return tuple(found)


def _simple(ring: Ring) -> Ring:
    """A ring whose neighbouring pieces of one line, or of one circle up to a third of a turn, are one piece."""
    first = next((at for at, piece in enumerate(ring) if _as_one(ring[at - 1], piece) is None), 0)
    pieces: list[Segment] = []
    for piece in (*ring[first:], *ring[:first]):
        one = _as_one(pieces[-1], piece) if pieces else None
        pieces[-1:] = [one] if one else [*pieces[-1:], piece]
    return tuple(pieces)


def _as_one(before: Segment, after: Segment) -> Segment | None:
    """Both segments as one where they lie on one line, or on one circle within a third of a turn."""
    if isinstance(before, Line) and isinstance(after, Line):
        along, onward = before.end - before.start, after.end - after.start
        aside = abs((along.conjugate() * onward).imag) / abs(along + onward)
        return Line(before.start, after.end) if aside < SAME else None
    if isinstance(before, Arc) and isinstance(after, Arc):
        same = before.ccw == after.ccw and abs(before.centre - after.centre) < SAME
        if same and abs(before.sweep) + abs(after.sweep) < 2 * math.pi / 3 + SAME:
            return Arc(before.start, after.end, before.centre, before.ccw)
    return None


def circle(ring: Ring) -> tuple[complex, float] | None:
    """Centre and radius (m) of a ring that is a whole circle; None for any other."""
    first = ring[0]
    if not isinstance(first, Arc):
        return None
    one = all(isinstance(piece, Arc) and abs(piece.centre - first.centre) < SAME for piece in ring)
    return (first.centre, first.radius) if one else None
