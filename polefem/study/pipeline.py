"""The whole pipeline for one design: machine, outline, map, operation, figures; and how it ended if not with them."""

from __future__ import annotations

import socket
import time
import traceback
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from polefem.copper import Copper, envelope, warming
from polefem.errors import GeometryRefused, InvalidValue, MissingLibrary, PolefemError, SolveFailed, refusal
from polefem.estimates import end_effects, iron_loss, masses_of, torque_density
from polefem.field import BuiltMachine, built
from polefem.maps import CoupledMap, FluxMap, MapSlopes, summed
from polefem.params import Machine, MeshSpec, RectangularCurrent
from polefem.params.content import content_key
from polefem.slopes import Following
from polefem.study.design import Design, Plan
from polefem.study.door import check_current_density
from polefem.study.off_axis import off_axis
from polefem.study.operating_points import OperatingPoint
from polefem.study.operation import Operation, at_work, operate, phase_interaction
from polefem.study.record import NEXT_REASON, Figures, Outcome, PointFigures, Status
from polefem.study.solver import FIELD, Solver, VersionsDiffer
from polefem.study.sound import Sounded, with_sound
from polefem.sweep import MET
from polefem.version import numerics, versions

__all__ = ["attempt", "attempt_elsewhere", "figures_of"]

Array = NDArray[np.float64]
REACH = 1.02
"""How much further than its operating current a map with slopes goes: machines near by find their current in it."""


@dataclass
class _Clock:
    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def __call__(self, stage: str) -> Iterator[None]:
        begun = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[stage] = self.seconds.get(stage, 0.0) + time.perf_counter() - begun


def attempt(design: Design, solver: Solver = FIELD) -> Outcome:
    """What computing a design gives, whatever happens: an error of any kind is an outcome with a reason, but for
    MissingLibrary, which is raised."""
    clock = _Clock()
    try:
        return figures_of(design, solver, clock)
    except MissingLibrary:  # no fault of the design: it is to be computed once the library is there
        raise
    except (GeometryRefused, InvalidValue) as refused:
        return Outcome(Status.REFUSED, str(refused), seconds=clock.seconds)
    except PolefemError as failed:
        return Outcome(Status.FAILED, str(failed), seconds=clock.seconds)
    except Exception as unforeseen:
        reason = f"{type(unforeseen).__name__}: {unforeseen}"
        return Outcome(Status.FAILED, reason, seconds=clock.seconds, trace=traceback.format_exc())


def attempt_elsewhere(
    design: Design, solver: Solver, asked_with: Mapping[str, str]
) -> tuple[Outcome, Mapping[str, str]]:
    """What computing a design gives in this process, and the versions here.

    asked_with: what decides numbers in the process that asks. Raises VersionsDiffer, before any work, where it is
    not so here.
    """
    here = numerics()
    for name in sorted(set(here) | set(asked_with)):
        if here.get(name) != asked_with.get(name):
            rule = "workers compute with the versions of the process that asks them"
            found = f"{here.get(name, 'missing')} on {socket.gethostname()}"
            raise VersionsDiffer(refusal(rule, name, found, asked_with.get(name, "none")))
    return attempt(design, solver), versions()


def figures_of(design: Design, solver: Solver, clock: _Clock) -> Outcome:
    """The figures of a design with its map; raises whatever stands in their way."""
    if design.forbidden:
        raise InvalidValue(design.forbidden)
    machine, plan = design.machine, design.plan
    with clock("outline"):
        whole = built(machine, plan.mesh, plan.copper)
        winding = whole.winding
        check_current_density(machine, plan, winding)
        if plan.meshed_as is not None:
            start = plan.meshed_as, plan.mesh, plan.copper
            whole = _followed(_Start(*start, content_key(*start))).near(machine)
    with clock("map"):
        machine_map, slopes = map_of(whole, plan, solver)
        refuse_unconverged(machine_map)
    with clock("operation"):
        working = at_work(machine_map, whole, plan.end_effects)
        generating = design.original_plan.generating
        operation = operate(working, plan.basis, plan.drive, winding.resistance, generating)
    with clock("operating points"):
        points, lacking = operating_point_figures(plan.operating_points, working, winding.resistance)
        sounded = _listened(points, plan, whole, working, solver)
    with clock("iron loss"):
        iron = iron_watts(whole, plan, solver, operation.torque.drive, operation.torque.current)
    figures = _figures(whole, plan, working, machine_map.single, operation, iron, sounded.figures)
    if plan.rotor_offset > 0.0:
        with clock("rotor off its axis"):
            figures = off_axis(figures, plan, working, whole, solver.side_pulls)
    harmonics = tuple(operation.torque.harmonics.tolist())
    return Outcome(
        Status.SOLVED,
        lacking,
        figures,
        machine_map,
        clock.seconds,
        harmonics,
        slopes=slopes,
        sound=sounded.waves,
        errors=sounded.errors,
    )


@dataclass(frozen=True)
class _Start:
    """A machine on a mesh from which others are moved, known by its content."""

    machine: Machine = field(compare=False)
    mesh: MeshSpec = field(compare=False)
    copper: Copper = field(compare=False)
    key: str


@lru_cache(maxsize=1)  # near designs come one after the other
def _followed(start: _Start) -> Following:
    return Following(built(start.machine, start.mesh, start.copper))


def _figures(
    whole: BuiltMachine,
    plan: Plan,
    working: CoupledMap,
    phase_map: FluxMap,
    operation: Operation,
    iron: float | None,
    points: Mapping[str, PointFigures],
) -> Figures:
    """What is known of a machine at work. working: with ends as the plan says; phase_map: of the field alone."""
    loss, torque, current = operation.copper_loss, operation.torque, operation.torque.current
    masses, ends = masses_of(whole), end_effects(phase_map, whole)
    density = torque_density(whole, torque.mean)
    inductance = phase_map.at(np.array([0.0, phase_map.pitch / 2]), current)[0] / current
    return Figures(
        current=current,
        copper_loss=loss,
        phase_resistance=whole.winding.resistance,
        current_density=whole.winding.current_density(current),
        copper_mass=whole.winding.copper_mass,
        steel_mass=masses.stator_steel + masses.rotor_steel,
        mean_torque=torque.mean,
        lowest_torque=torque.weakest,
        highest_torque=torque.strongest,
        ripple=torque.ripple,
        turn_on=torque.drive.turn_on,
        turn_off=torque.drive.turn_off,
        ramp=torque.drive.ramp,
        aligned_inductance=float(inductance[0]),
        unaligned_inductance=float(inductance[1]),
        torque_per_loss=torque.mean / loss,
        phase_interaction=phase_interaction(working, torque) if plan.coupling == "joint" else None,
        rotor_inertia=masses.rotor_inertia,
        torque_per_mass=density.per_mass,
        torque_per_volume=density.per_volume,
        shear_stress=density.shear_stress,
        end_winding_inductance=ends.end_winding,
        aligned_fringing=ends.fringing.aligned,
        unaligned_fringing=ends.fringing.unaligned,
        most_rise=warming(loss + (iron or 0.0), envelope(whole)).most_rise,
        iron_loss=iron,
        operating_points=points,
    )


def _listened(
    points: dict[str, PointFigures], plan: Plan, whole: BuiltMachine, working: CoupledMap, solver: Solver
) -> Sounded:
    """Figures of operating points with those of the pull in the gap, and its waves, where the plan asks for them."""
    if plan.hearing is None or solver.pressures is None:
        return Sounded(points, {}, {})
    asked = (plan.operating_points, whole, working, plan.hearing)
    return with_sound(points, *asked, solver.pressures, solver.side_pulls)


def operating_point_figures(
    points: Sequence[OperatingPoint], machine_map: CoupledMap, resistance: float
) -> tuple[dict[str, PointFigures], str]:
    """Figures by the name of their operating point, and why some points have none, in words: a design that a supply
    cannot drive still has its figures under the ideal current."""
    found: dict[str, PointFigures] = {}
    lacking = []
    for point in points:
        try:
            found[point.name] = point.figures(machine_map, resistance)
        except InvalidValue as refused:
            lacking.append(f"no figures under {point.name}: {refused}")
    return found, NEXT_REASON.join(lacking)


def map_of(whole: BuiltMachine, plan: Plan, solver: Solver) -> tuple[CoupledMap, MapSlopes | None]:
    """The map of a machine as far as its plan needs it: all phases in one field, or one, summed; with the slopes of the
    one where the plan asks for them and the solver has them to give."""
    machine, resistance = whole.machine, whole.winding.resistance
    pitch, count = machine.rotor_pitch, machine.phases.count

    def reach(dwell: float) -> float:
        return max(plan.map_current, plan.basis.reach(dwell, pitch, count, resistance))

    shortest, longest = plan.dwells(machine.stroke, pitch)
    angles = half_or_whole_pitch(pitch, plan.angle_points, whole.mirror)
    currents = np.linspace(0.0, reach(shortest), plan.current_points + 1)[1:]
    if plan.slopes and solver.sloped is not None:
        slopes = solver.sloped(whole, angles, currents * REACH, plan.slopes, plan.meeting)
        return slopes.machine_map, slopes
    if plan.coupling == "summed":
        return summed(solver.flux_map(whole, angles, currents)), None
    together: Array | None = None
    if not plan.at_any_current:
        most = reach(shortest)
        together = most * np.array(MET) if plan.ramped else np.unique([reach(longest), most])
    at_once = plan.at_once(machine.stroke, pitch)
    return solver.coupled_map(whole, angles, currents, joint_currents=together, at_once=at_once), None


def refuse_unconverged(machine_map: CoupledMap) -> None:
    """Raise SolveFailed for a map with a point that did not converge: its figures would not be the machine's."""
    single = machine_map.single
    if single.converged is not None and not single.converged.all():
        lost = single.converged.size - np.count_nonzero(single.converged)
        raise SolveFailed(f"{lost} of {single.converged.size} points of the map: {single.remarks[0]}")
    if machine_map.lost:
        raise SolveFailed(f"{machine_map.lost} points of phases together: {machine_map.remarks[0]}")


def half_or_whole_pitch(pitch: float, points: int, mirror: bool) -> Array:
    """Angles of a map, rad, shape (points,): aligned to unaligned, or a whole pitch where poles lean."""
    return np.linspace(0.0 if mirror else -pitch / 2, pitch / 2, points)


def iron_watts(
    whole: BuiltMachine, plan: Plan, solver: Solver, drive: RectangularCurrent, current: float
) -> float | None:
    """Iron loss of all sheet at the plan's speed, W; None if not asked for."""
    if plan.turning is None:
        return None
    return iron_loss(whole, drive, current, plan.turning, fields=solver.fields).total
