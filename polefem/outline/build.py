"""From a machine to its outlines: both sides of the gap, their poles and coils, checked."""

from __future__ import annotations

from polefem.outline.builds import Build, builds_of
from polefem.outline.checks import (
    refuse_coils,
    refuse_overlaps,
    refuse_short_edges,
    refuse_thin_iron,
    refuse_thin_yoke,
    refuse_touching_faces,
)
from polefem.outline.member import STRIP, side_of
from polefem.outline.rules import needs_winding_in_place, refuse_overfull, refuse_unstartable, start_remarks
from polefem.outline.values import Outline
from polefem.params import Machine

__all__ = ["outline_of", "remarks", "sections"]


def outline_of(machine: Machine) -> Outline:
    """The outline of a machine's cross section; of an axial machine, the flat section at its mean radius.

    Raises GeometryRefused, in one sentence, where the machine cannot be built: pole faces that touch, flanks
    that miss their yoke, notches through a pole, iron thinner than its web, coils that cut iron or each
    other, turns that do not fit, arcs that leave it unable to start.
    """
    return _at(machine, None, machine.section_length)


def sections(machine: Machine) -> tuple[Outline, ...]:
    """The outlines whose flux and torque add up to the machine's: one of a radial machine, one a cut of an axial.

    The length of each is that along which it acts: the stack length, or the cut's share of the poles' radial
    length, doubled in a double-sided build, of which a section is one half. Raises as `outline_of` does; an
    axial machine is also checked at the ends of its poles.
    """
    for radius in machine.end_radii:
        _at(machine, radius, 0.0)
    return tuple(_at(machine, radius, length) for radius, length in machine.cut_radii)


def remarks(machine: Machine) -> tuple[str, ...]:
    """What a builder should know of a machine that can be built: sentences, none where there is nothing to say.

    Coils that cannot be slid over their poles, and pole arcs outside the feasible region.

    Raises GeometryRefused where the machine cannot be built.
    """
    outline_of(machine)
    said = start_remarks(machine)
    if needs_winding_in_place(builds_of(machine)[1]):
        said.append("a coil cannot be slid over its pole from the gap: it must be wound in place")
    return tuple(said)


def _at(machine: Machine, radius: float | None, length: float) -> Outline:
    """The section over a length (m); of an axial machine at a radius (m)."""
    refuse_unstartable(machine)
    outline = _outline(*builds_of(machine, radius), machine.air_gap, length * machine.halves)
    refuse_overfull(machine, outline)
    return outline


def _outline(rotor: Build, stator: Build, air_gap: float, length: float) -> Outline:
    builds = rotor, stator
    # A shaped face on either side may leave the gap wider everywhere than it is said to be; coils may reach as far as
    # the gap that is said, so that the meshes part within it.
    back = [_set_back(build) for build in builds]
    wide = min(air_gap + sum(back), 2 * air_gap)
    sides = [
        side_of(build, max(STRIP * wide - away, STRIP * air_gap), wide)
        for build, away in zip(builds, back, strict=True)
    ]
    for build, side in zip(builds, sides, strict=True):
        web = min(pole.web for pole in build.row.pattern)
        refuse_thin_yoke(build, web)
        refuse_coils(build)
        refuse_short_edges(side)
        refuse_overlaps(side)
        refuse_thin_iron(side, web)
    return Outline(sides[0], sides[1], length, rotor.row.radius or 1.0)


def _set_back(build: Build) -> float:
    """How far its faces keep off their level everywhere, m."""
    refuse_touching_faces(
        f"{build.row.name}_pole", [pole.arc for pole in build.row.pattern], 2 * build.seat.half_pitch
    )
    return min(abs(edge.nearest - build.seat.face) for edge in build.edges)
