"""A machine drawn, wound and meshed: the one value that fields, maps, estimates, pictures and files are made from."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from polefem.copper import Copper, WoundPhase, wound_phase
from polefem.gap import Gap
from polefem.mesh import Mesh
from polefem.mesher import mesh_sides
from polefem.model import Source, build_model, smallest_sector
from polefem.outline import DrawnMachine, Label, Outline, drawn
from polefem.params import Machine, MeshSpec
from polefem.solve import System

__all__ = ["COARSER", "BuiltMachine", "assembled", "built"]

#: How much coarser the mesh is that errors are estimated by.
COARSER = 1.5


@dataclass(frozen=True, eq=False)
class BuiltMachine(DrawnMachine):
    """A machine with its outlines, its winding, and its meshed and assembled cross sections.

    mesh: how fine it is meshed. copper: how its coils are filled and how warm they run. Winding, systems and the
    coarser mesh are made when first asked for, and kept; `dataclasses.replace(built, mesh=...)` is the same machine on
    another mesh, with the outlines that it has.
    """

    mesh: MeshSpec
    copper: Copper

    @cached_property
    def winding(self) -> WoundPhase:
        """One phase as wound: resistance, wire, mass of copper."""
        return wound_phase(self, self.copper)

    @cached_property
    def systems(self) -> tuple[System, ...]:
        """Mesh, model and gap of each of `sections`, ready to be solved at any angle and current.

        Raises MeshFailed where the mesher gives up.
        """
        return tuple(_system(self.machine, outline, self.mesh) for outline in self.sections)

    @cached_property
    def rough(self) -> BuiltMachine:
        """The same machine on the coarser mesh that its errors are estimated by."""
        return built(self, self.mesh.coarser(COARSER))

    def __repr__(self) -> str:
        made = "meshed" if "systems" in self.__dict__ else "not meshed yet"
        return f"BuiltMachine({type(self.machine).__name__}, {len(self.sections)} cross section(s), {made})"


def built(
    machine: Machine | DrawnMachine, mesh: MeshSpec | str | None = None, copper: Copper | None = None
) -> BuiltMachine:
    """A machine on a mesh (a `MeshSpec` or the name of one, "normal" if not said), ready to be asked for fields.

    A machine that is built already is handed back; with another mesh or copper it is built anew on its own outlines.

    Raises GeometryRefused for a machine that cannot be built, InvalidValue for a mesh name that is none.
    """
    known = machine if isinstance(machine, BuiltMachine) else None
    if known is None:
        spec, metal = _spec("normal" if mesh is None else mesh), copper or Copper()
    else:
        spec = known.mesh if mesh is None else _spec(mesh)
        metal = copper or known.copper
        if (spec, metal) == (known.mesh, known.copper):
            return known
    shape = drawn(machine)
    return BuiltMachine(shape.machine, shape.outline, shape.sections, spec, metal)


def _spec(mesh: MeshSpec | str) -> MeshSpec:
    return MeshSpec.named(mesh) if isinstance(mesh, str) else mesh


def _system(machine: Machine, outline: Outline, spec: MeshSpec) -> System:
    rotor, stator = outline.rotor, outline.stator
    sectors, antiperiodic = smallest_sector(
        machine.phases, stator.row.poles // stator.unit_poles, rotor.row.poles // rotor.unit_poles
    )
    return assembled(machine, outline, mesh_sides(outline, spec, sectors), sectors, antiperiodic)


def assembled(
    machine: Machine, outline: Outline, meshes: tuple[Mesh, Mesh], sectors: int, antiperiodic: bool
) -> System:
    """The system of a rotor and a stator mesh (in that order) of one of `sectors` parts of a section.

    outline: whose gap circles these meshes end on. antiperiodic: whether the field changes sign from part to part.
    """
    model = build_model(
        meshes,
        machine.stacked_steels,
        _sources(machine, sectors),
        machine.phases.count,
        outline.length,
        _log_ratio(outline),
        outline.radius,
        antiperiodic,
        machine.magnetic_shaft,
    )
    gap = Gap(model.rotor_trace, model.stator_trace, model.log_ratio, sectors, antiperiodic)
    return System(model, gap)


def _log_ratio(outline: Outline) -> float:
    rotor, stator = outline.rotor.gap, outline.stator.gap
    return abs(stator - rotor) / outline.radius if outline.rotor.flat else abs(math.log(stator / rotor))


def _sources(machine: Machine, sectors: int) -> tuple[Source, ...]:
    """Both sides of each coil in the sector. Where flux is to run towards the rotor (polarity 1), current comes
    towards the reader on the side clockwise of an outer pole's axis: the plus side lies counter-clockwise."""
    phases = machine.phases
    turns = machine.section_turns / machine.winding.parallel_paths
    return tuple(
        Source(region, phases.of_pole[pole], sign * phases.polarity[pole] * turns)
        for pole in range(machine.stator_poles // sectors)
        for region, sign in (
            (Label("coil", pole=pole, side="minus"), 1.0),
            (Label("coil", pole=pole, side="plus"), -1.0),
        )
    )
