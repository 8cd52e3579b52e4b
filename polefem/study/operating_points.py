"""Drives that a design is judged under, beside the ideal rectangular current of its study; all on the design's one map.

Each names its own basis, what designs have in common under it. The simplest honest reading, which each record's
figures are on:

- a given waveform is scaled as a whole, until it costs the copper loss, gives the mean torque, or peaks at the
  current;
- a bridge keeps its switching angles, and the level of its current is what is set: the lowest at which it costs the
  loss or gives the torque, or the current itself. Where the supply cannot drive the current up in time the level
  stands higher than the ideal rectangular current of the same loss, or is out of reach: then the design has no
  figures under this drive, and the reason is kept;
- the best switching is looked for anew for each design: at equal mean torque the least loss or the least ripple, at
  equal copper loss or equal current the most torque.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from polefem.drive import (
    AngleTable,
    DriveRun,
    Objective,
    RectangularTorque,
    Setting,
    angle_table,
    at_level,
    copper_loss,
    rectangular_currents,
    rectangular_torque,
    run_currents,
    steady_state,
    waveform_currents,
    waveform_torque,
)
from polefem.errors import InvalidValue, refusal, spelled
from polefem.maps import CoupledMap
from polefem.params import RectangularCurrent
from polefem.params.checks import increasing, made, positive
from polefem.params.drive_spec import Bridge, Control, DriveSpec, Tracking
from polefem.params.quantity import quantity, relative, speed_text
from polefem.study.at_the_shaft import ReadingOperatingPoint, SharedTorqueOperatingPoint, StartOperatingPoint
from polefem.study.basis import Basis, SettingSought
from polefem.study.drive_operating_point import DriveOperatingPoint, run_figures
from polefem.study.plan_point import PlanPoint, check_limit, check_name_and_speed
from polefem.study.record import OperatingPointFigures

__all__ = [
    "BRIDGED",
    "BestOperatingPoint",
    "LevelOperatingPoint",
    "OperatingPoint",
    "RectangularOperatingPoint",
    "SwitchingTable",
    "WaveformOperatingPoint",
]

Array = NDArray[np.float64]


@spelled
@dataclass(frozen=True)
class WaveformOperatingPoint(PlanPoint):
    """A current waveform of given form, whatever bridge may make it, by name.

    current: its form over a rotor pitch from its first angle, its currents relative to each other; no current flows
    outside its angles. basis: what its scale follows from. speed: rad/s, for the input power.
    Raises InvalidValue for a name with dots, and for a speed of nought or less.
    """

    name: str
    current: Tracking = field(metadata=relative("currents"))
    basis: Basis
    speed: float = field(metadata=quantity("rpm"))

    def __post_init__(self) -> None:
        check_name_and_speed(self.name, self.speed)

    def __str__(self) -> str:
        return f"a given current waveform at {speed_text(self.speed)}, {self.basis}"

    def figures(self, machine_map: CoupledMap, resistance: float) -> OperatingPointFigures:
        """The figures of a map; `resistance` of one phase, ohm.

        Raises InvalidValue where the map's last current is below the peak of the scaled waveform.
        """
        current = self._scaled(machine_map, resistance)
        torque = waveform_torque(machine_map, current)
        loss = machine_map.phases * resistance * torque.rms_current**2
        shaft = torque.mean * self.speed
        given, gained = _powers(shaft, loss)
        return OperatingPointFigures(
            mean_torque=torque.mean,
            lowest_torque=torque.lowest if shaft >= 0.0 else torque.highest,
            highest_torque=torque.highest if shaft >= 0.0 else torque.lowest,
            ripple=torque.ripple,
            peak_current=max(current.currents),
            rms_current=torque.rms_current,
            copper_loss=loss,
            power_in=given,
            power_out=gained,
            efficiency=gained / given if gained > 0.0 else None,
            peak_voltage=self.speed * torque.steepest + resistance * max(current.currents),
        )

    def currents(self, machine_map: CoupledMap, resistance: float, angles: Array) -> Array:
        """Phase currents (A) at angles (rad), shape (n_angles, n_phases); raises as `figures`."""
        current = self._scaled(machine_map, resistance)
        return waveform_currents(current, machine_map.phases, machine_map.pitch, angles)

    def _scaled(self, machine_map: CoupledMap, resistance: float) -> Tracking:
        peak = self.basis.waveform_peak(
            lambda trial: waveform_torque(machine_map, self.current.scaled(trial)),
            float(machine_map.currents[-1]),
            machine_map.phases,
            resistance,
        )
        return self.current.scaled(peak)


@spelled
@dataclass(frozen=True)
class RectangularOperatingPoint(PlanPoint):
    """The rectangular current with the same switching angles for every design, by name: beside a study in which each
    design has the switching that suits it, or whose current steps and that asks what ramps leave of it.

    drive: when a phase conducts, and its ramps. basis: what its current follows from. speed: rad/s, for the input
    power. both_ways: whether the rotor turns either way, under the same angles and current counted in its direction:
    figures of torque, ripple among them, are then of whichever way has the worse.
    Raises InvalidValue for a name with dots, and for a speed of nought or less.
    """

    name: str
    drive: RectangularCurrent
    basis: Basis
    speed: float = field(metadata=quantity("rpm"))
    both_ways: bool = False

    at_any_current: ClassVar[bool] = False

    def __post_init__(self) -> None:
        check_name_and_speed(self.name, self.speed)
        rule = "every design has the same switching at this point; what suits each is the drive of a Plan"
        made(rule, "point.drive", self.drive, RectangularCurrent, "RectangularCurrent(turn_on, turn_off)")

    def __str__(self) -> str:
        ways = ", turning either way" if self.both_ways else ""
        return f"the {self.drive.form} {self.drive} for all{ways}, {self.basis}"

    def dwells(self, stroke: float, pitch: float) -> tuple[float, ...]:
        """That of its switching."""
        return self.drive.dwells(stroke, pitch)

    def longest_flow(self, stroke: float, pitch: float) -> float:
        """That of its switching."""
        return self.drive.longest_flow(stroke, pitch)

    def figures(self, machine_map: CoupledMap, resistance: float) -> OperatingPointFigures:
        """The figures of a map; `resistance` of one phase, ohm. Raises as `rectangular_torque` does."""
        current = self.basis.rectangular_current(machine_map, self.drive, resistance)
        ways = [rectangular_torque(machine_map, drive, current) for drive in self.ways]
        forth, sign = ways[0], 1.0 if ways[0].mean >= 0.0 else -1.0
        loss = copper_loss(machine_map, self.drive, current, resistance)
        mean = sign * min(abs(way.mean) for way in ways)
        given, gained = _powers(mean * self.speed, loss)
        return OperatingPointFigures(
            mean_torque=mean,
            lowest_torque=sign * min(_along(way, way.weakest) for way in ways),
            highest_torque=sign * max(_along(way, way.strongest) for way in ways),
            ripple=max(way.ripple for way in ways),
            peak_current=current,
            rms_current=forth.rms_current,
            copper_loss=loss,
            power_in=given,
            power_out=gained,
            efficiency=gained / given if gained > 0.0 else None,
        )

    @property
    def ways(self) -> tuple[RectangularCurrent, ...]:
        """Its drive, and that of the other way where the rotor turns both."""
        return (self.drive, self.drive.turned_back) if self.both_ways else (self.drive,)

    def currents(self, machine_map: CoupledMap, resistance: float, angles: Array) -> Array:
        """Phase currents (A) at angles (rad), shape (n_angles, n_phases); raises as `figures`."""
        current = self.basis.rectangular_current(machine_map, self.drive, resistance)
        return rectangular_currents(self.drive, current, machine_map.phases, machine_map.pitch, angles)


@spelled
@dataclass(frozen=True)
class LevelOperatingPoint(PlanPoint):
    """A bridge at a speed, by name, with its switching angles given and its current level set by a basis.

    speed: rad/s. turn_on, turn_off: rad. control: a `Tracking` or `Chopping`; its level is replaced, its form and
    the share of its band stay. The resistance is that of the design's own winding.
    Raises InvalidValue for a name with dots, a speed of nought, and a control without a level.
    """

    name: str
    speed: float = field(metadata=quantity("rpm"))
    bridge: Bridge
    turn_on: float = field(metadata=quantity("deg"))
    turn_off: float = field(metadata=quantity("deg"))
    basis: Basis
    control: Control = field(default_factory=lambda: Tracking.level(1.0), metadata=relative("currents"))

    def __post_init__(self) -> None:
        check_name_and_speed(self.name, self.speed)
        at_level(self.control, 1.0)  # refuses a control without a level
        self._drive(0.0)

    def __str__(self) -> str:
        return f"a bridge on {self.bridge.supply:.4g} V at {speed_text(self.speed)}, {self.basis}"

    def figures(self, machine_map: CoupledMap, resistance: float) -> OperatingPointFigures:
        """The figures of a map; `resistance` of one phase, ohm. Raises as `run_at_copper_loss` does."""
        return run_figures(self.run(machine_map, resistance))

    def currents(self, machine_map: CoupledMap, resistance: float, angles: Array) -> Array:
        """Phase currents (A) at angles (rad), shape (n_angles, n_phases); raises as `figures`."""
        return run_currents(self.run(machine_map, resistance), angles)

    def run(self, machine_map: CoupledMap, resistance: float) -> DriveRun:
        """What a map does at this point; as `figures`."""
        return self.basis.run(machine_map, self._drive(resistance), self.speed)

    def _drive(self, resistance: float) -> DriveSpec:
        return DriveSpec(self.bridge, resistance, self.turn_on, self.turn_off, self.control)


@spelled
@dataclass(frozen=True)
class BestOperatingPoint(PlanPoint):
    """A bridge at a speed, by name, with the switching that suits each design best.

    speed: rad/s. basis: of equal mean torque (then `objective` says what is made least: "loss", or "ripple"), or of
    equal copper loss or equal current (then the torque is made most). current_limit: no level is above it, A.
    generating: whether it is to brake the rotor; where the torque is what is equal, its sign says so. Raises
    InvalidValue for a name with dots, a speed of nought, and least ripple without a torque to give.
    """

    name: str
    speed: float = field(metadata=quantity("rpm"))
    bridge: Bridge
    basis: Basis
    objective: Objective = "loss"
    current_limit: float | None = field(default=None, metadata=quantity("A"))
    generating: bool = False

    def __post_init__(self) -> None:
        check_name_and_speed(self.name, self.speed)
        check_limit(self.current_limit)
        asked = self.basis.mean_torque
        if asked is not None and self.generating and asked > 0.0:
            rule = "a generator is asked for a torque below 0, that brakes"
            raise InvalidValue(refusal(rule, "basis.torque", f"{asked:.4g} N m", f"{-asked:.4g} N m"))
        if self.objective == "ripple" and self.basis.mean_torque is None:
            rule = "the smoothest switching needs a torque to give: no current is the smoothest"
            raise InvalidValue(refusal(rule, "basis", str(self.basis), "EqualMeanTorque"))

    def __str__(self) -> str:
        most = "most braking torque" if self.generating else "most torque"
        made = f"least {self.objective}" if self.basis.mean_torque is not None else most
        return (
            f"a bridge on {self.bridge.supply:.4g} V at {speed_text(self.speed)} with the switching of {made}, "
            f"{self.basis}"
        )

    def setting(self, machine_map: CoupledMap, resistance: float) -> Setting:
        """The best switching of a map; `resistance` of one phase, ohm. Raises as `best_setting` does."""
        where = (machine_map, self.bridge, resistance, self.speed)
        return self.basis.setting(SettingSought(*where, self.objective, self.current_limit, self.generating))

    def figures(self, machine_map: CoupledMap, resistance: float) -> OperatingPointFigures:
        """The figures of a map under its best switching; `resistance` of one phase, ohm."""
        return run_figures(self.run(machine_map, resistance))

    def currents(self, machine_map: CoupledMap, resistance: float, angles: Array) -> Array:
        """Phase currents (A) at angles (rad), shape (n_angles, n_phases), under that switching."""
        return run_currents(self.run(machine_map, resistance), angles)

    def run(self, machine_map: CoupledMap, resistance: float) -> DriveRun:
        """What a map does at this point; as `figures`."""
        drive = self.setting(machine_map, resistance).drive(self.bridge, resistance)
        return steady_state(machine_map, drive, self.speed)


@spelled
@dataclass(frozen=True)
class SwitchingTable:
    """What a controller of the winning design shall know: settings over speed and torque, as motor and generator.

    bridge: that feeds it. speeds: rad/s, increasing, above 0. torques: N m, increasing; below 0 as a generator.
    objective: what each setting makes least. current_limit: no level is above it, A.
    Raises InvalidValue where speeds or torques do not increase.
    """

    bridge: Bridge
    speeds: tuple[float, ...] = field(metadata=quantity("rpm"))
    torques: tuple[float, ...] = field(metadata=quantity("N m"))
    objective: Objective = "loss"
    current_limit: float | None = field(default=None, metadata=quantity("A"))

    def __post_init__(self) -> None:
        increasing("the speeds of a table must increase", "speeds", self.speeds, "rad/s")
        increasing("the torques of a table must increase", "torques", self.torques, "N m")
        positive("a table begins at a speed", "speeds", self.speeds[0], "rad/s")
        check_limit(self.current_limit)

    def table(self, machine_map: CoupledMap, resistance: float) -> AngleTable:
        """The settings of a map; `resistance` of one phase, ohm."""
        where = (machine_map, self.bridge, resistance, self.speeds, self.torques)
        return angle_table(*where, objective=self.objective, current_limit=self.current_limit)


OperatingPoint = (
    DriveOperatingPoint
    | WaveformOperatingPoint
    | RectangularOperatingPoint
    | LevelOperatingPoint
    | BestOperatingPoint
    | SharedTorqueOperatingPoint
    | StartOperatingPoint
    | ReadingOperatingPoint
)
BRIDGED = (DriveOperatingPoint, LevelOperatingPoint, BestOperatingPoint)
"""Operating points of a bridge: those have a `run`."""
"""An operating point of a plan: `DriveOperatingPoint` is the bridge with the same switching and level for every
design."""


def _along(torque: RectangularTorque, value: float) -> float:
    """A torque counted in the direction of the mean, N m."""
    return math.copysign(value, value * torque.mean)


def _powers(shaft: float, loss: float) -> tuple[float, float]:
    """Power in and out of an ideal current, W. shaft: its power, below 0 of a generator. loss: of all copper, W."""
    supply = shaft + loss
    return max(supply, 0.0) + max(-shaft, 0.0), max(-supply, 0.0) + max(shaft, 0.0)
