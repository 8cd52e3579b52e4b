"""The rectangular current, ideal or with ramps: when each phase conducts, given or as suits each machine.

All angles in rad, of the rotor, from the aligned angle of the phase's own poles, and counted in the direction
of turning: below 0 the rotor pole approaches, past 0 it leaves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal, spelled
from polefem.params.checks import positive, within
from polefem.params.quantity import quantity

__all__ = ["RectangularCurrent", "SuitedSwitching", "check_window"]


@spelled
@dataclass(frozen=True)
class RectangularCurrent:
    """The rectangular current: each phase conducts one constant current from `turn_on` to `turn_off`.

    ramp: angle over which it rises from turn-on and falls from turn-off, in straight lines, rad; 0 for the ideal one,
    which steps and which no bridge can give. On a supply of V volts it takes about speed * flux linkage / V.

    `RectangularCurrent(-30 * deg, 0.0)` drives a 6/4 machine as a motor for one stroke of each phase.
    Raises InvalidValue where turn-off does not follow turn-on, or the current has not risen by then.

    >>> RectangularCurrent(-0.5, 0.0, ramp=0.1).share([-0.01, 0.05, 0.3, 0.55, 0.7]).round(3).tolist()
    [0.0, 0.5, 1.0, 0.5, 0.0]
    """

    turn_on: float = field(metadata=quantity("deg"))
    turn_off: float = field(metadata=quantity("deg"))
    ramp: float = field(default=0.0, metadata=quantity("deg"))

    def __post_init__(self) -> None:
        check_window(self.turn_on, self.turn_off)
        if not 0.0 <= self.ramp <= self.dwell:
            found, most = f"{math.degrees(self.ramp):.6g} deg", f"0 to {math.degrees(self.dwell):.6g} deg"
            raise InvalidValue(refusal("a current rises within its dwell", "ramp", found, most))

    @property
    def dwell(self) -> float:
        """Angle from turn-on to turn-off, rad."""
        return self.turn_off - self.turn_on

    @property
    def flow(self) -> float:
        """Angle over which a phase carries current, that of its fall too, rad."""
        return self.dwell + self.ramp

    @property
    def heating_dwell(self) -> float:
        """Dwell of a current that steps to the same height and has the same mean square, rad: on a ramp the square is
        a third on average."""
        return self.dwell - self.ramp / 3

    def share(self, since: ArrayLike) -> NDArray[np.float64]:
        """What a phase carries of its constant current so far (rad, of any shape) behind its turn-on, 0 to 1."""
        gone = np.asarray(since, dtype=float)
        if not self.ramp:
            return np.where((gone >= 0.0) & (gone < self.dwell), 1.0, 0.0)
        share: NDArray[np.float64] = np.clip(np.minimum(gone, self.flow - gone) / self.ramp, 0.0, 1.0)
        return share

    def dwells(self, stroke: float, pitch: float) -> tuple[float, ...]:
        """The dwells, as hot as steps (`heating_dwell`), that a machine of this stroke and rotor pitch may get, rad:
        the one."""
        return (self.heating_dwell,)

    def longest_flow(self, stroke: float, pitch: float) -> float:
        """The longest angle over which a phase of a machine of this stroke and rotor pitch may carry current, rad."""
        return self.flow

    @property
    def form(self) -> str:
        """What such a current is called: ideal where it steps."""
        return _form(self.ramp)

    @property
    def turned_back(self) -> RectangularCurrent:
        """What a rotor that turns the other way is fed by the same angles, counted in the direction of turning, as
        angles of this one: currents rise where they fell.

        >>> RectangularCurrent(-0.5, 0.0, ramp=0.1).turned_back
        RectangularCurrent(turn_on=-0.1, turn_off=0.4, ramp=0.1)
        """
        return RectangularCurrent(-self.turn_off - self.ramp, -self.turn_on - self.ramp, self.ramp)

    @property
    def generating(self) -> bool:
        """Whether most of the dwell is past the aligned angle, where the torque brakes the rotor."""
        return self.turn_on + self.turn_off > 0.0

    def __str__(self) -> str:
        on, off = (f"{round(math.degrees(angle), 2) + 0.0:g}" for angle in (self.turn_on, self.turn_off))
        return f"on at {on}, off at {off} deg{_ramps(self.ramp)}"


@spelled
@dataclass(frozen=True)
class SuitedSwitching:
    """The rectangular current, switched for each design as suits it best, within a dwell of one stroke to half a rotor
    pitch.

    objective: "ripple" for the least torque ripple, "torque" for the most mean torque; where the mean torque is what is
    held equal, for the least copper loss. generating: whether it is to brake the rotor. least_torque: the mean torque,
    N m, that must be left (as a generator: of braking). ramp: as of `RectangularCurrent`, rad.
    Raises InvalidValue for an objective that is none, and a negative least torque or ramp.
    """

    objective: Literal["ripple", "torque"] = "ripple"
    generating: bool = False
    least_torque: float = field(default=0.0, metadata=quantity("N m"))
    ramp: float = field(default=0.0, metadata=quantity("deg"))

    def __post_init__(self) -> None:
        if self.objective not in ("ripple", "torque"):
            rule = "a switching is suited to something"
            raise InvalidValue(refusal(rule, "drive.objective", repr(self.objective), "'ripple' or 'torque'"))
        positive("a least torque is a size", "drive.least_torque", self.least_torque, "N m", zero=True)
        positive("a current takes its time to rise", "drive.ramp", self.ramp, "rad", zero=True)

    def dwells(self, stroke: float, pitch: float) -> tuple[float, ...]:
        """The shortest and the longest dwell, as hot as steps, that a machine of this stroke and rotor pitch may get,
        rad."""
        return stroke - self.ramp / 3, pitch / 2 - self.ramp / 3

    def longest_flow(self, stroke: float, pitch: float) -> float:
        """The longest angle over which a phase of a machine of this stroke and rotor pitch may carry current, rad."""
        return pitch / 2 + self.ramp

    @property
    def form(self) -> str:
        """What such a current is called: ideal where it steps."""
        return _form(self.ramp)

    def __str__(self) -> str:
        most = "most braking torque" if self.generating else "most torque"
        made = "least ripple" if self.objective == "ripple" else most
        least = f" of at least {self.least_torque:.4g} N m" if self.least_torque else ""
        return f"the switching of {made}{least} for each{_ramps(self.ramp)}"


def _form(ramp: float) -> str:
    return "rectangular current" if ramp else "ideal rectangular current"


def _ramps(ramp: float) -> str:
    return f" with ramps of {round(math.degrees(ramp), 2):g} deg" if ramp else ""


def check_window(turn_on: float, turn_off: float) -> None:
    """Refuse angles of no turn, and a turn-off that does not follow its turn-on."""
    within("a turn-on angle lies within a turn", "turn_on", turn_on, -2 * math.pi, 2 * math.pi, "rad")
    within("a turn-off angle lies within a turn", "turn_off", turn_off, -2 * math.pi, 2 * math.pi, "rad")
    if not turn_off > turn_on:
        found, least = f"{math.degrees(turn_off):.6g} deg", f"above {math.degrees(turn_on):.6g} deg"
        raise InvalidValue(refusal("turn-off must follow turn-on", "turn_off", found, least))
