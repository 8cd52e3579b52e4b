"""One pole as a drawing, its axis upright, with every length and angle that its words say."""

from __future__ import annotations

import math
from typing import Literal

from polefem.errors import GeometryRefused
from polefem.outline import Label, Part, Ring
from polefem.outline.builds import builds_of
from polefem.outline.parts import extent
from polefem.params import Machine, Pole
from polefem.report import plotting
from polefem.report.dimensions import Leader, draw_dimensions, draw_leaders, millimetres
from polefem.report.pole_measures import UP, pole_dimensions
from polefem.report.sections import part_path, ring_path
from polefem.report.style import EDGE, MATERIALS, new_figure, plain_axes
from polefem.shapes import Edge, Line, Seat, moved, pole_edge, turned_back
from polefem.units import mm

__all__ = ["draw_pole", "on_yoke", "usual_seat"]

#: Radii of faces (m) to draw a pole on that belongs to no machine, in the order in which they are tried.
_RADII = (50e-3, 100e-3, 25e-3, 200e-3, 12e-3, 500e-3)
#: Words beside a drawing, in: room for a line of them.
_WORDS = 2.3


def draw_pole(
    subject: Pole | Machine,
    side: Literal["rotor", "stator"] = "rotor",
    number: int = 0,
    dimensions: bool = False,
) -> plotting.Figure:
    """The picture of a pole with some of the yoke at its foot, plus side at left, minus side at right.

    subject: a machine, of which pole `number` of a side, counted from 0, is drawn (of an axial machine as its section
    at the mean radius shows it); or a pole alone, on the seat that `usual_seat` gives. dimensions: with lengths and
    angles.

    Raises GeometryRefused for a pole that makes no edge.
    """
    if isinstance(subject, Pole):
        pole, seat = subject, usual_seat(subject, side)
        title = f"Pole on a {side} face of Ø {millimetres(2 * seat.face)}, for example"
    else:
        build = next(build for build in builds_of(subject) if build.row.name == side)
        pole, seat = build.row.pattern[number % len(build.row.pattern)], build.seat
        title = f"{side.capitalize()} pole {number + 1}"
    edge = pole_edge(pole, seat, f"{side}_pole")
    iron, front = on_yoke(edge, seat)
    left, low, right, high = extent([iron])
    wide = max(-left, right)
    inches = 3.0 / (2 * wide)  # a metre of the drawing
    measured = pole_dimensions(pole, seat, edge, wide) if dimensions else ()
    levels = [low, high, *(spot.imag for each in measured for spot in each.spots)]
    rim = 0.06 * (max(levels) - min(levels))
    low, high = min(levels) - rim, max(levels) + rim
    figure = new_figure(4.2 + (2 * _WORDS if dimensions else 0.5), (high - low) * inches + 1.3)
    upright = "along the shaft (mm)" if seat.flat else "from the shaft (mm)"
    axes = plain_axes(figure.add_subplot(), title, "across, plus side at left (mm)", upright)
    axes.add_patch(plotting.PathPatch(part_path(iron), facecolor=MATERIALS["iron"], edgecolor="none"))
    for path in (ring_path(front, closed=False), *(ring_path(hole) for hole in iron.rings[1:])):
        axes.add_patch(plotting.PathPatch(path, facecolor="none", edgecolor=EDGE, linewidth=1.0))
    axes.set_aspect("equal")
    reach = wide + _WORDS / inches if dimensions else 1.1 * wide
    axes.set_xlim(-reach / mm, reach / mm)
    axes.set_ylim(low / mm, high / mm)
    draw_dimensions(axes, measured)
    leaders = [each for each in measured if isinstance(each, Leader)]
    for sign in (-1, 1):
        own = [each for each in leaders if (each.point.real > 0) == (sign > 0)]
        draw_leaders(axes, own, sign * (wide + 0.15 / inches), 0.15 / inches)
    return figure


def usual_seat(pole: Pole, side: Literal["rotor", "stator"] = "rotor") -> Seat:
    """Where to draw a pole that belongs to no machine: on a face of the first radius on which it makes an edge.

    A rotor pole stands outwards and is as tall as 0.4 of that radius, a stator pole inwards.

    Raises GeometryRefused where it makes none on any.
    """
    refused: GeometryRefused | None = None
    for radius in _RADII:
        root = radius * (0.6 if side == "rotor" else 1.4)
        seat = Seat(radius, root, min(math.pi / 2, 1.5 * pole.arc))
        try:
            pole_edge(pole, seat, f"{side}_pole")
        except GeometryRefused as error:
            refused = refused or error
        else:
            return seat
    assert refused is not None
    raise refused


def on_yoke(edge: Edge, seat: Seat, yoke: bool = True) -> tuple[Part, Ring]:
    """The pole on a piece of its yoke, axis upright, and its edge from one end of the yoke's surface to the other.

    yoke: whether there is one; without, the pole ends flat at its foot.
    """
    if not yoke:
        foot = Line(edge.path[-1].end, edge.path[0].start)
        bare = (*edge.path, foot) if seat.out > 0 else turned_back((*edge.path, foot))
        rings = (bare, *(turned_back(rim) for rim in edge.openings))
        return Part(Label("iron"), tuple(moved(each, turn=UP) for each in rings)), moved(edge.path, turn=UP)
    feet = [edge.path[0].start, edge.path[-1].end]
    reach = min(seat.half_pitch, 1.35 * max(abs(seat.angle(foot)) for foot in feet))
    back = seat.root - seat.out * 0.3 * abs(seat.face - seat.root)
    front = (
        *seat.between(seat.root, [seat.at(seat.root, -reach), feet[0]]),
        *edge.path,
        *seat.between(seat.root, [feet[1], seat.at(seat.root, reach)]),
    )
    start, end = seat.at(back, -reach), seat.at(back, reach)
    ring = (*front, Line(front[-1].end, end), *seat.between(back, [end, start]), Line(start, front[0].start))
    rings = (ring if seat.out > 0 else turned_back(ring), *(turned_back(rim) for rim in edge.openings))
    return Part(Label("iron"), tuple(moved(each, turn=UP) for each in rings)), moved(front, turn=UP)
