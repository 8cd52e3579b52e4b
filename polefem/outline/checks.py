"""Whether the parts of one side can stand where they are put: polygons by shapely, arcs to a micrometre.

The polygons are a derived view for these checks alone; the outline keeps its arcs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely

from polefem.errors import GeometryRefused, refusal
from polefem.outline.coils import Coil
from polefem.outline.member import Member
from polefem.outline.values import Region, Ring
from polefem.shapes import area, points

__all__ = ["polygon", "refuse_overlaps", "refuse_touching_faces"]

#: Arcs are cut into chords that miss them by no more than this, m.
SAGITTA = 1e-6


def polygon(region: Region | Ring, sagitta: float = SAGITTA) -> shapely.Polygon:
    """A region (or ring) as a polygon whose chords miss the arcs by no more than `sagitta` (m)."""
    if isinstance(region, Region):
        return shapely.Polygon(
            _corners(region.ring, sagitta), [_corners(hole, sagitta) for hole in region.holes]
        )
    return shapely.Polygon(_corners(region, sagitta))


def _corners(ring: Ring, sagitta: float) -> np.ndarray:
    z = points(ring, sagitta)
    return np.column_stack([z.real, z.imag])


def refuse_overlaps(member: Member) -> None:
    """Raise GeometryRefused where poles touch their neighbours, or coils cut yoke, pole or neighbour."""
    _refuse_touching_roots(member)
    for coil in member.coils:
        _refuse_coil(member, coil)


def refuse_touching_faces(name: str, arcs: Sequence[float], pitch: float) -> None:
    """Raise GeometryRefused where faces of these arcs (rad), in a row that repeats, meet a neighbour."""
    for at, arc in enumerate(arcs):
        if (arc + arcs[at - 1]) / 2 >= pitch * (1 - 1e-9):
            found = f"{math.degrees(arc):.4g} deg"
            most = f"below the pole pitch of {math.degrees(pitch):.4g} deg"
            raise GeometryRefused(refusal("pole faces must not touch at the gap", f"{name}.arc", found, most))


def _refuse_touching_roots(member: Member) -> None:
    seat = member.seat
    for edge in member.edges:
        widest = max(abs(seat.angle(edge.path[0].start)), abs(seat.angle(edge.path[-1].end)))
        if widest >= member.pitch / 2:
            found = f"{2 * math.degrees(widest):.4g} deg"
            most = f"below the pole pitch of {math.degrees(member.pitch):.4g} deg"
            raise GeometryRefused(
                refusal(
                    "poles must not touch at their roots",
                    f"{member.name}_pole width at the yoke",
                    found,
                    most,
                )
            )


def _refuse_coil(member: Member, coil: Coil) -> None:
    seat = member.seat
    a, b, _, _ = coil.corners
    where = f"winding on stator pole {coil.pole}"
    inward = -seat.out
    length = inward * (b - a).real
    if length <= 0:
        found = f"{length * 1e3:.4g} mm"
        raise GeometryRefused(
            refusal("a coil side must have a length along its pole", where, found, "above 0 mm")
        )
    reach = max(inward * seat.level(z) for z in coil.corners)
    clear = inward * seat.root - reach
    if clear < -SAGITTA * 1e-3:
        raise GeometryRefused(
            refusal(
                "a coil must not cut the yoke",
                f"{where}, its corner's distance from the yoke",
                f"{clear * 1e3:.4g} mm",
                "0 mm or more (raise winding.yoke_clearance or lower winding.coil_width)",
            )
        )
    near = min(inward * seat.level(z) for z in coil.corners) - inward * seat.face
    if near < 0:
        raise GeometryRefused(
            refusal(
                "a coil must stay out of the air gap",
                f"{where}, its depth behind the faces",
                f"{near * 1e3:.4g} mm",
                "0 mm or more (raise winding.face_inset)",
            )
        )
    widest = max(abs(seat.angle(z)) for z in coil.corners)
    if widest >= member.pitch / 2:
        raise GeometryRefused(
            refusal(
                "a coil must not cut its neighbour",
                f"{where}, the angle of its outer corner from the pole axis",
                f"{math.degrees(widest):.4g} deg",
                f"below half a pole pitch, {math.degrees(member.pitch) / 2:.4g} deg",
            )
        )
    iron = polygon(member.edges[0].path)
    overlap = polygon(coil.ring).intersection(iron).area
    if overlap > 1e-6 * abs(area(coil.ring)):
        raise GeometryRefused(
            refusal(
                "a coil must not cut its pole", f"{where}, the overlap", f"{overlap * 1e6:.4g} mm2", "none"
            )
        )
