"""From a machine to systems that can be solved at any angle and current: the rooms in their order."""

from __future__ import annotations

import math
from dataclasses import dataclass

from polefem.gap import Gap
from polefem.mesher import mesh_sides
from polefem.model import Coil, build_model, smallest_sector
from polefem.outline import Outline, sections
from polefem.params import Machine, MeshSpec
from polefem.solve import System

__all__ = ["Section", "sections_of"]


@dataclass(frozen=True, eq=False)
class Section:
    """One cross section of a machine, meshed and ready to be solved.

    mirror: whether both sides are symmetric, so that torque is odd and flux linkage even in the angle.
    """

    system: System
    outline: Outline
    mirror: bool


def sections_of(machine: Machine, mesh: MeshSpec | str) -> tuple[Section, ...]:
    """Outline, mesh, model and gap of each cross section whose flux and torque add up to the machine's.

    Raises GeometryRefused for a machine that cannot be built, MeshFailed where the mesher gives up, InvalidValue for
    a mesh name that is none.
    """
    spec = MeshSpec.named(mesh) if isinstance(mesh, str) else mesh
    return tuple(_section(machine, outline, spec) for outline in sections(machine))


def _section(machine: Machine, outline: Outline, spec: MeshSpec) -> Section:
    rotor, stator = outline.rotor, outline.stator
    phases = machine.phases
    sectors, antiperiodic = smallest_sector(
        phases, stator.poles // stator.unit_poles, rotor.poles // rotor.unit_poles
    )
    model = build_model(
        mesh_sides(outline, spec, sectors),
        machine.stacked_steels,
        _coils(machine, sectors),
        phases.count,
        outline.length,
        _log_ratio(outline),
        outline.radius,
        antiperiodic,
        machine.magnetic_shaft,
    )
    gap = Gap(model.rotor_trace, model.stator_trace, model.log_ratio, sectors, antiperiodic)
    return Section(System(model, gap), outline, rotor.mirror and stator.mirror)


def _log_ratio(outline: Outline) -> float:
    rotor, stator = outline.rotor.gap, outline.stator.gap
    return abs(stator - rotor) / outline.radius if outline.rotor.flat else abs(math.log(stator / rotor))


def _coils(machine: Machine, sectors: int) -> tuple[Coil, ...]:
    """Both sides of each coil in the sector. Where flux is to run towards the rotor (polarity 1), current comes
    towards the reader on the side clockwise of an outer pole's axis: the plus side lies counter-clockwise."""
    phases = machine.phases
    turns = machine.section_turns / machine.winding.parallel_paths
    return tuple(
        Coil(f"coil {pole} {side}", phases.of_pole[pole], sign * phases.polarity[pole] * turns)
        for pole in range(machine.stator_poles // sectors)
        for side, sign in (("minus", 1.0), ("plus", -1.0))
    )
