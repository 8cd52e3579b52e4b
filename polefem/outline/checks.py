"""Whether the parts of one side can stand where they are put: polygons by shapely, arcs to a micrometre.

The polygons are a derived view for these checks alone; the outline keeps its arcs.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
import shapely

from polefem.errors import GeometryRefused, refusal
from polefem.outline.builds import Build
from polefem.outline.coils import CoilSide
from polefem.outline.values import Region, Ring, Side
from polefem.params.winding import THINNEST_LINER
from polefem.shapes import distance, points
from polefem.shapes.curves import heading, length

__all__ = [
    "polygon",
    "refuse_coils",
    "refuse_overlaps",
    "refuse_short_edges",
    "refuse_thin_iron",
    "refuse_thin_yoke",
    "refuse_touching_faces",
]

#: Arcs are cut into chords that miss them by no more than this, m.
SAGITTA = 1e-6
#: Parts that reach into each other by no more than this touch, m: their polygons miss an arc on either side.
TOUCH = 2 * SAGITTA
#: An edge is no shorter than this, m: what a chamfer leaves of a face may be rounding, and no mesher fills it.
SHORTEST = 1e-7
#: What is walked round the other way is no crossing, but rounding, below this part of the area.
CROSSED = 1e-9
THIN = "iron must nowhere be thinner than the thinnest web"
ON_POLE = "a coil must lie on its pole or leave room for a film of insulation"
#: Points of a coil and of its pole that are nearer to each other are one, m.
SAME = 1e-9
#: Edges that part at a smaller angle lie on one another, rad.
TANGENT = 1e-5
#: A wedge of air below this angle is filled by slivers: no triangle in it is better shaped than the angle is wide, rad.
SHARP = math.radians(2.0)
#: What is allowed between a coil and what it must not cut.
ROOM = f"0 mm, or {THINNEST_LINER * 1e3:g} mm and more"


def polygon(shape: Region | Ring, sagitta: float = SAGITTA) -> shapely.Polygon:
    """A region (or ring) as a polygon whose chords miss the arcs by no more than `sagitta` (m)."""
    if isinstance(shape, Region):
        holes = [_corners(hole, sagitta) for hole in shape.holes]
        return shapely.Polygon(_corners(shape.ring, sagitta), holes)
    return shapely.Polygon(_corners(shape, sagitta))


def _corners(ring: Ring, sagitta: float) -> np.ndarray:
    z = points(ring, sagitta)
    return np.column_stack([z.real, z.imag])


def refuse_touching_faces(name: str, arcs: Sequence[float], pitch: float) -> None:
    """Raise GeometryRefused where a face of one of these arcs (rad) fills its pole pitch."""
    for arc in arcs:
        if arc >= pitch * (1 - 1e-9):
            found = f"{math.degrees(arc):.4g} deg"
            most = f"below the pole pitch of {math.degrees(pitch):.4g} deg"
            raise GeometryRefused(refusal("pole faces must not touch at the gap", f"{name}.arc", found, most))


def refuse_coils(build: Build) -> None:
    """Raise GeometryRefused where a coil has no length, or leaves the half slot beside its pole."""
    for coil in build.coils:
        _refuse_coil(build, coil)


def _refuse_coil(build: Build, coil: CoilSide) -> None:
    seat, name = build.seat, f"winding, {coil.side} side of stator pole {coil.pole + 1},"
    inward = -seat.out
    length = inward * (coil.corners[1] - coil.corners[0]).real
    if length <= 0:
        raise _coil_refused(
            "a coil side must have a length along its pole", f"{name} length", length, "above 0"
        )
    clear = min(inward * (seat.root - seat.level(z)) for z in coil.corners)
    if not _apart(clear):
        cure = f"{ROOM} (by a larger yoke_clearance or a smaller coil_width)"
        raise _coil_refused("a coil must not cut the yoke", f"{name} distance of its corner", clear, cure)
    deep = min(inward * (seat.level(z) - seat.face) for z in coil.corners)
    if not _apart(deep):
        cure = f"{ROOM} (by a larger face_inset)"
        raise _coil_refused(
            "a coil must stay out of the air gap", f"{name} depth behind the faces", deep, cure
        )
    # In a round section the middle of the slot is a line from the shaft's centre.
    widest = max(coil.corners, key=lambda z: abs(seat.angle(z)))
    spare = seat.half_pitch - abs(seat.angle(widest))
    spare = spare * seat.radius if seat.flat else abs(widest) * math.sin(spare)
    if not _apart(spare):
        cure = f"{ROOM} (by a smaller coil_width)"
        rule = "a coil must not cut its neighbour"
        raise _coil_refused(rule, f"{name} distance from the middle of the slot", spare, cure)
    # Where a rounded tip curls away from a coil that lies on its flank, the air between them ends in a cusp.
    path = build.edges[coil.pole].path
    closest = min((away for z in coil.corners if not _apart(away := distance(path, z))), default=None)
    if closest is not None:
        cure = f"{ROOM} (by a liner or another face_inset)"
        raise _coil_refused(ON_POLE, f"{name} distance of its corner from the iron", closest, cure)
    # Where iron leaves a corner of the coil at a hair's angle, as a shoe's underside may, so does the air.
    sharpest = min((turn for turn in _wedges(path, coil) if TANGENT < turn < SHARP), default=None)
    if sharpest is not None:
        found = f"{math.degrees(sharpest):.3g} deg"
        cure = f"0 deg, or {math.degrees(SHARP):g} deg and more (by a liner or another face_inset)"
        raise GeometryRefused(refusal(ON_POLE, f"{name} angle between it and the iron", found, cure))


def _wedges(path: Ring, coil: CoilSide) -> Iterator[float]:
    """Angles between edges of a coil and of the iron that begin in one point, rad."""
    count = len(coil.corners)
    for at, z in enumerate(coil.corners):
        edges = [coil.corners[(at + step) % count] - z for step in (1, -1)]
        ways = [heading(segment, z) for segment in path if abs(segment.start - z) < SAME]
        ways += [-heading(segment, z) for segment in path if abs(segment.end - z) < SAME]
        yield from (abs(cmath.phase(way / edge)) for way in ways for edge in edges)


def _apart(distance: float) -> bool:
    """Whether two parts touch or leave room for a film of insulation; neither a cut nor a sliver."""
    return abs(distance) < 1e-9 or distance > THINNEST_LINER - 1e-9


def _coil_refused(rule: str, name: str, length: float, allowed: str) -> GeometryRefused:
    return GeometryRefused(refusal(rule, name, f"{length * 1e3:.4g} mm", allowed))


def refuse_short_edges(side: Side) -> None:
    """Raise GeometryRefused where a line or arc is next to nothing."""
    for region in side.regions:
        for segment in (part for ring in (region.ring, *region.holes) for part in ring):
            if length(segment) < SHORTEST:
                spot = f"near x {segment.start.real * 1e3:.4g} mm, y {segment.start.imag * 1e3:.4g} mm"
                least = (
                    f"{SHORTEST * 1e3:g} mm or more (by a corner that leaves a micrometre more, or all of it)"
                )
                rule = "an edge must be long enough to be cut"
                name = f"{side.row.name} {region.label}, length of its edge {spot}"
                raise GeometryRefused(refusal(rule, name, f"{length(segment) * 1e3:.3g} mm", least))


def refuse_overlaps(side: Side) -> None:
    """Raise GeometryRefused where the edge of a region crosses itself, or two regions overlap."""
    shapes = {region.label: polygon(region) for region in side.regions}
    for region in side.regions:
        _refuse_crossed(side, region, shapes[region.label])
    for (one, a), (two, b) in combinations(shapes.items(), 2):
        a = shapely.make_valid(a)
        if a.intersects(b.buffer(-TOUCH)):
            found = f"{a.intersection(b).area * 1e6:.4g} mm2"
            raise GeometryRefused(
                refusal(
                    "a coil must not cut iron or coils",
                    f"{side.row.name}, {one} and {two}, overlap",
                    found,
                    "none",
                )
            )


def _refuse_crossed(side: Side, region: Region, shape: shapely.Polygon) -> None:
    name = f"{side.row.name} {region.label}"
    rim = shapely.Polygon(shape.exterior)
    # A unit of a whole turn has both its cuts in one place, which only looks like a crossing. What lies beyond a
    # real one is walked round the other way, and so taken off the area on this side of it.
    if not rim.is_valid:
        walked, rim = rim.area, shapely.make_valid(rim)
        if abs(rim.area - walked) > CROSSED * walked:
            rule = (
                "the edge of a part must not cross itself (a notch through a flank, a fillet through a face)"
            )
            raise GeometryRefused(refusal(rule, f"{name} edge", "crossed", "simple"))
    rooms = [shapely.Polygon(hole) for hole in shape.interiors]
    if not all(rim.contains(room) for room in rooms):
        raise GeometryRefused(
            refusal("holes and barriers must lie inside the iron", name, "cut by one", "whole around each")
        )
    if any(a.intersects(b) for a, b in combinations(rooms, 2)):
        raise GeometryRefused(
            refusal("holes and barriers must not meet", name, "two that meet", "a web between any two")
        )


def refuse_thin_yoke(build: Build, web: float) -> None:
    """Raise GeometryRefused where there is a yoke, but a thinner one than `web` (m).

    One that is thinner than the chords of its arcs leave shows as no iron at all in its polygon.
    """
    thick = abs(build.row.back - build.seat.root)
    if 0.0 < thick < web * (1 - 1e-3):
        allowed = f"{web * 1e3:.4g} mm or more (or a smaller pole.web)"
        raise GeometryRefused(refusal(THIN, f"{build.row.name} yoke", f"{thick * 1e3:.4g} mm", allowed))


def refuse_thin_iron(side: Side, web: float) -> None:
    """Raise GeometryRefused where the iron is anywhere thinner than `web` (m).

    Iron that is shrunk by half the web and grown again loses what is thinner, and a little at its corners: a
    corner of 90 degrees loses 0.05 web^2, one of 30 degrees 0.6 web^2.
    """
    for region in side.regions:
        if region.material == "iron":
            _refuse_thin(side, region, web)


def _refuse_thin(side: Side, region: Region, web: float) -> None:
    iron = shapely.make_valid(polygon(region, max(SAGITTA, web / 200)))
    shrunk = iron.buffer(-web / 2 * (1 - 1e-3), quad_segs=4)
    lost = _pieces(iron.difference(shrunk.buffer(web / 2, quad_segs=8)))
    worst = max(lost, key=lambda piece: piece.area, default=iron)
    parted = len(_pieces(shrunk)) > len(_pieces(iron)) or _rooms(shrunk) < _rooms(iron)
    if parted or (lost and worst.area > web**2):
        spot = worst.representative_point()
        found = f"thinner near x {spot.x * 1e3:.3g} mm, y {spot.y * 1e3:.3g} mm"
        allowed = f"{web * 1e3:.4g} mm or more (or a smaller pole.web)"
        raise GeometryRefused(refusal(THIN, f"{side.row.name} iron", found, allowed))


def _rooms(shape: shapely.Geometry) -> int:
    """Openings, counted over all pieces: one fewer where shrinking broke through a web beside it."""
    return sum(len(piece.interiors) for piece in _pieces(shape) if piece.geom_type == "Polygon")


def _pieces(shape: shapely.Geometry) -> list[shapely.Geometry]:
    return list(getattr(shape, "geoms", [shape]))
