"""From a machine to a system that can be solved at any angle and current: the rooms in their order."""

from __future__ import annotations

import math

from polefem.gap import Gap
from polefem.mesher import mesh_sides
from polefem.model import Coil, build_model, smallest_sector
from polefem.outline import Outline, outline_of
from polefem.params import MeshSpec, Phases, RadialMachine, phases_of
from polefem.solve import System

__all__ = ["Section", "section_of"]


class Section:
    """One cross section of a machine, meshed and ready: `system`, its `phases` and whether it is `mirror`-symmetric."""

    def __init__(self, outline: Outline, machine: RadialMachine, phases: Phases, spec: MeshSpec) -> None:
        rotor, stator = outline.rotor, outline.stator
        units = [side.poles // side.unit_poles for side in (stator, rotor)]
        sectors, antiperiodic = smallest_sector(phases, *units)
        model = build_model(
            mesh_sides(outline, spec, sectors),
            (machine.rotor_steel or machine.steel, machine.steel),
            _coils(machine, phases, sectors),
            phases.count,
            outline.length,
            _log_ratio(outline),
            outline.radius,
            antiperiodic,
        )
        gap = Gap(model.rotor_trace, model.stator_trace, model.log_ratio, sectors, antiperiodic)
        self.system = System(model, gap)
        self.phases = phases
        self.mirror = rotor.mirror and stator.mirror


def section_of(machine: RadialMachine, spec: MeshSpec) -> Section:
    """Outline, mesh, model and gap of a machine; raises GeometryRefused or MeshFailed."""
    return Section(outline_of(machine), machine, phases_of(machine.stator_poles, machine.rotor_poles), spec)


def _log_ratio(outline: Outline) -> float:
    rotor, stator = outline.rotor.gap, outline.stator.gap
    return abs(stator - rotor) / outline.radius if outline.rotor.flat else abs(math.log(stator / rotor))


def _coils(machine: RadialMachine, phases: Phases, sectors: int) -> tuple[Coil, ...]:
    """Both sides of each coil in the sector. Where flux is to run towards the rotor (polarity 1), current comes
    towards the reader on the side clockwise of the pole."""
    turns = machine.winding.turns_per_pole / machine.winding.parallel_paths
    return tuple(
        Coil(f"coil {pole} {side}", phases.of_pole[pole], sign * phases.polarity[pole] * turns)
        for pole in range(machine.stator_poles // sectors)
        for side, sign in (("minus", 1.0), ("plus", -1.0))
    )
