"""How the phases are fed and switched, as a builder would say it.

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
from polefem.params.checks import increasing, positive, within
from polefem.params.quantity import quantity

__all__ = [
    "AverageVoltage",
    "Bridge",
    "Chopping",
    "Control",
    "DriveSpec",
    "Load",
    "PhaseTracking",
    "RectangularCurrent",
    "SinglePulse",
    "SuitedSwitching",
    "Tracking",
]


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
        _check_window(self.turn_on, self.turn_off)
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


@spelled
@dataclass(frozen=True)
class Bridge:
    """An asymmetric half bridge for each phase: two switches and two diodes, all phases on one supply.

    Both switches on magnetise the phase; one switch and one diode let it freewheel; both diodes demagnetise
    it into the supply. supply: voltage at rest, V. switch_drop, diode_drop: of each device that conducts, V.
    source_resistance: between the supply and the bridge, ohm.

    A bridge's capacitors and a phase's field stay charged after switching off, an open phase draws an arc, and
    rectified mains kills: build and work on one only as local codes and licensed practice have it.
    """

    supply: float = field(metadata=quantity("V"))
    switch_drop: float = field(default=0.0, metadata=quantity("V"))
    diode_drop: float = field(default=0.0, metadata=quantity("V"))
    source_resistance: float = field(default=0.0, metadata=quantity("ohm"))

    def __post_init__(self) -> None:
        positive("a bridge needs a supply", "bridge.supply", self.supply, "V")
        positive("a drop cannot drive", "bridge.switch_drop", self.switch_drop, "V", zero=True)
        positive("a drop cannot drive", "bridge.diode_drop", self.diode_drop, "V", zero=True)
        rule = "a source cannot have less than no resistance"
        positive(rule, "bridge.source_resistance", self.source_resistance, "ohm", zero=True)
        if 2 * self.switch_drop >= self.supply:
            found, most = f"{self.switch_drop:.6g} V", f"below half the supply of {self.supply:.6g} V"
            raise InvalidValue(
                refusal("the supply must overcome two switches", "bridge.switch_drop", found, most)
            )


@spelled
@dataclass(frozen=True)
class SinglePulse:
    """Both switches stay on from turn-on to turn-off."""


@spelled
@dataclass(frozen=True)
class Chopping:
    """Hysteresis: switch off at `level` + `band` / 2, on again at `level` - `band` / 2 (A).

    Soft chopping opens one switch and lets the phase freewheel; `hard` opens both.
    """

    level: float = field(metadata=quantity("A"))
    band: float = field(metadata=quantity("A"))
    hard: bool = False

    def __post_init__(self) -> None:
        positive("a current level must be positive", "chopping.level", self.level, "A")
        within("a band lies about its level", "chopping.band", self.band, 0.0, 2 * self.level, "A")

    @property
    def upper(self) -> float:
        """Current at which the phase is switched off, A."""
        return self.level + self.band / 2

    @property
    def lower(self) -> float:
        """Current at which the phase is switched on again, A."""
        return self.level - self.band / 2


@spelled
@dataclass(frozen=True)
class AverageVoltage:
    """Pulse width modulation at a frequency far above the phase's own, as its mean over a period.

    duty: share of the period in which both switches are on, above 0 to 1. For the rest the phase freewheels,
    or is demagnetised where `hard`.
    """

    duty: float = field(metadata=quantity("%"))
    hard: bool = False

    def __post_init__(self) -> None:
        positive("a duty is a share of the period", "average_voltage.duty", self.duty)
        if self.duty > 1.0:
            found = f"{self.duty:.6g}"
            raise InvalidValue(
                refusal("a duty is a share of the period", "average_voltage.duty", found, "up to 1")
            )


@spelled
@dataclass(frozen=True, init=False)
class Tracking:
    """A current profile, followed as closely as the supply allows: the limit of fast modulation.

    angles: rad, increasing; currents: A, 0 or above; straight lines between them, the end values beyond them.
    """

    angles: tuple[float, ...] = field(metadata=quantity("deg"))
    currents: tuple[float, ...] = field(metadata=quantity("A"))

    def __init__(self, angles: ArrayLike, currents: ArrayLike) -> None:
        places = increasing("the angles of a profile must increase", "tracking.angles", angles, "rad")
        values = np.asarray(currents, dtype=float)
        if values.shape != places.shape:
            rule = "a profile has a current for each angle"
            found, wanted = f"{values.size} of them", f"{places.size} of them"
            raise InvalidValue(refusal(rule, "tracking.currents", found, wanted))
        if not (np.isfinite(values).all() and (values >= 0.0).all() and values.max() > 0.0):
            rule = "the current of a half bridge flows one way"
            raise InvalidValue(
                refusal(rule, "tracking.currents", f"{values.min():.6g} A somewhere", "0 A or more")
            )
        object.__setattr__(self, "angles", tuple(places.tolist()))
        object.__setattr__(self, "currents", tuple(values.tolist()))

    @classmethod
    def level(cls, current: float) -> Tracking:
        """One constant current, from turn-on to turn-off."""
        return cls([0.0], [current])

    def scaled(self, peak: float) -> Tracking:
        """The same form with another peak, A."""
        return Tracking(self.angles, np.array(self.currents) * (peak / max(self.currents)))


@dataclass(frozen=True, init=False)
class PhaseTracking:
    """A current profile for each phase, followed as `Tracking` follows one: where strokes differ.

    angles: rad, increasing, of each phase's own; currents: A, 0 or above, a row for each phase.
    """

    angles: tuple[float, ...] = field(metadata=quantity("deg"))
    currents: tuple[tuple[float, ...], ...] = field(metadata=quantity("A"))

    def __init__(self, angles: ArrayLike, currents: ArrayLike) -> None:
        rows = [Tracking(angles, row) for row in np.atleast_2d(np.asarray(currents, dtype=float))]
        object.__setattr__(self, "angles", rows[0].angles)
        object.__setattr__(self, "currents", tuple(row.currents for row in rows))


Control = SinglePulse | Chopping | AverageVoltage | Tracking | PhaseTracking


@spelled
@dataclass(frozen=True)
class DriveSpec:
    """A bridge, the resistance of one phase (ohm) and how each phase is switched.

    turn_on, turn_off: rad; between them `control` has the phase, after them it is demagnetised until no
    current flows. Raises InvalidValue where turn-off does not follow turn-on.
    """

    bridge: Bridge
    resistance: float = field(metadata=quantity("ohm"))
    turn_on: float = field(metadata=quantity("deg"))
    turn_off: float = field(metadata=quantity("deg"))
    control: Control = field(default_factory=SinglePulse)

    def __post_init__(self) -> None:
        positive("a phase must have a resistance", "resistance", self.resistance, "ohm", zero=True)
        _check_window(self.turn_on, self.turn_off)

    @property
    def dwell(self) -> float:
        """Angle from turn-on to turn-off, rad."""
        return self.turn_off - self.turn_on


@spelled
@dataclass(frozen=True)
class Load:
    """What the shaft has to overcome: constant + sign(speed) * friction + drag * speed + fan * speed *
    |speed|.

    constant: against the positive direction, N m, whatever the speed (a hanging weight). friction: N m, dry;
    it also holds the shaft at rest. drag: N m s. fan: N m s^2.
    """

    constant: float = field(default=0.0, metadata=quantity("N m"))
    friction: float = field(default=0.0, metadata=quantity("N m"))
    drag: float = field(default=0.0, metadata=quantity("N m s"))
    fan: float = field(default=0.0, metadata=quantity("N m s²"))

    def __post_init__(self) -> None:
        within("a load is a finite torque", "load.constant", self.constant, -math.inf, math.inf, "N m")
        for name in ("friction", "drag", "fan"):
            positive("a loss cannot drive the shaft", f"load.{name}", getattr(self, name), zero=True)

    def opposing(self, speed: float) -> float:
        """Torque against the positive direction at a speed, N m; at rest without the friction."""
        dry = math.copysign(self.friction, speed) if speed else 0.0
        return self.constant + dry + speed * (self.drag + self.fan * abs(speed))


def _form(ramp: float) -> str:
    return "rectangular current" if ramp else "ideal rectangular current"


def _ramps(ramp: float) -> str:
    return f" with ramps of {round(math.degrees(ramp), 2):g} deg" if ramp else ""


def _check_window(turn_on: float, turn_off: float) -> None:
    within("a turn-on angle lies within a turn", "turn_on", turn_on, -2 * math.pi, 2 * math.pi, "rad")
    within("a turn-off angle lies within a turn", "turn_off", turn_off, -2 * math.pi, 2 * math.pi, "rad")
    if not turn_off > turn_on:
        found, least = f"{math.degrees(turn_off):.6g} deg", f"above {math.degrees(turn_on):.6g} deg"
        raise InvalidValue(refusal("turn-off must follow turn-on", "turn_off", found, least))
