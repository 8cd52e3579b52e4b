"""What is measured on the drawing of a machine, and where: poles that lie apart, and words at the margins."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from typing import Literal

from polefem.copper import coil_shape
from polefem.outline import DrawnMachine, Label
from polefem.outline.builds import Build, builds_of
from polefem.params import AxialMachine, Pole
from polefem.params.cuts import half_angle
from polefem.report.dimensions import AngularDimension, Dimension, Leader, LinearDimension, millimetres
from polefem.shapes import Edge, pole_edge
from polefem.units import deg

__all__ = ["disc_dimensions", "round_dimensions", "strip_dimensions"]


def round_dimensions(known: DrawnMachine) -> tuple[Dimension, ...]:
    """Of a machine seen along its shaft: diameters, gap and coil at the margins, arc and width of a pole of each side.

    The uppermost pole carries the arc, the one opposite the width half-way along the flanks.
    """
    machine = known.machine
    builds = builds_of(machine)
    outer, inner = sorted(builds, key=lambda build: build.seat.out)
    found: list[Dimension] = [*_diameters(outer, 1.0), *_diameters(inner, -1.0)]
    gap = (inner.row.face + outer.row.face) / 2
    found.append(
        Leader(
            "air gap",
            f"air gap {millimetres(machine.air_gap)}",
            cmath.rect(gap, -0.2 * outer.row.pattern[0].arc),
            machine.air_gap,
        )
    )
    for build in builds:
        upper = _uppermost(build)
        found += [_arc(build, upper), _width(build, (upper + build.row.poles // 2) % build.row.poles)]
    if outer.row.name == "stator":
        return (*found, _coil(known, "minus"))
    # Words at left: the pole opposite the first one, turned by half a turn.
    return (*found, _coil(known, "minus", -1.0))


def _uppermost(build: Build) -> int:
    """Number of the pole that lies nearest to the upper end of the drawing."""
    return max(
        range(build.row.poles), key=lambda number: round(math.sin(2 * math.pi * number / build.row.poles), 9)
    )


def _pole(build: Build, number: int) -> Pole:
    return build.row.pattern[number % len(build.row.pattern)]


def _edge(build: Build, number: int) -> Edge:
    return pole_edge(_pole(build, number), build.seat, f"{build.row.name}_pole")


def _diameters(build: Build, side: float) -> list[Leader]:
    """Of faces, of what lies between the poles, and of the back; pointed at right (side 1) or left (-1)."""
    outwards = build.seat.out > 0
    between = "slot bottoms" if build.row.windings else "valleys"
    places = (
        (f"{build.row.name} faces", build.row.face, 0.3 * build.row.pattern[0].arc),
        (
            f"{build.row.name} {between}",
            build.row.root,
            build.seat.half_pitch if not outwards else -build.seat.half_pitch,
        ),
        (
            f"{build.row.name} {'bore' if outwards else 'outside'}",
            build.row.back,
            40 * deg if outwards else 62 * deg,  # a leader that is nearly level keeps off numbers on the axis
        ),
    )
    found = []
    for name, radius, angle in places:
        point = cmath.rect(radius, angle)
        point = complex(side * point.real, point.imag)
        found.append(Leader(name, f"{name} Ø {millimetres(2 * radius)}", point, 2 * radius))
    return found


def _arc(build: Build, number: int) -> AngularDimension:
    arc, middle = _pole(build, number).arc, number * 2 * math.pi / build.row.poles
    inwards = (
        0.25 if build.row.poles > 2 else 0.45
    )  # two poles lie flat: words of both sides stand on one line
    level = build.row.face + inwards * (build.row.root - build.row.face)
    return AngularDimension(
        f"{build.row.name} pole arc", middle - arc / 2, middle + arc / 2, level, build.row.face
    )


def _width(build: Build, number: int) -> LinearDimension:
    turn = cmath.exp(2j * math.pi * number / build.row.poles)
    minus, plus = (turn * (flank.start + flank.end) / 2 for flank in _edge(build, number).flanks)
    return LinearDimension(f"{build.row.name} pole width", minus, plus)


def _coil(known: DrawnMachine, side: Literal["minus", "plus"], turn: complex = 1.0) -> Leader:
    """Size and turns of a coil side of the first pole, pointed at near its right end after a turn of the drawing."""
    winding = known.machine.winding
    ring = known.outline.stator.region(Label("coil", pole=0, side=side)).ring
    blocks = coil_shape(known).blocks or (sorted(abs(piece.end - piece.start) for piece in ring[:2]),)
    size = ", then ".join(millimetres(*block) for block in blocks)
    text = f"coil side {size}\n{winding.turns_per_pole} turns a pole"
    corners = [turn * piece.start for piece in ring]
    middle, right = sum(corners) / len(ring), max(corners, key=lambda z: z.real)
    return Leader("coil side", text, middle + 0.6 * (right - middle), winding.coil_width)


def disc_dimensions(machine: AxialMachine, side: Literal["rotor", "stator"]) -> tuple[Dimension, ...]:
    """Of a disc seen along the shaft: its diameters, a pole's arc along the mean radius, and how wide the uppermost
    pole is where it begins and ends."""
    pole, mean = getattr(machine, f"{side}_pattern")[0], machine.mean_radius
    ends = []
    if getattr(machine, f"{side}_flanks") == "round":
        core = machine.core_diameter(pole)
        at = mean + core / 2 * cmath.rect(1, -60 * deg)
        ends.append(Leader("core", f"core Ø {millimetres(core)}", at, core))
    if not ends or machine.middle != side or getattr(machine, f"{side}_yoke_thickness"):
        ends += [
            Leader(name, f"Ø {millimetres(2 * radius)}", cmath.rect(radius, angle), 2 * radius)
            for name, radius, angle in (
                ("outer diameter", machine.outer_radius, 45 * deg),
                ("inner diameter", machine.inner_radius, -45 * deg),
            )
        ]
    return (
        *ends,
        Leader(
            "mean diameter", f"arc at Ø {millimetres(2 * mean)}", cmath.rect(mean, 0.45 * pole.arc), 2 * mean
        ),
        AngularDimension(f"{side} pole arc", -pole.arc / 2, pole.arc / 2, mean, mean),
        *_ends_of_pole(machine, side),
    )


def _ends_of_pole(machine: AxialMachine, side: Literal["rotor", "stator"]) -> Iterator[Dimension]:
    """Straight across the uppermost pole at its inner and its outer end; a round core has none."""
    flanks, mean = getattr(machine, f"{side}_flanks"), machine.mean_radius
    if flanks == "round":
        return
    pattern, poles = getattr(machine, f"{side}_pattern"), getattr(machine, f"{side}_poles")
    upper = max(range(poles), key=lambda number: round(math.sin(2 * math.pi * number / poles), 9))
    turn = cmath.exp(2j * math.pi * upper / poles)
    for name, radius in (("inner", machine.inner_radius), ("outer", machine.outer_radius)):
        half = half_angle(flanks, pattern[upper % len(pattern)].arc, mean, radius)
        start, end = (turn * cmath.rect(radius, angle) for angle in (-half, half))
        span = LinearDimension(f"width at the {name} end", start, end, printed=False)
        yield span
        words = f"{span.name} {span.text}"
        yield Leader(span.name, words, 0.7 * span.start + 0.3 * span.end, span.value)


def strip_dimensions(machine: AxialMachine, known: DrawnMachine) -> tuple[Dimension, ...]:
    """Of the unrolled section at the mean radius: heights, thicknesses, a pole's width, the gap and a coil side.

    Points are those of the section turned by a quarter: its x points up the drawing, its y to the left.
    """
    builds = builds_of(machine)
    stator = builds[1]
    # Where each side ends at the left of the drawing: half a pitch past its last pole.
    ends = [(build.seat.half_pitch - 2 * math.pi) * machine.mean_radius for build in builds]
    found: list[Dimension] = []
    for build, end in zip(builds, ends, strict=True):
        aside = end - min(ends) + 0.1 * machine.mean_radius
        for name, *levels in (
            ("pole height", build.row.face, build.row.root),
            ("yoke", build.row.root, build.row.back),
        ):
            low, high = (complex(end, level) for level in sorted(levels))
            if low != high:
                span = LinearDimension(f"{build.row.name} {name}", low, high, aside, printed=False)
                words = f"{span.name} {span.text}"
                found += [span, Leader(span.name, words, sum(span.spots) / 2, span.value)]
    half = stator.row.pattern[0].arc * machine.mean_radius / 2
    face = complex(half, stator.row.face)
    found.append(
        LinearDimension("stator pole width", face - 2 * half, face, 0.35 * machine.stator_pole_height)
    )
    gap = complex(stator.seat.half_pitch * machine.mean_radius, machine.air_gap / 2)
    found.append(Leader("air gap", f"air gap {millimetres(machine.air_gap)}", gap, machine.air_gap))
    return (*found, _coil(known, "minus", 1j))
