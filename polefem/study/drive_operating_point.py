"""Operating points of the bridge, computed on a design's map beside its figures on the basis of the study."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from polefem.drive import DriveRun, run_currents, steady_state
from polefem.errors import spelled
from polefem.maps import CoupledMap
from polefem.params.drive_spec import Bridge, Control, DriveSpec, SinglePulse
from polefem.params.quantity import quantity, speed_text
from polefem.study.plan_point import PlanPoint, check_name_and_speed
from polefem.study.record import OperatingPointFigures

__all__ = ["DriveOperatingPoint", "run_figures"]


@spelled
@dataclass(frozen=True)
class DriveOperatingPoint(PlanPoint):
    """A bridge at a speed, by name; figures of it are called by that name and a dot: "throwing.ripple".

    speed: rad/s. turn_on, turn_off: rad. control: how the bridge keeps the current. The resistance is that of the
    design's own winding.
    """

    name: str
    speed: float = field(metadata=quantity("rpm"))
    bridge: Bridge
    turn_on: float = field(metadata=quantity("deg"))
    turn_off: float = field(metadata=quantity("deg"))
    control: Control = field(default_factory=SinglePulse)

    def __post_init__(self) -> None:
        check_name_and_speed(self.name, self.speed)
        DriveSpec(
            self.bridge, 0.0, self.turn_on, self.turn_off, self.control
        )  # refuses what no bridge can do

    def figures(self, machine_map: CoupledMap, resistance: float) -> OperatingPointFigures:
        """The figures of a map at this point; `resistance` of one phase, ohm. Raises what `steady_state` does."""
        return run_figures(self.run(machine_map, resistance))

    def currents(
        self, machine_map: CoupledMap, resistance: float, angles: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Phase currents (A) at angles (rad), shape (n_angles, n_phases); raises as `figures`."""
        return run_currents(self.run(machine_map, resistance), angles)

    def run(self, machine_map: CoupledMap, resistance: float) -> DriveRun:
        """What a map does at this point; as `figures`."""
        spec = DriveSpec(self.bridge, resistance, self.turn_on, self.turn_off, self.control)
        return steady_state(machine_map, spec, self.speed)

    def __str__(self) -> str:
        return (
            f"a bridge on {self.bridge.supply:.4g} V at {speed_text(self.speed)}, the same switching for all"
        )


def run_figures(run: DriveRun) -> OperatingPointFigures:
    """What a run says of a design, iron loss not counted."""
    brakes = run.mean_torque < 0.0
    return OperatingPointFigures(
        mean_torque=run.mean_torque,
        lowest_torque=run.highest_torque if brakes else run.lowest_torque,
        highest_torque=run.lowest_torque if brakes else run.highest_torque,
        ripple=run.ripple,
        peak_current=run.peak_current,
        rms_current=run.rms_current,
        copper_loss=run.copper_loss,
        power_in=run.power_in,
        power_out=run.power_out,
        efficiency=None if math.isnan(run.efficiency) else run.efficiency,
        bridge_loss=run.bridge_loss,
        link_current=abs(run.input_power) / run.drive.bridge.supply,
        excitation_power=run.excitation_power,
        excitation_loss=run.excitation_loss,
    )
