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

import numpy as np
from scipy.optimize import brentq

from polefem.drive import (
    AngleTable,
    DriveRun,
    Objective,
    Setting,
    angle_table,
    at_level,
    best_setting,
    best_setting_at_loss,
    most_torque,
    run_at_copper_loss,
    run_at_level,
    run_at_mean_torque,
    steady_state,
    waveform_torque,
)
from polefem.errors import InvalidValue, refusal
from polefem.maps import FluxMap
from polefem.params.checks import increasing, positive, printable, within
from polefem.params.drive_spec import Bridge, Control, DriveSpec, Tracking
from polefem.params.quantity import quantity
from polefem.study.basis import Basis, EqualCopperLoss, EqualCurrent, EqualMeanTorque
from polefem.study.drive_operating_point import DriveOperatingPoint, run_figures
from polefem.study.record import OperatingPointFigures

__all__ = [
    "BestOperatingPoint",
    "LevelOperatingPoint",
    "OperatingPoint",
    "SwitchingTable",
    "WaveformOperatingPoint",
]


@dataclass(frozen=True)
class WaveformOperatingPoint:
    """A current waveform of given form, whatever bridge may make it, by name.

    current: its form over a rotor pitch from its first angle; no current flows outside its angles. basis: what its
    scale follows from. speed: rad/s, for the input power.
    Raises InvalidValue for a name with dots, and for a speed of nought or less.
    """

    name: str
    current: Tracking
    basis: Basis
    speed: float = field(metadata=quantity("rpm"))

    def __post_init__(self) -> None:
        _check_name_and_speed(self.name, self.speed)
        positive("a waveform is of a rotor that turns forwards", "point.speed", self.speed, "rad/s")

    def __str__(self) -> str:
        return f"a given current waveform at {self.speed:.4g} rad/s, {self.basis}"

    def figures(self, phase_map: FluxMap, resistance: float) -> OperatingPointFigures:
        """The figures of a map; `resistance` of one phase, ohm.

        Raises InvalidValue where the map's last current is below the peak of the scaled waveform.
        """
        current = at_level(self.current, self._peak(phase_map, resistance))
        assert isinstance(current, Tracking)
        torque = waveform_torque(phase_map, current)
        loss = phase_map.phases * resistance * torque.rms_current**2
        shaft = torque.mean * self.speed
        supply = loss + shaft
        return OperatingPointFigures(
            mean_torque=torque.mean,
            lowest_torque=torque.lowest,
            highest_torque=torque.highest,
            ripple=torque.ripple,
            peak_current=max(current.currents),
            rms_current=torque.rms_current,
            copper_loss=loss,
            input_power=supply,
            efficiency=_efficiency(shaft, supply),
        )

    def _peak(self, m: FluxMap, resistance: float) -> float:
        last = float(m.currents[-1])
        if isinstance(self.basis, EqualCurrent):
            return self.basis.current
        if isinstance(self.basis, EqualCopperLoss):
            full = waveform_torque(m, _scaled(self.current, last)).rms_current
            return last * math.sqrt(self.basis.loss / (m.phases * resistance)) / full
        wanted = self.basis.torque

        def lack(peak: float) -> float:
            return abs(waveform_torque(m, _scaled(self.current, peak)).mean) - wanted

        if lack(last) < 0.0:
            rule = "the waveform must give the mean torque within the map's last current"
            found, most = f"{wanted:.4g} N m", f"up to {lack(last) + wanted:.4g} N m"
            raise InvalidValue(refusal(rule, "mean torque", found, most))
        return float(brentq(lack, 1e-6 * last, last, xtol=1e-9 * last))


@dataclass(frozen=True)
class LevelOperatingPoint:
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
    control: Control = field(default_factory=lambda: Tracking.level(1.0))

    def __post_init__(self) -> None:
        _check_name_and_speed(self.name, self.speed)
        at_level(self.control, 1.0)
        self._drive(0.0)

    def __str__(self) -> str:
        return f"a bridge on {self.bridge.supply:.4g} V at {self.speed:.4g} rad/s, {self.basis}"

    def figures(self, phase_map: FluxMap, resistance: float) -> OperatingPointFigures:
        """The figures of a map; `resistance` of one phase, ohm. Raises as `run_at_copper_loss` does."""
        return run_figures(self._run(phase_map, self._drive(resistance)))

    def _drive(self, resistance: float) -> DriveSpec:
        return DriveSpec(self.bridge, resistance, self.turn_on, self.turn_off, self.control)

    def _run(self, m: FluxMap, drive: DriveSpec) -> DriveRun:
        if isinstance(self.basis, EqualCopperLoss):
            return run_at_copper_loss(m, drive, self.speed, self.basis.loss)
        if isinstance(self.basis, EqualCurrent):
            return run_at_level(m, drive, self.speed, self.basis.current)
        return run_at_mean_torque(m, drive, self.speed, self.basis.torque)


@dataclass(frozen=True)
class BestOperatingPoint:
    """A bridge at a speed, by name, with the switching that suits each design best.

    speed: rad/s. basis: of equal mean torque (then `objective` says what is made least: "loss", or "ripple"), or of
    equal copper loss or equal current (then the torque is made most). current_limit: no level is above it, A. Raises
    InvalidValue for a name with dots, a speed of nought, and least ripple without a torque to give.
    """

    name: str
    speed: float = field(metadata=quantity("rpm"))
    bridge: Bridge
    basis: Basis
    objective: Objective = "loss"
    current_limit: float | None = field(default=None, metadata=quantity("A"))

    def __post_init__(self) -> None:
        _check_name_and_speed(self.name, self.speed)
        if self.objective == "ripple" and not isinstance(self.basis, EqualMeanTorque):
            rule = "the smoothest switching needs a torque to give: no current is the smoothest"
            raise InvalidValue(refusal(rule, "basis", str(self.basis), "EqualMeanTorque"))

    def __str__(self) -> str:
        made = f"least {self.objective}" if isinstance(self.basis, EqualMeanTorque) else "most torque"
        return (
            f"a bridge on {self.bridge.supply:.4g} V at {self.speed:.4g} rad/s with the switching of {made}, "
            f"{self.basis}"
        )

    def setting(self, phase_map: FluxMap, resistance: float) -> Setting:
        """The best switching of a map; `resistance` of one phase, ohm. Raises as `best_setting` does."""
        where = (phase_map, self.bridge, resistance, self.speed)
        basis, limit = self.basis, self.current_limit
        if isinstance(basis, EqualCopperLoss):
            return best_setting_at_loss(*where, basis.loss, current_limit=limit)
        if isinstance(basis, EqualCurrent):
            return most_torque(*where, current_limit=min(basis.current, limit or math.inf))
        return best_setting(*where, basis.torque, objective=self.objective, current_limit=limit)

    def figures(self, phase_map: FluxMap, resistance: float) -> OperatingPointFigures:
        """The figures of a map under its best switching; `resistance` of one phase, ohm."""
        drive = self.setting(phase_map, resistance).drive(self.bridge, resistance)
        return run_figures(steady_state(phase_map, drive, self.speed))


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

    def table(self, phase_map: FluxMap, resistance: float) -> AngleTable:
        """The settings of a map; `resistance` of one phase, ohm."""
        return angle_table(
            phase_map,
            self.bridge,
            resistance,
            self.speeds,
            self.torques,
            objective=self.objective,
            current_limit=self.current_limit,
        )


OperatingPoint = DriveOperatingPoint | WaveformOperatingPoint | LevelOperatingPoint | BestOperatingPoint
"""An operating point of a plan: `DriveOperatingPoint` is the bridge with the same switching and level for every
design."""


def _scaled(form: Tracking, peak: float) -> Tracking:
    currents = np.array(form.currents)
    return Tracking(form.angles, currents * (peak / currents.max()))


def _efficiency(shaft: float, supply: float) -> float | None:
    if shaft > 0.0 and supply > 0.0:
        return shaft / supply
    return supply / shaft if shaft < 0.0 and supply < 0.0 else None


def _check_name_and_speed(name: str, speed: float) -> None:
    if "." in printable("an operating point has a name", "point.name", name):
        rule = "an operating point has a name without dots"
        raise InvalidValue(refusal(rule, "point.name", repr(name), "a word such as 'throwing'"))
    within("a speed is finite", "point.speed", speed, -math.inf, math.inf, "rad/s")
    positive("a drive turns", "|point.speed|", abs(speed), "rad/s")
