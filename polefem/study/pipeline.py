"""The whole pipeline for one design: machine, outline, map, operation, figures; and how it ended if not with them."""

from __future__ import annotations

import socket
import time
import traceback
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.copper import envelope, warming
from polefem.errors import GeometryRefused, InvalidValue, PolefemError, SolveFailed, refusal
from polefem.estimates import end_effects, iron_loss, masses_of, torque_density, with_end_effects
from polefem.field import BuiltMachine, FieldState, built, field_series
from polefem.maps import FluxMap
from polefem.study.design import Design, Plan
from polefem.study.operating_points import OperatingPoint
from polefem.study.operation import Operation, most_current, operate
from polefem.study.record import NEXT_REASON, Figures, OperatingPointFigures, Outcome, Status
from polefem.sweep import flux_map
from polefem.version import numerics, versions

__all__ = ["FIELD", "KnownMap", "Solver", "VersionsDiffer", "attempt", "attempt_elsewhere", "figures_of"]

Array = NDArray[np.float64]


class _Maps(Protocol):
    def __call__(self, machine: BuiltMachine, angles: ArrayLike, currents: ArrayLike) -> FluxMap: ...


class _Fields(Protocol):
    def __call__(
        self, machine: BuiltMachine, angles: ArrayLike, phase_currents: ArrayLike
    ) -> Iterator[FieldState]: ...


@dataclass(frozen=True)
class Solver:
    """What a pipeline asks for fields: the map of one phase, and states of all phases at some angles.

    Both must be functions of a module, so that a worker process can find them.
    """

    flux_map: _Maps
    fields: _Fields


FIELD = Solver(flux_map, field_series)
"""The solver of this package."""


@dataclass(frozen=True, eq=False)
class KnownMap:
    """In place of a solver's map, where the very same was computed before under another drive."""

    flux_map: FluxMap

    def __call__(self, machine: BuiltMachine, angles: ArrayLike, currents: ArrayLike) -> FluxMap:
        """The map, whose angles and currents are those asked for: its key stands for them."""
        return self.flux_map


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
    """What computing a design gives, whatever happens: an error of any kind is an outcome with a reason."""
    clock = _Clock()
    try:
        return figures_of(design, solver, clock)
    except (GeometryRefused, InvalidValue) as refused:
        return Outcome(Status.REFUSED, str(refused), seconds=clock.seconds)
    except PolefemError as failed:
        return Outcome(Status.FAILED, str(failed), seconds=clock.seconds)
    except Exception as unforeseen:
        reason = f"{type(unforeseen).__name__}: {unforeseen}"
        return Outcome(Status.FAILED, reason, seconds=clock.seconds, trace=traceback.format_exc())


class VersionsDiffer(InvalidValue):
    """A worker would compute with other versions than the process that asks it: its figures would not compare."""


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
    asked = most_current(
        plan.basis, plan.drive, machine.rotor_pitch, machine.phases.count, winding.resistance
    )
    most = max(plan.map_current, asked)
    with clock("map"):
        angles = half_or_whole_pitch(machine.rotor_pitch, plan.angle_points, whole.mirror)
        currents = np.linspace(0.0, most, plan.current_points + 1)[1:]
        phase_map = solver.flux_map(whole, angles, currents)
        refuse_unconverged(phase_map)
    with clock("operation"):
        at_work = with_end_effects(phase_map, whole) if plan.end_effects else phase_map
        operation = operate(at_work, plan.basis, plan.drive, winding.resistance)
    with clock("operating points"):
        points, lacking = operating_point_figures(plan.operating_points, at_work, winding.resistance)
    with clock("overlap"):
        difference = overlap_torque(
            whole, plan.overlap_angles, solver, replace(operation, phase_map=phase_map)
        )
    loss, torque, current = operation.copper_loss, operation.torque, operation.torque.current
    with clock("iron loss"):
        iron = iron_watts(whole, plan, solver, current)
    masses, ends = masses_of(whole), end_effects(phase_map, whole)
    density = torque_density(whole, torque.mean)
    inductance = phase_map.at(np.array([0.0, phase_map.pitch / 2]), current)[0] / current
    figures = Figures(
        current=current,
        copper_loss=loss,
        phase_resistance=winding.resistance,
        current_density=winding.current_density(current),
        copper_mass=winding.copper_mass,
        steel_mass=masses.stator_steel + masses.rotor_steel,
        mean_torque=torque.mean,
        lowest_torque=torque.lowest,
        highest_torque=torque.highest,
        ripple=torque.ripple,
        aligned_inductance=float(inductance[0]),
        unaligned_inductance=float(inductance[1]),
        torque_per_loss=torque.mean / loss,
        overlap_torque=difference,
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
    return Outcome(
        Status.SOLVED, lacking, figures, phase_map, clock.seconds, tuple(torque.harmonics.tolist())
    )


def operating_point_figures(
    points: Sequence[OperatingPoint], phase_map: FluxMap, resistance: float
) -> tuple[dict[str, OperatingPointFigures], str]:
    """Figures by the name of their operating point, and why some points have none, in words: a design that a supply
    cannot drive still has its figures under the ideal current."""
    found: dict[str, OperatingPointFigures] = {}
    lacking = []
    for point in points:
        try:
            found[point.name] = point.figures(phase_map, resistance)
        except InvalidValue as refused:
            lacking.append(f"no figures under {point.name}: {refused}")
    return found, NEXT_REASON.join(lacking)


def refuse_unconverged(phase_map: FluxMap) -> None:
    """Raise SolveFailed for a map with a point that did not converge: its figures would not be the machine's."""
    if phase_map.converged is not None and not phase_map.converged.all():
        lost = phase_map.converged.size - np.count_nonzero(phase_map.converged)
        raise SolveFailed(f"{lost} of {phase_map.converged.size} points of the map: {phase_map.remarks[0]}")


def half_or_whole_pitch(pitch: float, points: int, mirror: bool) -> Array:
    """Angles of a map, rad, shape (points,): aligned to unaligned, or a whole pitch where poles lean."""
    return np.linspace(0.0 if mirror else -pitch / 2, pitch / 2, points)


def iron_watts(whole: BuiltMachine, plan: Plan, solver: Solver, current: float) -> float | None:
    """Iron loss of all sheet at the plan's speed, W; None if not asked for."""
    if plan.turning is None:
        return None
    return iron_loss(whole, plan.drive, current, plan.turning, fields=solver.fields).total


def overlap_torque(whole: BuiltMachine, count: int, solver: Solver, operation: Operation) -> float | None:
    """How far the sum of single phases is from all phases solved together, over the mean torque; None if not asked.

    Looked at where most phases conduct at once, spread over that part of a stroke: they share a saturated yoke.
    """
    if count == 0:
        return None
    angles = operation.overlap_angles(count)
    currents = np.array([operation.phase_currents(angle) for angle in angles.tolist()])
    together = np.array([s.torque for s in solver.fields(whole, angles, currents)])
    apart = np.array([operation.torque_at(angle) for angle in angles.tolist()])
    return float(np.abs(together - apart).max()) / operation.torque.mean
