"""What is held equal when shapes are compared: copper loss, current, or mean torque.

A shape that makes less torque would look smoother or rougher than it is if each had its own loss. Each basis answers
the same questions, so that nothing else need know which it is: how far a map must go, which currents it may ask for and
which it does, and at what level a bridge is run for it.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import scipy

from polefem.drive import (
    DriveRun,
    Objective,
    Setting,
    WaveformTorque,
    best_setting,
    best_setting_at_loss,
    current_for_copper_loss,
    current_for_mean_torque,
    most_torque,
    run_at_copper_loss,
    run_at_level,
    run_at_mean_torque,
)
from polefem.errors import InvalidValue, refusal, spelled
from polefem.maps import CoupledMap
from polefem.params import RectangularCurrent
from polefem.params.checks import positive, within
from polefem.params.drive_spec import Bridge, DriveSpec
from polefem.params.quantity import quantity

__all__ = ["Basis", "EqualCopperLoss", "EqualCurrent", "EqualMeanTorque", "SettingSought"]

_LEVELS = 8  # currents that are looked at where the current follows from a torque


@dataclass(frozen=True, eq=False)
class SettingSought:
    """What the switching that suits a map best is sought for.

    m: the map. bridge, resistance (of a phase, ohm), speed (rad/s): of the drive. objective: what is made least where
    the torque is given. current_limit: no level is above it, A. generating: whether it is to brake the rotor.
    """

    m: CoupledMap
    bridge: Bridge
    resistance: float = field(metadata=quantity("ohm"))
    speed: float = field(metadata=quantity("rpm"))
    objective: Objective = "loss"
    current_limit: float | None = field(default=None, metadata=quantity("A"))
    generating: bool = False

    @property
    def where(self) -> tuple[CoupledMap, Bridge, float, float]:
        """Map and drive, in the order in which every search takes them."""
        return self.m, self.bridge, self.resistance, self.speed


class Basis(ABC):
    """What is equal among designs. Resistances are of one phase, ohm; currents in A, angles in rad, speeds in rad/s."""

    @property
    def mean_torque(self) -> float | None:
        """The mean torque that every design gives, N m, below 0 as a generator; None where it is not what is equal."""
        return None

    @abstractmethod
    def reach(self, dwell: float, pitch: float, phases: int, resistance: float) -> float:
        """The most current that it can ask for at this dwell or a longer one: how far a map must go."""

    def reach_inputs(self, copper: Any, dwells: tuple[float, float]) -> Any:
        """Those of its inputs that `reach` follows from for one machine: what decides how far its map goes."""
        return self

    def possible_currents(self, m: CoupledMap, dwell: float, resistance: float) -> tuple[float, ...]:
        """The currents that a dwell may have: the one, or several from low to high where it follows from a torque."""
        return (min(self.reach(dwell, m.pitch, m.phases, resistance), float(m.currents[-1])),)

    @abstractmethod
    def rectangular_current(self, m: CoupledMap, drive: RectangularCurrent, resistance: float) -> float:
        """The current of a switching. Raises InvalidValue where the map does not reach it."""

    @abstractmethod
    def waveform_peak(
        self, waveform: Callable[[float], WaveformTorque], last: float, phases: int, resistance: float
    ) -> float:
        """The peak of a waveform, whose torque `waveform` gives by its peak, up to `last`. Raises InvalidValue."""

    @abstractmethod
    def run(self, m: CoupledMap, drive: DriveSpec, speed: float) -> DriveRun:
        """The bridge at the lowest level that does it. Raises InvalidValue where none does."""

    @abstractmethod
    def setting(self, sought: SettingSought) -> Setting:
        """The switching of a bridge that suits a map best. Raises InvalidValue where none does it."""


@spelled
@dataclass(frozen=True)
class EqualCopperLoss(Basis):
    """Every design may turn so many watts into heat in its copper, all phases together."""

    loss: float = field(metadata=quantity("W"))

    def __post_init__(self) -> None:
        positive("copper must be given a loss", "basis.loss", self.loss, "W")

    def __str__(self) -> str:
        return f"equal copper loss of {self.loss:.4g} W"

    def reach(self, dwell: float, pitch: float, phases: int, resistance: float) -> float:
        """The current of this loss at the shortest dwell."""
        return math.sqrt(self.loss / (phases * resistance * dwell / pitch))

    def reach_inputs(self, copper: Any, dwells: tuple[float, float]) -> Any:
        """The loss, with what its current follows from."""
        return self, copper, dwells

    def rectangular_current(self, m: CoupledMap, drive: RectangularCurrent, resistance: float) -> float:
        """The current of this loss."""
        return current_for_copper_loss(m, drive, resistance, self.loss)

    def waveform_peak(
        self, waveform: Callable[[float], WaveformTorque], last: float, phases: int, resistance: float
    ) -> float:
        """Loss goes as the square of a waveform's scale."""
        return last * math.sqrt(self.loss / (phases * resistance)) / waveform(last).rms_current

    def run(self, m: CoupledMap, drive: DriveSpec, speed: float) -> DriveRun:
        """At the lowest level that costs the loss."""
        return run_at_copper_loss(m, drive, speed, self.loss)

    def setting(self, sought: SettingSought) -> Setting:
        """The most torque that the loss buys."""
        limit = sought.current_limit
        return best_setting_at_loss(*sought.where, self.loss, generate=sought.generating, current_limit=limit)


@spelled
@dataclass(frozen=True)
class EqualCurrent(Basis):
    """Every design carries so many amperes in the conducting phase."""

    current: float = field(metadata=quantity("A"))

    def __post_init__(self) -> None:
        positive("a phase must carry a current", "basis.current", self.current, "A")

    def __str__(self) -> str:
        return f"equal current of {self.current:.4g} A"

    def reach(self, dwell: float, pitch: float, phases: int, resistance: float) -> float:
        """The current."""
        return self.current

    def rectangular_current(self, m: CoupledMap, drive: RectangularCurrent, resistance: float) -> float:
        """The current."""
        return self.current

    def waveform_peak(
        self, waveform: Callable[[float], WaveformTorque], last: float, phases: int, resistance: float
    ) -> float:
        """The current."""
        return self.current

    def run(self, m: CoupledMap, drive: DriveSpec, speed: float) -> DriveRun:
        """At this level."""
        return run_at_level(m, drive, speed, self.current)

    def setting(self, sought: SettingSought) -> Setting:
        """The most torque within the current."""
        most = min(self.current, sought.current_limit or math.inf)
        return most_torque(*sought.where, generate=sought.generating, current_limit=most)


@spelled
@dataclass(frozen=True)
class EqualMeanTorque(Basis):
    """Every design gives so many N m on average (below 0: brakes as a generator), with the current that takes; none may
    need more than `most_current` (A), up to which its map is computed."""

    torque: float = field(metadata=quantity("N m"))
    most_current: float = field(metadata=quantity("A"))

    def __post_init__(self) -> None:
        within("a torque is finite", "basis.torque", self.torque, -math.inf, math.inf, "N m")
        positive("a machine must give a torque", "|basis.torque|", abs(self.torque), "N m")
        positive("a phase must carry a current", "basis.most_current", self.most_current, "A")

    def __str__(self) -> str:
        of = "mean torque" if self.torque > 0.0 else "mean braking torque"
        return f"equal {of} of {abs(self.torque):.4g} N m"

    @property
    def mean_torque(self) -> float:
        """What is equal, N m."""
        return self.torque

    def reach(self, dwell: float, pitch: float, phases: int, resistance: float) -> float:
        """The most current that a design may need."""
        return self.most_current

    def possible_currents(self, m: CoupledMap, dwell: float, resistance: float) -> tuple[float, ...]:
        """Several, from low to high: the current follows from the torque."""
        last = float(m.currents[-1])
        return tuple(np.geomspace(last / 20, last, _LEVELS).tolist())

    def rectangular_current(self, m: CoupledMap, drive: RectangularCurrent, resistance: float) -> float:
        """The current that gives the torque."""
        return current_for_mean_torque(m, drive, self.torque)

    def waveform_peak(
        self, waveform: Callable[[float], WaveformTorque], last: float, phases: int, resistance: float
    ) -> float:
        """The peak that gives the torque."""

        def lack(peak: float) -> float:
            return waveform(peak).mean / self.torque - 1.0

        if lack(last) < 0.0:
            rule = "the waveform must give the mean torque within the map's last current"
            found, most = f"{self.torque:.4g} N m", f"up to {(lack(last) + 1.0) * self.torque:.4g} N m"
            raise InvalidValue(refusal(rule, "mean torque", found, most))
        return float(scipy.optimize.brentq(lack, 1e-6 * last, last, xtol=1e-9 * last))

    def run(self, m: CoupledMap, drive: DriveSpec, speed: float) -> DriveRun:
        """At the lowest level that gives the torque."""
        return run_at_mean_torque(m, drive, speed, self.torque)

    def setting(self, sought: SettingSought) -> Setting:
        """The switching of least loss, or least ripple, at the torque."""
        limit = sought.current_limit
        return best_setting(*sought.where, self.torque, objective=sought.objective, current_limit=limit)
