"""What is cut, as views: the section along the shaft of a round machine; discs and the side of an axial one; poles."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence

from polefem.copper import coil_shape
from polefem.outline import DrawnMachine, Label, Part
from polefem.outline.builds import Build, builds_of
from polefem.outline.discs import disc_rings
from polefem.outline.parts import extent, whole_parts
from polefem.params import AxialMachine, Machine, Member, Row, made_of_discs
from polefem.report import plotting
from polefem.report.dimensions import Dimension, Leader, LinearDimension, millimetres
from polefem.report.machines import paint_parts
from polefem.report.measures import disc_dimensions, round_dimensions
from polefem.report.pole_measures import pole_dimensions
from polefem.report.poles import on_yoke
from polefem.report.sections import part_path, ring_path
from polefem.report.sheets.view import View
from polefem.report.style import EDGE, MATERIALS
from polefem.shapes import pole_edge
from polefem.units import mm

__all__ = ["cutting_views", "pole_views", "whole_words"]

_PLATE = "#d3d9df"
_POINTS = 72 / 25.4  # a millimetre
_Block = tuple[str, float, float, float, float]
"""A rectangle of the side view: kind, then where it begins, left and low, and where it ends, right and high, m."""


def cutting_views(known: DrawnMachine) -> tuple[View, ...]:
    """What is cut, as a whole: one view of a round machine, along the shaft; three of an axial one, both discs along
    the shaft and half of a cut through it."""
    if made_of_discs(known.machine):
        return (*(_disc(known.machine, side) for side in ("stator", "rotor")), _side(known))
    return (_section(known),)


def pole_views(machine: Machine) -> tuple[View, ...]:
    """One pole of each kind, its axis upright: of an axial machine as the section at the mean radius shows it."""
    views = []
    for build in builds_of(machine):
        for number in range(len(build.row.pattern)):
            kind = f"{build.row.name} pole{'s' * (len(build.row.pattern) == 1)}".capitalize()
            numbers = f" {_numbers(build, number)}" if len(build.row.pattern) > 1 else ""
            views.append(_pole(build, number, kind + numbers))
    return tuple(views)


def _numbers(build: Build, number: int) -> str:
    return ", ".join(str(at + 1) for at in range(number, build.row.poles, len(build.row.pattern)))


def _pole(build: Build, number: int, title: str) -> View:
    pole, seat = build.row.pattern[number], build.seat
    edge = pole_edge(pole, seat, f"{build.row.name}_pole")
    yoke = build.row.root != build.row.back
    iron, front = on_yoke(edge, seat, yoke)
    title += "" if yoke else ", to the middle"
    left, low, right, high = extent([iron])
    measured = pole_dimensions(pole, seat, edge, (1.0 if yoke else 1.35) * max(-left, right))
    spots = [spot for each in measured if not isinstance(each, Leader) for spot in each.spots]
    box = (
        min(left, *(spot.real for spot in spots)),
        min(low, *(spot.imag for spot in spots)),
        max(right, *(spot.real for spot in spots)),
        max(high, *(spot.imag for spot in spots)),
    )

    def paint(axes: plotting.Axes, scale: float, size: float) -> None:
        axes.add_patch(plotting.PathPatch(part_path(iron), facecolor=MATERIALS["iron"], edgecolor="none"))
        for path in (ring_path(front, closed=False), *(ring_path(hole) for hole in iron.rings[1:])):
            axes.add_patch(plotting.PathPatch(path, facecolor="none", edgecolor=EDGE, linewidth=1.0))

    return View(title, box, measured, paint)


def _section(known: DrawnMachine) -> View:
    machine, parts = known.machine, whole_parts(known.outline)

    def paint(axes: plotting.Axes, scale: float, size: float) -> None:
        paint_parts(axes, machine, parts)
        axes.autoscale(False)
        for row in machine.rows():
            thick = abs(row.root - row.back) / mm / scale
            own = min(size, max(5.0, 0.8 * thick * _POINTS))
            for at in range(row.poles):
                spot = cmath.rect((row.root + row.back) / 2, at * row.pitch)
                _number(axes, spot, _called(row.name, at), own, MATERIALS["iron"])

    return View("Along the shaft", extent(parts), round_dimensions(known), paint, rim=2.0)


def _called(side: str, pole: int) -> str:
    """Poles are counted from 1 by people; those of the rotor have an R before it."""
    return f"R{pole + 1}" if side == "rotor" else f"{pole + 1}"


def _number(axes: plotting.Axes, spot: complex, text: str, size: float, ground: str) -> None:
    """A number that lines of other words pass behind."""
    halo = [plotting.withStroke(linewidth=2.5, foreground=ground)]
    axes.text(
        *(spot.real / mm, spot.imag / mm, text),
        fontsize=size,
        ha="center",
        va="center",
        color=EDGE,
        zorder=9,
        path_effects=halo,
    )


def _disc(machine: AxialMachine, side: Member) -> View:
    faces, plate = disc_rings(machine, side)
    poles = getattr(machine, f"{side}_poles")

    def paint(axes: plotting.Axes, scale: float, size: float) -> None:
        if plate:
            axes.add_patch(
                plotting.PathPatch(
                    part_path(Part(Label("iron", side), plate)), facecolor=_PLATE, edgecolor=EDGE
                )
            )
        for ring in faces:
            path = ring_path(ring)
            axes.add_patch(
                plotting.PathPatch(path, facecolor=MATERIALS["iron"], edgecolor=EDGE, linewidth=0.8)
            )
        beyond = machine.outer_radius + scale * 4.5 * mm
        for at in range(poles):
            _number(axes, cmath.rect(beyond, 2 * math.pi * at / poles), _called(side, at), size, "white")

    reach = machine.outer_radius
    title = f"{side.capitalize()} disc, along the shaft"
    return View(title, (-reach, -reach, reach, reach), disc_dimensions(machine, side), paint, rim=8.5)


def _side(known: DrawnMachine) -> View:
    """Half of a cut through the shaft: the shaft's axis below, from rotor to stator to the right."""
    machine = known.machine
    assert made_of_discs(machine)
    rotor, stator = machine.rows()
    blocks = list(_blocks(machine, rotor, stator))
    outside = machine.outer_radius
    if machine.middle is not None:
        blocks = _both_halves(blocks, stator.back if machine.middle == "stator" else rotor.back)
    left, right = min(a for _, a, _, _, _ in blocks), max(b for _, _, _, b, _ in blocks)
    top = max(high for *_, high in blocks)

    def paint(axes: plotting.Axes, scale: float, size: float) -> None:
        colours = {"plate": _PLATE, "pole": MATERIALS["iron"], "coil": MATERIALS["coil"]}
        for kind, a, low, b, high in sorted(blocks):
            axes.add_patch(
                plotting.Rectangle(
                    (a / mm, low / mm),
                    (b - a) / mm,
                    (high - low) / mm,
                    facecolor=colours[kind],
                    edgecolor=EDGE,
                    linewidth=0.8,
                )
            )
        axes.plot([left / mm, right / mm], [0.0, 0.0], color=EDGE, linewidth=0.8, linestyle="-.")

    return View(
        "Side view, cut, upper half",
        (left, 0.0, right, top + 0.3 * (outside - machine.inner_radius)),
        (*_lengths(machine, rotor, stator, outside), *_coils(blocks), *_in_all(machine, left, right, blocks)),
        paint,
    )


def _blocks(machine: AxialMachine, rotor: Row, stator: Row) -> Iterator[_Block]:
    """Rectangles of plates, poles and coils."""
    inner, outer, mean = machine.inner_radius, machine.outer_radius, machine.mean_radius
    for row in (rotor, stator):
        ends = inner, outer
        if getattr(machine, f"{row.name}_flanks") == "round":
            core = machine.core_diameter(row.pattern[0])
            ends = mean - core / 2, mean + core / 2
        if row.root != row.back:
            yield ("plate", *_in_order(row.root, row.back, inner, outer))
        yield ("pole", *_in_order(row.face, row.root, *ends))
        if row.windings:
            winding = machine.winding
            begins, stops = row.face + winding.face_inset, row.root - winding.yoke_clearance
            near, far = winding.liner, winding.liner + winding.coil_width
            yield "coil", begins, ends[1] + near, stops, ends[1] + far
            yield "coil", begins, ends[0] - far, stops, ends[0] - near


def _both_halves(blocks: Sequence[_Block], plane: float) -> list[_Block]:
    """Blocks of half a machine and their mirror image about the plane in its middle: one where they meet there."""
    found = []
    for kind, a, low, b, high in blocks:
        ends = sorted((a, 2 * plane - a)), sorted((b, 2 * plane - b))
        if plane in (a, b):
            widest = max(ends, key=lambda pair: pair[1] - pair[0])
            found.append((kind, widest[0], low, widest[1], high))
        else:
            found += [(kind, a, low, b, high), (kind, 2 * plane - b, low, 2 * plane - a, high)]
    return found


def _in_order(a: float, b: float, low: float, high: float) -> tuple[float, float, float, float]:
    return min(a, b), low, max(a, b), high


def _lengths(machine: AxialMachine, rotor: Row, stator: Row, outside: float) -> Iterator[Dimension]:
    """Lengths along the shaft, each led out from where it is; of mirror images once, of the disc in the middle all."""
    spans = [("air gap", rotor.face, stator.face, 1)]
    for row in (rotor, stator):
        twice = 2 if machine.middle == row.name else 1
        yoke = row.root != row.back
        if yoke:
            spans.append((f"{row.name} yoke", row.root, row.back, twice))
        spans.append((f"{row.name} pole height", row.face, row.root, 1 if yoke else twice))
    step = (outside - machine.inner_radius) / 7
    for at, (name, *ends, whole) in enumerate(sorted(spans, key=lambda span: min(span[1:3]))):
        start, end = ends
        first, last = sorted((start, start + whole * (end - start)))  # past the plane in the middle
        level = outside - (at + 1) * step
        span = LinearDimension(name, complex(first, level), complex(last, level), printed=False)
        yield span
        yield Leader(name, f"{name} {span.text}", 0.75 * span.start + 0.25 * span.end, span.value)
    left = complex(min(rotor.back, stator.back), 0.0)
    yield Leader("outer radius", f"to Ø {millimetres(2 * outside)}", left + 1j * outside, 2 * outside)
    inner = machine.inner_radius
    yield Leader("inner radius", f"from Ø {millimetres(2 * inner)}", left + 1j * inner, 2 * inner)


def _coils(blocks: Sequence[_Block]) -> Iterator[Dimension]:
    """How far coils reach towards the shaft and away from it, where turns are wound tight round the pole's ends."""
    coils = [block for block in blocks if block[0] == "coil"]
    right = max(b for _, _, _, b, _ in coils)
    for name, level, to in (
        ("coils inside", min(low for _, _, low, _, _ in coils), "from"),
        ("coils outside", max(high for *_, high in coils), "to"),
    ):
        said = f"coils {to} Ø {millimetres(2 * level)}, wound tight"
        yield Leader(name, said, complex(right, level), 2 * level)


def _in_all(
    machine: AxialMachine, left: float, right: float, blocks: Sequence[_Block]
) -> Iterator[Dimension]:
    """The length of all steel, led out below what is drawn."""
    low, foot = min(low for _, _, low, _, _ in blocks), machine.inner_radius
    level = 0.75 * low
    yield LinearDimension("height", complex(left, foot), complex(right, foot), level - foot, printed=False)
    said = f"steel {millimetres(right - left)} long in all"
    yield Leader("height", said, complex(0.3 * left + 0.7 * right, level), right - left)


def whole_words(known: DrawnMachine) -> tuple[str, ...]:
    """What stands beside the views: kind, steel, length, which poles make a phase."""
    machine = known.machine
    kind = "axial" if machine.flat else "radial"
    said = [
        f"{machine.stator_poles} stator poles (1, 2 ...), {machine.rotor_poles} rotor poles (R1, R2 ...), {kind}. "
        f"Steel {machine.steel.name}. Air gap {millimetres(machine.air_gap)}."
    ]
    if not machine.flat:
        overhang = coil_shape(known).overhang
        stack, ends = millimetres(known.outline.length), millimetres(round(overhang, 4))
        said.append(f"Stack {stack} long; coils reach {ends} past each end.")
    for phase in range(machine.phases.count):
        poles = ", ".join(str(pole + 1) for pole in machine.phases.poles(phase))
        said.append(f"Phase {phase + 1}: poles {poles}.")
    return tuple(said)
