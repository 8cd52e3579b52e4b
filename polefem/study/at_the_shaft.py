"""What a builder asks once a bridge is on the bench, on a design's map: is the torque flat where the current is shaped
for it, does it start, how well can the angle be read off idle phases."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from polefem.drive import (
    AngleReading,
    DriveRun,
    FreeShaftRun,
    angle_reading,
    best_sharing,
    rest_torque,
    run_currents,
    run_free_shaft,
    steady_state,
)
from polefem.errors import InvalidValue, refusal, spelled
from polefem.maps import CoupledMap
from polefem.params.checks import positive
from polefem.params.drive_spec import Bridge, DriveSpec, Load, Tracking
from polefem.params.quantity import quantity, speed_text
from polefem.study.drive_operating_point import run_figures
from polefem.study.plan_point import PlanPoint, check_limit, check_name, check_name_and_speed
from polefem.study.record import OperatingPointFigures, PointFigures, ReadingFigures, StartFigures

__all__ = ["ReadingOperatingPoint", "SharedTorqueOperatingPoint", "StartOperatingPoint"]

_REST_ANGLES = 720  # of a rotor pitch


@spelled
@dataclass(frozen=True)
class SharedTorqueOperatingPoint(PlanPoint):
    """A bridge at a speed, by name, that follows the current profiles of least copper loss under which the phases of a
    design together give a flat torque.

    speed: rad/s, above 0. torque: N m, below 0 as a generator. current_limit: no current is above it, A.
    Raises InvalidValue for a name with dots, a speed of nought or less, and no torque.
    """

    name: str
    speed: float = field(metadata=quantity("rpm"))
    bridge: Bridge
    torque: float = field(metadata=quantity("N m"))
    current_limit: float | None = field(default=None, metadata=quantity("A"))

    def __post_init__(self) -> None:
        check_name_and_speed(self.name, self.speed)
        positive("a torque is shared", "|point.torque|", abs(self.torque), "N m")
        check_limit(self.current_limit)

    def __str__(self) -> str:
        braking = "braking " if self.torque < 0.0 else ""
        return (
            f"a bridge on {self.bridge.supply:.4g} V at {speed_text(self.speed)} with the currents of least copper "
            f"loss that make a flat {braking}torque of {abs(self.torque):.4g} N m"
        )

    def run(self, machine_map: CoupledMap, resistance: float) -> DriveRun:
        """The bridge with these profiles; `resistance` of one phase, ohm. Raises as `best_sharing` does."""
        where = (machine_map, self.bridge, resistance, self.torque, self.speed)
        shared = best_sharing(*where, current_limit=self.current_limit)
        return steady_state(machine_map, shared.drive(self.bridge, resistance), self.speed)

    def figures(self, machine_map: CoupledMap, resistance: float) -> OperatingPointFigures:
        """The figures of a map; `resistance` of one phase, ohm."""
        return run_figures(self.run(machine_map, resistance))

    def currents(
        self, machine_map: CoupledMap, resistance: float, angles: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Phase currents (A) at angles (rad), shape (n_angles, n_phases); raises as `run`."""
        return run_currents(self.run(machine_map, resistance), angles)


@spelled
@dataclass(frozen=True)
class StartOperatingPoint(PlanPoint):
    """A bridge that lets a loaded shaft start, by name, from the rest angle where its torque is lowest.

    speed: that it shall get to, rad/s, above 0. turn_on, turn_off: rad. current: the level, A. load: on the shaft.
    inertia: of all that turns, kg m2. duration: that it is given, s.
    Raises InvalidValue for a name with dots, and for numbers that no start has.
    """

    name: str
    speed: float = field(metadata=quantity("rpm"))
    bridge: Bridge
    turn_on: float = field(metadata=quantity("deg"))
    turn_off: float = field(metadata=quantity("deg"))
    current: float = field(metadata=quantity("A"))
    load: Load
    inertia: float = field(metadata=quantity("kg m²"))
    duration: float = field(metadata=quantity("s"))

    gives: ClassVar[type[PointFigures]] = StartFigures

    def __post_init__(self) -> None:
        check_name_and_speed(self.name, self.speed)
        positive("all that turns has an inertia", "point.inertia", self.inertia, "kg m2")
        positive("a start is given time", "point.duration", self.duration, "s")
        positive("a phase must carry a current", "point.current", self.current, "A")
        self._drive(0.0)

    def __str__(self) -> str:
        return (
            f"a start to {speed_text(self.speed)} within {self.duration:.4g} s from the weakest rest angle, "
            f"{self.current:.4g} A on {self.bridge.supply:.4g} V, {self.inertia:.4g} kg m²"
        )

    def rest_angles(self, machine_map: CoupledMap, resistance: float) -> tuple[float, float]:
        """The rest angles of lowest and of highest torque, rad."""
        angles = (np.arange(_REST_ANGLES) + 0.5) * machine_map.pitch / _REST_ANGLES
        torque = rest_torque(machine_map, self._drive(resistance), self.current, angles)
        return float(angles[torque.argmin()]), float(angles[torque.argmax()])

    def run(self, machine_map: CoupledMap, resistance: float, angle: float) -> FreeShaftRun:
        """The start from a rest angle, rad, until it is at speed. Raises as `run_free_shaft` does."""
        drive = self._drive(resistance)
        given = (self.load, self.inertia, self.duration)
        return run_free_shaft(machine_map, drive, *given, angle=angle, until=self.speed)

    def figures(self, machine_map: CoupledMap, resistance: float) -> StartFigures:
        """The figures of a map; `resistance` of one phase, ohm."""
        weakest, _ = self.rest_angles(machine_map, resistance)
        run = self.run(machine_map, resistance, weakest)
        torque = rest_torque(machine_map, self._drive(resistance), self.current, np.array([weakest]))
        at_speed = bool(run.speed[-1] >= self.speed)
        return StartFigures(
            starting_torque=float(torque[0]),
            weakest_angle=weakest,
            time_to_speed=float(np.interp(self.speed, run.speed[-2:], run.time[-2:])) if at_speed else None,
            end_speed=float(run.speed[-1]),
            peak_current=float(run.current.max()),
        )

    def _drive(self, resistance: float) -> DriveSpec:
        return DriveSpec(self.bridge, resistance, self.turn_on, self.turn_off, Tracking.level(self.current))


@spelled
@dataclass(frozen=True)
class ReadingOperatingPoint(PlanPoint):
    """Reading the rotor angle off the flux linkages of idle phases, by name, before the machine is switched on.

    current: that flows in the phase that is read, A. error: how far off its flux linkage, or inductance, may be
    measured, as a share of it.
    Raises InvalidValue for a name with dots, no current, and an error that is not above 0 and below 1.
    """

    name: str
    current: float = field(metadata=quantity("A"))
    error: float = field(metadata=quantity("%"))

    gives: ClassVar[type[PointFigures]] = ReadingFigures

    def __post_init__(self) -> None:
        check_name(self.name)
        positive("no current tells no angle", "point.current", self.current, "A")
        if not 0.0 < self.error < 1.0:
            rule = "a measured value is off by a share of it"
            raise InvalidValue(refusal(rule, "point.error", f"{self.error:.4g}", "above 0 and below 1"))

    def __str__(self) -> str:
        return f"the angle read off idle phases at {self.current:.4g} A, inductance within {100 * self.error:.3g} %"

    def reading(self, machine_map: CoupledMap) -> AngleReading:
        """How far off the angle is over a rotor pitch. Raises as `angle_reading` does."""
        return angle_reading(machine_map, self.current, self.error)

    def figures(self, machine_map: CoupledMap, resistance: float) -> ReadingFigures:
        """The figures of a map."""
        reading = self.reading(machine_map)
        worst = int(reading.best.argmax())
        return ReadingFigures(
            worst_error=float(reading.best[worst]),
            worst_angle=float(reading.angles[worst]),
            mean_error=float(reading.best.mean()),
        )
