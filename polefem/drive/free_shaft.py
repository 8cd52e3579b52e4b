"""The bridge with a shaft that is free to turn: run-up, stall, reversal, from any rest position.

Shaft and phases step together: the angle by its speed and acceleration at the beginning of the step, the
phases by the implicit rule of `switching` to that angle, the speed by the mean of the torque before and after
(velocity Verlet: L. Verlet, Phys. Rev. 159, 1967; second order). A step ends early where a phase switches.
Dry friction holds the shaft at rest until the torque overcomes it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from polefem.drive.drive_run import EnergyBalance
from polefem.drive.switching import BridgeState, Follower, Phase, control_of, demagnetise
from polefem.errors import InvalidValue, refusal
from polefem.maps import FluxMap
from polefem.params.checks import positive, within
from polefem.params.drive_spec import DriveSpec, Load

__all__ = ["FreeShaftRun", "run_free_shaft"]

Array = NDArray[np.float64]

_STEP = 1e-4
_STEPS_A_PITCH = 360
_BESIDE = 1e-9


@dataclass(frozen=True, eq=False, repr=False)
class FreeShaftRun:
    """What shaft and phases did.

    drive, load, inertia, direction: what was asked; kg m^2; 1 or -1.
    time, angle, speed: ndarray, shape (n,), s, rad, rad/s, positive counter-clockwise.
    torque: ndarray, shape (n,), N m, of all phases. current, flux_linkage: ndarray, shape (n, phases), A, Wb.
    energy: the `EnergyBalance` of all phases over the run.
    """

    drive: DriveSpec
    load: Load
    inertia: float
    direction: int
    time: Array
    angle: Array
    speed: Array
    torque: Array
    current: Array
    flux_linkage: Array
    energy: EnergyBalance

    def __post_init__(self) -> None:
        for item in fields(self):
            if isinstance(value := getattr(self, item.name), np.ndarray):
                value.flags.writeable = False

    @property
    def stalled(self) -> bool:
        """Whether the shaft stood still at the end."""
        return bool(self.speed[-1] == 0.0)

    @property
    def backwards(self) -> bool:
        """Whether the shaft turned against the direction asked for, at the end."""
        return bool(self.direction * self.speed[-1] < 0.0)

    def __repr__(self) -> str:
        end = (
            "stalled"
            if self.stalled
            else f"{self.speed[-1]:.4g} rad/s{', backwards' if self.backwards else ''}"
        )
        turns = (self.angle[-1] - self.angle[0]) / (2 * math.pi)
        return (
            f"FreeShaftRun({self.time[-1]:.4g} s: {self.speed[0]:.4g} rad/s to {end}, {turns:.4g} turns, "
            f"current up to {self.current.max():.4g} A)"
        )


def run_free_shaft(
    m: FluxMap,
    drive: DriveSpec,
    load: Load,
    inertia: float,
    duration: float,
    *,
    angle: float = 0.0,
    speed: float = 0.0,
    direction: int = 1,
    step: float = _STEP,
) -> FreeShaftRun:
    """Follow the shaft for `duration` seconds from an angle (rad) and a speed (rad/s, positive
    counter-clockwise).

    inertia: of all that turns, kg m^2. direction: 1 or -1, the way the controller drives; the angles of
    `drive` count that way. A direction against `speed` brakes and then reverses the shaft. step: the longest,
    s; a step also turns no further than a 360th of a rotor pitch. The sag of a source with resistance follows
    the current of the step before.

    Raises InvalidValue for values no shaft can have, and where a current leaves the map.
    """
    positive("all that turns has an inertia", "inertia", inertia, "kg m^2")
    positive("a run lasts", "duration", duration, "s")
    positive("a step lasts", "step", step, "s")
    within("an angle is finite", "angle", angle, -math.inf, math.inf, "rad")
    within("a speed is finite", "speed", speed, -math.inf, math.inf, "rad/s")
    if direction not in (1, -1):
        raise InvalidValue(refusal("a drive turns one way or the other", "direction", direction, "1 or -1"))
    if drive.dwell > m.pitch * (1 + 1e-9):
        found, most = f"{np.degrees(drive.dwell):.6g} deg", f"up to {np.degrees(m.pitch):.6g} deg"
        raise InvalidValue(refusal("a phase is on for no more than a rotor pitch", "dwell", found, most))
    shaft = _Shaft(m, drive, load, inertia, direction, direction * angle, direction * speed)
    while shaft.time < duration * (1 - 1e-12):
        shaft.advance(min(step, duration - shaft.time))
    return shaft.result()


class _Shaft:
    """Shaft and phases at a point in time; angle and speed count in the direction asked for."""

    def __init__(
        self,
        m: FluxMap,
        drive: DriveSpec,
        load: Load,
        inertia: float,
        direction: int,
        angle: float,
        speed: float,
    ) -> None:
        self.m, self.drive, self.load, self.inertia, self.direction = m, drive, load, inertia, direction
        self.time, self.angle, self.speed, self.torque = 0.0, angle, speed, 0.0
        self.phases = [Phase(m.pointwise, drive, direction) for _ in range(m.phases)]
        self.followers: list[Follower] = [control_of(drive.bridge, drive.control) for _ in self.phases]
        self.off = demagnetise(drive.bridge)
        for number, phase in enumerate(self.phases):
            phase.angle = self._own(angle - direction * number * m.stroke)
            phase.log = []
        self.drawn = [0.0] * m.phases
        self.spent = dict.fromkeys((item.name for item in fields(EnergyBalance)), 0.0)
        self.rows = [self._row()]

    def _own(self, angle: float) -> float:
        """An angle of a phase brought to within a pitch from turn-on."""
        on = self.drive.turn_on
        own = on + (angle - on) % self.m.pitch
        return own - self.m.pitch if on + self.m.pitch - own < _BESIDE else own

    def advance(self, time: float) -> None:
        """Take one step of at most `time` seconds."""
        push = self._push()
        if self.speed:
            time = min(time, self.m.pitch / _STEPS_A_PITCH / abs(self.speed))
        way = math.copysign(1.0, self.speed or push) if self.speed or push else 0.0
        turn = self.speed * time + push * time**2 / 2
        nearest = min(self._to_next(phase.angle, way) for phase in self.phases) if way else math.inf
        if turn * way > nearest:
            time = _time_to(nearest, abs(self.speed), push * way)
            turn = way * nearest
        before = self.torque
        work = self._turn_phases(turn, time, way)
        self.torque = self._summed()
        mean = work / turn if abs(turn) > _BESIDE else (before + self.torque) / 2
        self.spent["mechanical"] += mean * turn
        if way:
            after = self.speed + (mean - self._opposing(self.speed + push * time / 2)) * time / self.inertia
            # Friction turns round with the speed: a shaft that comes to rest is held there for a moment.
            self.speed = 0.0 if self.load.friction and after * self.speed < 0.0 else after
        self.angle += turn
        self.time += time
        self.rows.append(self._row())

    def _push(self) -> float:
        """Acceleration now; none where friction holds the shaft."""
        net = self.torque - self._opposing(self.speed)
        if self.speed == 0.0:
            net = math.copysign(max(0.0, abs(net) - self.load.friction), net)
        return net / self.inertia

    def _to_next(self, own: float, way: float) -> float:
        """Angle to the next switching of a phase in the way of turning."""
        on, off, pitch = self.drive.turn_on, self.drive.turn_off, self.m.pitch
        ahead = [(edge - own) * way % pitch for edge in (on, off)]
        return min(distance if distance > _BESIDE else pitch for distance in ahead)

    def _turn_phases(self, turn: float, time: float, way: float) -> float:
        """Take every phase through a step; return the work done on the shaft, J."""
        every, work = sum(self.drawn), 0.0
        for number, phase in enumerate(self.phases):
            others, start, begin = every - self.drawn[number], phase.angle, phase.current
            phase.log = []
            if self._own(start + way * 2 * _BESIDE) < self.drive.turn_off:
                self.followers[number].follow(phase, start + turn, time, others)
            else:
                phase.go(start + turn, time, self.off, others)
            if begin or phase.current:
                work += (phase.work(start, begin) + phase.work(start, phase.current)) / 2
            phase.angle = self._own(phase.angle)
            charge = 0.0
            for _, _, end, lasting, state in phase.log:
                charge += self._account(begin, end, lasting, state, others)
                begin = end
            self.drawn[number] = charge / time
        return work

    def _account(self, begin: float, end: float, time: float, state: BridgeState, others: float) -> float:
        """Book a step of one phase by the rule it was made with; return the charge it drew from the
        source."""
        bridge, spent, mean = self.drive.bridge, self.spent, (begin + end) / 2
        sag = bridge.source_resistance * (state.square * mean + state.sign * others)
        given = (state.sign * bridge.supply - state.drop - sag) * mean * time
        spent["source"] += state.sign * bridge.supply * mean * time
        spent["source_loss"] += sag * mean * time
        spent["device_loss"] += state.drop * mean * time
        spent["copper"] += self.drive.resistance * (begin**2 + begin * end + end**2) / 3 * time
        spent["lent"] += max(0.0, given)
        return state.sign * mean * time

    def _summed(self) -> float:
        return sum(phase.torque() for phase in self.phases if phase.current)

    def _opposing(self, speed: float) -> float:
        return self.direction * self.load.opposing(self.direction * speed)

    def _row(self) -> tuple[float, ...]:
        shaft = (
            self.time,
            self.direction * self.angle,
            self.direction * self.speed,
            self.direction * self.torque,
        )
        return (*shaft, *(p.current for p in self.phases), *(p.flux for p in self.phases))

    def result(self) -> FreeShaftRun:
        """What happened, as arrays."""
        rows, q = np.array(self.rows), self.m.phases
        current, flux = rows[:, 4 : 4 + q], rows[:, 4 + q :]
        own = rows[-1, 1] - np.arange(q) * self.m.stroke
        self.spent["stored"] = float((flux[-1] * current[-1] - self.m.at(own, current[-1])[2]).sum())
        return FreeShaftRun(
            self.drive,
            self.load,
            self.inertia,
            self.direction,
            time=rows[:, 0],
            angle=rows[:, 1],
            speed=rows[:, 2],
            torque=rows[:, 3],
            current=current,
            flux_linkage=flux,
            energy=EnergyBalance(**self.spent),
        )


def _time_to(distance: float, speed: float, push: float) -> float:
    """Time in which speed and acceleration, both in the way of turning, cover a distance."""
    return 2 * distance / (speed + math.sqrt(speed**2 + 2 * push * distance))
