"""Parts as DXF for a cutter: closed polylines whose arcs are true arcs, circles as circles, a layer for each part.

An arc within a polyline is a bulge, the tangent of a quarter of its sweep, positive counter-clockwise (group code 42,
as `ezdxf.math` reads it). Needs ezdxf, the optional group `cut`; nothing else in this room does.
"""

from __future__ import annotations

import math
from pathlib import Path

from polefem.errors import MissingLibrary, lacking
from polefem.files import complete
from polefem.outline import DrawnMachine, Ring
from polefem.outline.parts import circle, parts_of
from polefem.params import Machine
from polefem.shapes import Arc
from polefem.units import mm

try:
    from ezdxf.filemanagement import new
    from ezdxf.units import MM
except ImportError as error:
    raise MissingLibrary(lacking("a DXF file needs", "ezdxf", "cut")) from error

__all__ = ["write_dxf"]

#: Numbers of the standard DXF colours, by what a part is called or made of: blue, white, red.
_COLOURS = {"rotor": 5, "stator": 7, "shaft": 8, "coil": 1}


def write_dxf(machine: Machine | DrawnMachine, path: str | Path, coils: bool = False) -> Path:
    """Write the outline of every part (see `parts_of`), in millimetres; `coils` adds a layer for each coil side.

    Raises GeometryRefused for a machine that cannot be built.
    """
    document = new("R2010", units=MM)
    space = document.modelspace()
    for part in parts_of(machine, coils):
        document.layers.add(
            part.name,
            color=_COLOURS[part.kind],
        )
        for ring in part.rings:
            round_ring = circle(ring)
            if round_ring is None:
                space.add_lwpolyline(_corners(ring), "xyb", close=True, dxfattribs={"layer": part.name})
            else:
                centre, radius = round_ring
                at = (centre.real / mm, centre.imag / mm)
                space.add_circle(at, radius / mm, dxfattribs={"layer": part.name})
    with complete(path) as beside:
        document.saveas(beside)
    return Path(path)


def _corners(ring: Ring) -> list[tuple[float, float, float]]:
    """Where each piece starts, mm, and its bulge."""
    return [
        (
            piece.start.real / mm,
            piece.start.imag / mm,
            math.tan(piece.sweep / 4) if isinstance(piece, Arc) else 0.0,
        )
        for piece in ring
    ]
