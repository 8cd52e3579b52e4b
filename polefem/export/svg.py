"""Parts as SVG at 1:1: one unit of the drawing is a millimetre on paper, arcs are arcs, a group for each part."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import numpy as np

from polefem.files import write_text
from polefem.outline import DrawnMachine, Ring
from polefem.outline.parts import extent, parts_of
from polefem.params import Machine
from polefem.report.style import KINDS
from polefem.shapes import Arc, moved
from polefem.units import mm

__all__ = ["svg_text", "write_svg"]

#: Free rim round the drawing, mm, and the width of its lines, mm.
_RIM = 1.0
_STROKE = 0.1
_COLOURS = {"rotor": KINDS[1], "stator": KINDS[0], "shaft": KINDS[5], "coil": KINDS[3]}


def write_svg(machine: Machine | DrawnMachine, path: str | Path, coils: bool = True) -> Path:
    """Write the outline of every part (see `parts_of`) at 1:1.

    Raises GeometryRefused for a machine that cannot be built.
    """
    write_text(path, svg_text(machine, coils))
    return Path(path)


def svg_text(machine: Machine | DrawnMachine, coils: bool = True) -> str:
    """The drawing that `write_svg` writes."""
    parts = parts_of(machine, coils)
    left, low, right, high = (bound / mm for bound in extent(parts))
    width, height = right - left + 2 * _RIM, high - low + 2 * _RIM
    root = ElementTree.Element(
        "svg",
        xmlns="http://www.w3.org/2000/svg",
        width=f"{_short(width)}mm",
        height=f"{_short(height)}mm",
        viewBox=f"0 0 {_short(width)} {_short(height)}",
    )
    to_corner = complex(_RIM - left, -_RIM - high) * mm
    for part in parts:
        group = ElementTree.SubElement(
            root,
            "g",
            {"id": part.name.replace(" ", "-"), "fill": "none", "stroke-width": str(_STROKE)},
            stroke=_COLOURS[part.kind],
        )
        ElementTree.SubElement(group, "title").text = part.name
        for ring in part.rings:
            ElementTree.SubElement(group, "path", d=_path(moved(ring, shift=to_corner)))
    ElementTree.indent(root)
    return ElementTree.tostring(root, encoding="unicode", xml_declaration=True) + "\n"


def _path(ring: Ring) -> str:
    """A closed path. SVG counts y downwards: a turn counter-clockwise is its negative sweep, flag 0."""
    words = [f"M {_spot(ring[0].start)}"]
    for piece in ring:
        if isinstance(piece, Arc):
            radius, large = _short(piece.radius / mm), int(abs(piece.sweep) > np.pi)
            words.append(f"A {radius} {radius} 0 {large} {int(not piece.ccw)} {_spot(piece.end)}")
        else:
            words.append(f"L {_spot(piece.end)}")
    return " ".join([*words, "Z"])


def _spot(z: complex) -> str:
    return f"{_short(z.real / mm)} {_short(-z.imag / mm)}"


def _short(number: float) -> str:
    """A number to a millionth, without needless noughts; adding 0 turns -0 into 0."""
    return f"{round(number, 6) + 0.0:.6f}".rstrip("0").rstrip(".")
