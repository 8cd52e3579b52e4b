"""From a machine to its outlines: both members, their poles and coils, checked."""

from __future__ import annotations

from polefem.outline.builds import Build, axial_builds, outer_rotor_builds, radial_builds
from polefem.outline.checks import (
    refuse_coils,
    refuse_overlaps,
    refuse_short_edges,
    refuse_thin_iron,
    refuse_thin_yoke,
    refuse_touching_faces,
)
from polefem.outline.coils import coils_of
from polefem.outline.cuts import cut_radii
from polefem.outline.member import STRIP, Member, side_of
from polefem.outline.rules import needs_winding_in_place, refuse_overfull, refuse_unstartable, start_remarks
from polefem.outline.values import Outline
from polefem.params import AxialMachine, Machine, RadialMachine
from polefem.shapes import pole_edge

__all__ = ["builds_of", "outline_of", "remarks", "sections"]


def outline_of(machine: Machine) -> Outline:
    """The outline of a machine's cross section; of an axial machine, the flat section at its mean radius.

    Raises GeometryRefused, in one sentence, where the machine cannot be built: pole faces that touch, flanks
    that miss their yoke, notches through a pole, iron thinner than its web, coils that cut iron or each
    other, turns that do not fit, arcs that leave it unable to start.
    """
    if isinstance(machine, AxialMachine):
        return _axial(machine, machine.mean_radius, machine.outer_radius - machine.inner_radius)
    refuse_unstartable(machine)
    outline = _outline(*builds_of(machine), machine.air_gap, machine.stack_length)
    refuse_overfull(machine, outline)
    return outline


def sections(machine: Machine) -> tuple[Outline, ...]:
    """The outlines whose flux and torque add up to the machine's: one of a radial machine, one a cut of an axial.

    The length of each is that along which it acts: the stack length, or the cut's share of the poles' radial
    length, doubled in a double-sided build, of which a section is one half. Raises as `outline_of` does; an
    axial machine is also checked at the ends of its poles.
    """
    if not isinstance(machine, AxialMachine):
        return (outline_of(machine),)
    if "round" not in (machine.stator_flanks, machine.rotor_flanks):
        for radius in (machine.inner_radius, machine.outer_radius):
            _axial(machine, radius, 0.0)
    return tuple(_axial(machine, radius, length) for radius, length in cut_radii(machine))


def remarks(machine: Machine) -> tuple[str, ...]:
    """What a builder should know of a machine that can be built: sentences, none where there is nothing to say.

    Coils that cannot be slid over their poles, and pole arcs outside the feasible region.

    Raises GeometryRefused where the machine cannot be built.
    """
    outline_of(machine)
    stator = _member(builds_of(machine)[1])
    said = start_remarks(machine)
    if needs_winding_in_place(stator):
        said.append("a coil cannot be slid over its pole from the gap: it must be wound in place")
    return tuple(said)


def builds_of(machine: Machine) -> tuple[Build, Build]:
    """Both sides of the gap, of an axial machine at its mean radius."""
    if isinstance(machine, AxialMachine):
        return axial_builds(machine, machine.mean_radius)
    return radial_builds(machine) if isinstance(machine, RadialMachine) else outer_rotor_builds(machine)


def _axial(machine: AxialMachine, radius: float, length: float) -> Outline:
    refuse_unstartable(machine)
    outline = _outline(*axial_builds(machine, radius), machine.air_gap, length * machine.halves)
    refuse_overfull(machine, outline)
    return outline


def _outline(rotor: Build, stator: Build, air_gap: float, length: float) -> Outline:
    members = [_member(build) for build in (rotor, stator)]
    # A shaped face on either side may leave the gap wider everywhere than it is said to be; coils may reach as far as
    # the gap that is said, so that the meshes part within it.
    back = [abs(member.seat.face - _nearest(member)) for member in members]
    wide = min(air_gap + sum(back), 2 * air_gap)
    sides = [
        side_of(member, max(STRIP * wide - away, STRIP * air_gap), wide)
        for member, away in zip(members, back, strict=True)
    ]
    for build, member, side in zip((rotor, stator), members, sides, strict=True):
        web = min(pole.web for pole in build.pattern)
        refuse_thin_yoke(member, web)
        refuse_coils(member)
        refuse_short_edges(side)
        refuse_overlaps(side)
        refuse_thin_iron(side, web)
    return Outline(sides[0], sides[1], length, rotor.radius or 1.0)


def _nearest(member: Member) -> float:
    return min((edge.nearest for edge in member.edges), key=lambda level: abs(level - member.seat.face))


def _member(build: Build) -> Member:
    seat, name = build.seat, f"{build.name}_pole"
    refuse_touching_faces(name, [pole.arc for pole in build.pattern], 2 * seat.half_pitch)
    edges = tuple(pole_edge(pole, seat, name) for pole in build.pattern)
    coils = [
        coil for at, winding in enumerate(build.windings) for coil in coils_of(at, edges[at], seat, winding)
    ]
    return Member(
        name=build.name,
        seat=seat,
        back=build.back,
        edges=edges,
        coils=tuple(coils),
        poles=build.poles,
        mirror=len(build.pattern) == 1 and build.pattern[0].symmetric,
        far=build.far,
        far_fixed=build.far_fixed,
        shaft=build.shaft,
    )
