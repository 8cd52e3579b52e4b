"""How the phases are fed and switched, as a builder would say it.

All angles in rad, of the rotor, from the aligned angle of the phase's own poles, and counted in the direction
of turning: below 0 the rotor pole approaches, past 0 it leaves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal, spelled
from polefem.kinds import told
from polefem.params.checks import increasing, positive, within
from polefem.params.quantity import quantity
from polefem.params.rectangular import check_window

__all__ = [
    "AverageVoltage",
    "Bridge",
    "Chopping",
    "Control",
    "DriveSpec",
    "Load",
    "PhaseTracking",
    "SinglePulse",
    "Tracking",
]


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
        rule, values = "a profile has a current for each angle", _numbers(currents)
        if values.shape != places.shape:
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


@spelled
@dataclass(frozen=True, init=False)
class PhaseTracking:
    """A current profile for each phase, followed as `Tracking` follows one: where strokes differ.

    angles: rad, increasing, of each phase's own; currents: A, 0 or above, a row for each phase.
    """

    angles: tuple[float, ...] = field(metadata=quantity("deg"))
    currents: tuple[tuple[float, ...], ...] = field(metadata=quantity("A"))

    def __init__(self, angles: ArrayLike, currents: ArrayLike) -> None:
        rows = [Tracking(angles, row) for row in np.atleast_2d(_numbers(currents))]
        object.__setattr__(self, "angles", rows[0].angles)
        object.__setattr__(self, "currents", tuple(row.currents for row in rows))


def _numbers(currents: ArrayLike) -> NDArray[np.float64]:
    """Currents as an array, A; raises InvalidValue for what holds no numbers."""
    try:
        return np.asarray(currents, dtype=float)
    except (TypeError, ValueError) as problem:
        rule = "a profile is made of currents"
        raise InvalidValue(
            refusal(rule, "tracking.currents", told(currents), "a flat list of numbers")
        ) from problem


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
        check_window(self.turn_on, self.turn_off)

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
