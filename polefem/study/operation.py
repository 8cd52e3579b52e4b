"""A design at work: the ideal rectangular current at the size that its study's basis gives, and all phases together."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.drive import (
    RectangularTorque,
    copper_loss,
    current_for_copper_loss,
    current_for_mean_torque,
    rectangular_torque,
)
from polefem.errors import InvalidValue, refusal
from polefem.maps import FluxMap
from polefem.params import RectangularCurrent
from polefem.study.basis import Basis, EqualCopperLoss, EqualCurrent

__all__ = ["Operation", "most_current", "operate"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Operation:
    """Torque of all phases, and what it costs in copper: `copper_loss` of all phases, W."""

    phase_map: FluxMap
    torque: RectangularTorque
    copper_loss: float

    def phase_currents(self, angle: float) -> Array:
        """Current of each phase at a rotor angle (rad), A, shape (n_phases,)."""
        drive = self.torque.drive
        since = np.mod(self._own(angle) - drive.turn_on, self.phase_map.pitch)
        return np.where(since < drive.dwell, self.torque.current, 0.0)

    def torque_at(self, angle: float) -> float:
        """Torque of single phases, summed, at a rotor angle (rad), N m."""
        return float(self.phase_map.at(self._own(angle), self.phase_currents(angle))[1].sum())

    def overlap_angles(self, count: int) -> Array:
        """Rotor angles within a stroke where most phases conduct at once, rad, shape (count,)."""
        stroke = self.phase_map.stroke
        angles: Array = stroke * (np.arange(360, dtype=float) + 0.5) / 360
        busy = np.array([np.count_nonzero(self.phase_currents(float(angle))) for angle in angles])
        crowded = angles[busy == busy.max()]
        spread: Array = crowded[((np.arange(count) + 0.5) / count * crowded.size).astype(int)]
        return spread

    def _own(self, angle: float) -> Array:
        return angle - self.phase_map.stroke * np.arange(self.phase_map.phases, dtype=float)


def most_current(
    basis: Basis, drive: RectangularCurrent, pitch: float, phases: int, resistance: float
) -> float:
    """The most current that the basis can ask for, A: how far a map must go."""
    if isinstance(basis, EqualCopperLoss):
        return math.sqrt(basis.loss / (phases * resistance * drive.dwell / pitch))
    return basis.current if isinstance(basis, EqualCurrent) else basis.most_current


def operate(phase_map: FluxMap, basis: Basis, drive: RectangularCurrent, resistance: float) -> Operation:
    """The machine of this map on a basis; `resistance` of one phase, ohm.

    Raises InvalidValue where it turns the wrong way, or the map does not reach what the basis asks for.
    """
    if isinstance(basis, EqualCopperLoss):
        current = current_for_copper_loss(phase_map, drive, resistance, basis.loss)
    elif isinstance(basis, EqualCurrent):
        current = basis.current
    else:
        current = current_for_mean_torque(phase_map, drive, basis.torque)
    torque = rectangular_torque(phase_map, drive, current)
    if torque.mean <= 0.0:
        found = f"{torque.mean:.4g} N m"
        raise InvalidValue(refusal("a motor must turn forwards", "mean torque", found, "above 0 N m"))
    return Operation(phase_map, torque, copper_loss(phase_map, drive, current, resistance))
