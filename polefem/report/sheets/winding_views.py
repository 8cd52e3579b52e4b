"""What is wound, as views: the coil in its slot with every wire, and how coils are joined."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely

from polefem.copper import JoinedCoil, JoiningPlan, WindingOrder, laid_wires
from polefem.outline import DrawnMachine
from polefem.outline.builds import builds_of
from polefem.outline.coils import CoilSide
from polefem.outline.parts import whole_parts
from polefem.params import Machine, made_of_discs
from polefem.report import plotting
from polefem.report.dimensions import Dimension, Leader, LinearDimension, millimetres
from polefem.report.sections import part_path
from polefem.report.sheets.view import View
from polefem.report.style import EDGE, KINDS, MATERIALS
from polefem.shapes import moved
from polefem.units import mm

__all__ = ["joining_view", "slot_view"]

_COPPER, _ENAMEL = "#c8553d", "#f3d9c9"
_POINTS = 72 / 25.4  # a millimetre


def slot_view(known: DrawnMachine, order: WindingOrder) -> View:
    """The slot between stator poles 1 and 2 with both coil sides in it, every wire where `laid_wires` puts it."""
    machine, outline = known.machine, known.outline
    stator = builds_of(machine)[1]
    half = stator.seat.half_pitch
    # The slot's middle to the top: pole 1 at right, pole 2 at left.
    if machine.flat:
        turn, shift = 1j, half * (stator.row.radius or 1.0) + 0j
    else:
        turn, shift = cmath.exp(1j * (math.pi / 2 - half)), 0j
    second = len(stator.row.windings) > 1
    own = _side(stator.coils, 0, "plus")
    other = _side(stator.coils, 1 if second else 0, "minus")
    sides = [
        tuple(turn * z + shift for z in own.corners),
        tuple(turn * _next(z, known, half) + shift for z in other.corners),
    ]
    wires = [_in_place(corners, known, order) for corners in sides]
    parts = [
        replace(part, rings=tuple(moved(ring, turn=turn, shift=shift) for ring in part.rings))
        for part in whole_parts(outline)
        if part.material == "iron"
    ]
    box = _box(sides[0], order)

    def paint(axes: plotting.Axes, scale: float, size: float) -> None:
        axes.set_autoscale_on(False)
        frame = plotting.Rectangle(
            (box[0] / mm, box[1] / mm),
            (box[2] - box[0]) / mm,
            (box[3] - box[1]) / mm,
            facecolor="none",
            edgecolor=EDGE,
            linewidth=0.4,
        )
        axes.add_patch(frame)
        for part in parts:
            path = part_path(part)
            patch = plotting.PathPatch(path, facecolor=MATERIALS["iron"], edgecolor=EDGE, linewidth=0.8)
            axes.add_patch(patch)
            patch.set_clip_path(frame)
        for corners, places in zip(sides, wires, strict=True):
            room = np.array(corners) / mm
            edge = plotting.Polygon(
                np.column_stack([room.real, room.imag]),
                fill=False,
                edgecolor=EDGE,
                linestyle=":",
                linewidth=0.8,
            )
            axes.add_patch(edge)
            edge.set_clip_path(frame)
            for diameter, colour in ((order.wire.overall, _ENAMEL), (order.wire.bare, _COPPER)):
                _circles(axes, places, diameter / mm / scale * _POINTS, colour, frame)

    which = "of poles 1 and 2, mean radius" if machine.flat else "with the coils of poles 1 and 2"
    return View(f"Slot {which}", box, tuple(_clearances(sides, known, box)), paint)


def _next(z: complex, known: DrawnMachine, half: float) -> complex:
    """The point a pole pitch on, counter-clockwise."""
    if known.machine.flat:
        return z + 2j * half * known.outline.radius
    return z * cmath.exp(2j * half)


def _side(coils: Sequence[CoilSide], pole: int, side: str) -> CoilSide:
    return next(coil for coil in coils if coil.pole == pole and coil.side == side)


def _in_place(corners: Sequence[complex], known: DrawnMachine, order: WindingOrder) -> list[complex]:
    """Where the wires lie in a coil side whose corners begin beside the flank, near the face and far from it."""
    along = (corners[1] - corners[0]) / abs(corners[1] - corners[0])
    away = along * 1j if ((corners[2] - corners[1]) / along).imag > 0 else along * -1j
    places = laid_wires(order.coil, order.wire, order.packing.wires)
    return [corners[0] + z.real * away + z.imag * along for z in places.tolist()]


def _box(corners: Sequence[complex], order: WindingOrder) -> tuple[float, float, float, float]:
    """What is shown: the coil side with the flank that it leans on, and as far past the slot's middle."""
    rim = 0.35 * order.coil.width + 4 * order.coil.liner
    right = max(z.real for z in corners) + rim
    low, high = min(z.imag for z in corners) - rim, max(z.imag for z in corners) + rim
    near = min(z.real for z in corners)
    left = -right if near < order.coil.width else near - rim
    return left, low, right, high


def _circles(
    axes: plotting.Axes, places: Sequence[complex], diameter: float, colour: str, frame: plotting.Rectangle
) -> None:
    """Circles of one diameter (points of the paper) as marks of one kind, which a drawing holds once."""
    spots = np.array(places) / mm
    (found,) = axes.plot(
        spots.real,
        spots.imag,
        linestyle="none",
        marker="o",
        markersize=diameter,
        markerfacecolor=colour,
        markeredgecolor=EDGE,
        markeredgewidth=0.25,
    )
    found.set_clip_path(frame)


def _clearances(
    sides: Sequence[Sequence[complex]], known: DrawnMachine, box: tuple[float, float, float, float]
) -> Iterator[Dimension]:
    """Room round a coil side: to the flank, the face, the yoke and the neighbour."""
    winding, corners = known.machine.winding, sides[0]
    stator = known.machine.rows()[1]
    yoke = "yoke" if stator.root != stator.back else "plane in the middle"
    near, far = corners[0], corners[1]
    along = (far - near) / abs(far - near)
    away = along * 1j if ((corners[2] - far) / along).imag > 0 else along * -1j
    middle = (near + far) / 2
    if winding.liner:
        yield Leader(
            "liner", f"liner {millimetres(winding.liner)}", middle - winding.liner / 2 * away, winding.liner
        )
    yield Leader(
        "face",
        f"coil begins {millimetres(winding.face_inset)} behind the pole's face or more",
        near + 0.15 * winding.coil_width * away,
        winding.face_inset,
    )
    if stator.root != stator.back or winding.yoke_clearance:
        yield Leader(
            "yoke",
            f"coil ends {millimetres(winding.yoke_clearance)} before the {yoke} or more",
            far + 0.15 * winding.coil_width * away,
            winding.yoke_clearance,
        )
    one, other = (shapely.Polygon([(z.real, z.imag) for z in side]) for side in sides)
    gap = shapely.shortest_line(one, other)
    start, end = (complex(*point) for point in gap.coords)
    if abs(end - start) > 0 and box[0] < end.real:
        yield LinearDimension("between coils", start, end, printed=False)
        said = f"between coils {millimetres(round(abs(end - start), 5))}{_at_the_ends(known.machine)}"
        # The letter stands on that side of the line where there is more of the coils, and so of the room between.
        above = 1 if sum(z.imag - start.imag for z in corners) > 0 else -1
        yield Leader("between coils", said, (start + end) / 2, abs(end - start), inside=above)


def _at_the_ends(machine: Machine) -> str:
    """How far coils are apart where the poles of an axial machine begin, which is where they come nearest."""
    if not made_of_discs(machine) or machine.round_cores:
        return ""
    stator = builds_of(machine, machine.inner_radius)[1]
    plus = max(z.imag for z in _side(stator.coils, 0, "plus").corners)
    second = 1 if len(stator.row.windings) > 1 else 0
    minus = min(z.imag for z in _side(stator.coils, second, "minus").corners)
    apart = 2 * stator.seat.half_pitch * machine.inner_radius + minus - plus
    return f", {millimetres(round(apart, 5))} at the inner end"


_CELL, _ROW = 31.0, 19.0  # mm: from coil to coil, from row to row
_FEWEST, _MOST = 2, 5  # coils on a row


def joining_view(plan: JoiningPlan, most: int = _MOST) -> View:
    """Every phase from its + to its -: coils as boxes with the number of their pole, the ends S and F where the current
    enters and leaves, and the sign of their polarity. most: coils on a row."""
    rows = [(phase, at, path) for phase, paths in enumerate(plan.paths) for at, path in enumerate(paths)]
    cells = min(most, max(_FEWEST, *(len(path) for _, _, path in rows)))
    heights = [math.ceil(len(path) / cells) for _, _, path in rows]
    width, height = 38.0 + cells * _CELL, sum(heights) * _ROW + 2.0

    def paint(axes: plotting.Axes, scale: float, size: float) -> None:
        top = height - 1.0
        for (phase, at, path), high in zip(rows, heights, strict=True):
            colour = KINDS[phase % len(KINDS)]
            _path(axes, path, top, cells, colour, size)
            several = len(plan.paths[phase]) > 1
            name = f"phase {phase + 1}" + (f"\npath {at + 1}" if several else "")
            axes.text(0.0, top - _ROW / 2, name, fontsize=size, color=colour, va="center")
            top -= high * _ROW

    return View("Joints, not to scale", (0.0, 0.0, width * mm, height * mm), (), paint, to_scale=False)


def _path(
    axes: plotting.Axes, path: Sequence[JoinedCoil], top: float, cells: int, colour: str, size: float
) -> None:
    """A string of coils from + to -, on as many rows as it takes."""
    first = 27.0
    rows = [path[at : at + cells] for at in range(0, len(path), cells)]
    for number, row in enumerate(rows):
        y = top - (number + 0.5) * _ROW
        end = first + len(row) * _CELL + 1.0
        axes.plot([first - 2.0, end], [y, y], color=colour, linewidth=1.4, zorder=1)
        axes.text(first - 3.0, y, "+" if number == 0 else "…", fontsize=size + 2, ha="right", va="center")
        axes.text(
            end + 1.5, y, "\N{MINUS SIGN}" if number == len(rows) - 1 else "…", fontsize=size + 2, va="center"
        )
        for at, coil in enumerate(row):
            _coil(axes, coil, first + at * _CELL + 5.0, y, colour, size)


def _coil(axes: plotting.Axes, coil: JoinedCoil, x: float, y: float, colour: str, size: float) -> None:
    wide = _CELL - 8.0
    axes.add_patch(
        plotting.Rectangle(
            (x, y - 7.0), wide, 14.0, facecolor="white", edgecolor=colour, linewidth=1.2, zorder=2
        )
    )
    sign = "+" if coil.polarity > 0 else "\N{MINUS SIGN}"
    name = coil.name.replace(" ", "\n")
    axes.text(x + wide / 2, y, name, fontsize=size, ha="center", va="center", color=EDGE, zorder=3)
    axes.text(x + 1.0, y - 4.0, coil.enters, fontsize=size, va="center", color=EDGE, zorder=3)
    axes.text(x + wide - 1.0, y - 4.0, coil.leaves, fontsize=size, ha="right", va="center", zorder=3)
    axes.text(x + wide - 1.0, y + 4.2, sign, fontsize=size, ha="right", va="center", color=colour, zorder=3)
