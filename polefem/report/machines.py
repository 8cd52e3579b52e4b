"""A machine as a drawing, with its dimensions: a round one along the shaft, an axial one disc by disc and unrolled."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from polefem.outline import DrawnMachine, Label, Part, drawn
from polefem.outline.discs import disc_rings
from polefem.outline.parts import extent, whole_parts
from polefem.params import AxialMachine, Machine, made_of_discs
from polefem.report import plotting
from polefem.report.dimensions import Dimension, Leader, draw_dimensions, draw_leaders, millimetres
from polefem.report.measures import disc_dimensions, round_dimensions, strip_dimensions
from polefem.report.sections import part_path
from polefem.report.style import EDGE, KINDS, MATERIALS, new_figure, plain_axes
from polefem.shapes import moved
from polefem.units import mm

__all__ = ["draw_machine", "paint_parts"]


def draw_machine(machine: Machine | DrawnMachine, dimensions: bool = False) -> plotting.Figure:
    """The picture of a machine, aligned, its coil sides in the colours of their phases.

    A dot marks a coil side whose current comes towards the reader while the phase's is positive, a cross one whose
    current goes away. An axial machine is shown as its discs, seen along the shaft, and as the section at its mean
    radius, unrolled. dimensions: with lengths and angles.

    Raises GeometryRefused for a machine that cannot be built.
    """
    known = drawn(machine)
    machine, outline = known.machine, known.outline
    title = f"{machine.stator_poles}/{machine.rotor_poles} machine"
    if made_of_discs(machine):
        return _draw_axial(machine, known, title, dimensions)
    figure = new_figure(9.4 if dimensions else 6.2, 6.2)
    axes = plain_axes(figure.add_subplot(), f"{title}, {millimetres(machine.height)} mm long")
    parts = whole_parts(outline)
    paint_parts(axes, machine, parts)
    if dimensions:
        _add_dimensions(axes, round_dimensions(known), extent(parts)[2])
    _add_legend(figure, machine)
    return figure


def _add_dimensions(axes: plotting.Axes, dimensions: Sequence[Dimension], radius: float) -> None:
    """Dimensions about the shaft, words beside a radius (m), on the side of what they speak of."""
    draw_dimensions(axes, dimensions)
    limits = []
    for side in (-1, 1):
        leaders = [each for each in dimensions if isinstance(each, Leader) and side * each.point.real > 0]
        draw_leaders(axes, leaders, side * 1.15 * radius, 0.11 * radius)
        limits.append(side * (1.95 if leaders else 1.1) * radius / mm)
    axes.set_xlim(*limits)


def paint_parts(axes: plotting.Axes, machine: Machine, parts: Sequence[Part]) -> None:
    """Put parts on axes, coil sides in the colours of their phases, with the way their current goes."""
    for part in parts:
        path = part_path(part)
        colour = MATERIALS[part.material]
        if part.material == "coil":
            pole = part.label.pole or 0
            colour = KINDS[machine.phases.of_pole[pole] % len(KINDS)]
            towards = (machine.phases.polarity[pole] > 0) == (part.label.side == "minus")
            middle = sum(piece.start for piece in part.rings[0]) / len(part.rings[0]) / mm
            axes.plot(
                middle.real,
                middle.imag,
                "o" if towards else "x",
                color="white",
                markersize=3.5,
                markeredgewidth=1.2,
            )
        axes.add_patch(plotting.PathPatch(path, facecolor=colour, edgecolor=EDGE, linewidth=0.8))
    axes.set_aspect("equal")
    axes.autoscale_view()


def _add_legend(figure: plotting.Figure, machine: Machine) -> None:
    figure.legend(
        handles=[
            plotting.Patch(facecolor=KINDS[phase % len(KINDS)], edgecolor=EDGE, label=f"phase {phase + 1}")
            for phase in range(machine.phases.count)
        ],
        loc="outside lower center",
        ncols=machine.phases.count,
        frameon=False,
        fontsize="small",
    )


def _draw_axial(machine: AxialMachine, known: DrawnMachine, title: str, dimensions: bool) -> plotting.Figure:
    figure = new_figure(9.4, 6.4) if dimensions else new_figure(6.4, 5.4)
    grid = figure.add_gridspec(2, 2, height_ratios=(2.2, 1.0))
    sides: tuple[Literal["stator", "rotor"], ...] = ("stator", "rotor")
    for at, side in enumerate(sides):
        axes = plain_axes(figure.add_subplot(grid[0, at]), f"{side}, along the shaft")
        faces, plate = disc_rings(machine, side)
        if plate:
            axes.add_patch(
                plotting.PathPatch(
                    part_path(Part(Label("iron", side), plate)), facecolor="#d3d9df", edgecolor=EDGE
                )
            )
        paint_parts(axes, machine, [Part(Label("iron", side), faces)])
        if dimensions:
            _add_dimensions(axes, disc_dimensions(machine, side), machine.outer_radius)
        axes.set_ylim(-1.1 * machine.outer_radius / mm, 1.1 * machine.outer_radius / mm)
    where = f"{title}, unrolled at a radius of {millimetres(machine.mean_radius)} mm"
    if machine.middle is not None:
        where += f",\nhalf of it, up to the middle of the {machine.middle}"
    axes = plain_axes(figure.add_subplot(grid[1, :]), where, "along the motion (mm)", "along the shaft (mm)")
    # Turned by a quarter and not mirrored, so that currents towards the reader stay so: the motion runs to the left.
    parts = [
        replace(part, rings=tuple(moved(ring, turn=1j) for ring in part.rings))
        for part in whole_parts(known.outline)
    ]
    axes.xaxis.set_major_formatter(plotting.FuncFormatter(lambda x, _: f"{0.0 - x:g}"))
    paint_parts(axes, machine, parts)
    if dimensions:
        _add_strip_dimensions(axes, strip_dimensions(machine, known), extent(parts), machine.mean_radius)
    _add_legend(figure, machine)
    return figure


def _add_strip_dimensions(
    axes: plotting.Axes,
    dimensions: Sequence[Dimension],
    around: tuple[float, float, float, float],
    mean: float,
) -> None:
    """Dimensions of an unrolled section, in steps of its mean radius (m), which is about an inch of the drawing."""
    draw_dimensions(axes, dimensions)
    left, low, right, high = around
    leaders = [each for each in dimensions if isinstance(each, Leader)]
    at_left = [each for each in leaders if each.point.real < -math.pi * mean]
    draw_leaders(axes, at_left, min(each.point.real for each in at_left) - 0.1 * mean, 0.13 * mean)
    draw_leaders(axes, [each for each in leaders if each not in at_left], right + 0.1 * mean, 0.15 * mean)
    axes.set_xlim((left - 1.7 * mean) / mm, (right + 1.2 * mean) / mm)
    middle, half = (low + high) / 2, max(0.55 * (high - low), 0.55 * mean)
    axes.set_ylim((middle - half) / mm, (middle + half) / mm)
