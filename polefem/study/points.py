"""Operating points of the bridge, computed on a design's map beside its figures on the basis of the study."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from polefem.drive import operating_point
from polefem.errors import InvalidValue, refusal
from polefem.maps import FluxMap
from polefem.params.drive_spec import Bridge, Control, DriveSpec, SinglePulse
from polefem.study.record import PointFigures

__all__ = ["DrivePoint"]


@dataclass(frozen=True)
class DrivePoint:
    """A bridge at a speed, by name; figures of it are called by that name and a dot: "throwing.ripple".

    speed: rad/s. turn_on, turn_off: rad. control: how the bridge keeps the current. The resistance is that of the
    design's own winding.
    """

    name: str
    speed: float
    bridge: Bridge
    turn_on: float
    turn_off: float
    control: Control = field(default_factory=SinglePulse)

    def __post_init__(self) -> None:
        if not self.name or "." in self.name:
            rule = "an operating point has a name without dots"
            raise InvalidValue(refusal(rule, "point.name", repr(self.name), "a word such as 'throwing'"))
        DriveSpec(
            self.bridge, 0.0, self.turn_on, self.turn_off, self.control
        )  # refuses what no bridge can do

    def figures(self, phase_map: FluxMap, resistance: float) -> PointFigures:
        """The figures of a map at this point; `resistance` of one phase, ohm. Raises what `operating_point` does."""
        spec = DriveSpec(self.bridge, resistance, self.turn_on, self.turn_off, self.control)
        run = operating_point(phase_map, spec, self.speed)
        return PointFigures(
            run.mean_torque,
            run.lowest_torque,
            run.highest_torque,
            run.ripple,
            run.peak_current,
            run.rms_current,
            run.copper_loss,
            run.input_power,
            None if math.isnan(run.efficiency) else run.efficiency,
        )
