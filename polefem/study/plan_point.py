"""What a plan asks of each design's map under a name, beside the figures on the basis of its study."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap
from polefem.params.checks import positive, printable, within
from polefem.params.quantity import speed_text
from polefem.study.record import OperatingPointFigures, PointFigures

__all__ = ["PlanPoint", "check_limit", "check_name", "check_name_and_speed"]


class PlanPoint(ABC):
    """An operating point: a frozen value with a name, whose `str` says what is equal under it.

    Figures of it are called by its name and a dot: "throwing.ripple". at_any_current: whether it needs a map that knows
    phases together at any of their currents. gives: the kind of figures it gives.
    """

    name: str
    at_any_current: ClassVar[bool] = True
    gives: ClassVar[type[PointFigures]] = OperatingPointFigures

    @abstractmethod
    def figures(self, machine_map: CoupledMap, resistance: float) -> PointFigures:
        """The figures of a map; `resistance` of one phase, ohm. Raises InvalidValue where it has none."""

    def currents(
        self, machine_map: CoupledMap, resistance: float, angles: NDArray[np.float64]
    ) -> NDArray[np.float64] | None:
        """Phase currents (A) at angles of the rotor (rad), shape (n_angles, n_phases), at a steady speed; None of a
        point that has none. Raises as `figures`."""
        return None

    def dwells(self, stroke: float, pitch: float) -> tuple[float, ...]:
        """Dwells of the rectangular current, as hot as steps, that the map must reach the current of, rad."""
        return ()

    def longest_flow(self, stroke: float, pitch: float) -> float:
        """The longest angle over which a rectangular current may flow, rad; 0 of a point that has none."""
        return 0.0


def check_name(name: str) -> None:
    """Refuse a name with dots: they stand between it and its figures."""
    if "." in printable("an operating point has a name", "point.name", name):
        rule = "an operating point has a name without dots"
        raise InvalidValue(refusal(rule, "point.name", repr(name), "a word such as 'throwing'"))


def check_limit(current_limit: float | None) -> None:
    """Refuse a limit under which no current flows."""
    if current_limit is not None:
        positive("a current limit lets some flow", "current_limit", current_limit, "A")


def check_name_and_speed(name: str, speed: float) -> None:
    """Refuse a name with dots, and a rotor that rests or turns backwards: a minus sign makes no generator."""
    check_name(name)
    within("a speed is finite", "point.speed", speed, -math.inf, math.inf, "rad/s")
    if speed <= 0.0:
        rule = "an operating point turns forwards, as a motor and as a generator"
        allowed = "above 0 rpm; a generator's phases conduct past 0 deg, or have generating=True"
        raise InvalidValue(refusal(rule, "point.speed", speed_text(speed), allowed))
