"""The bridge with a shaft that is free to turn: run-up, stall, reversal, from any rest position.

Shaft and phases step together: the angle by its speed and acceleration at the beginning of the step, the
phases by the implicit rule of `bridge` to that angle, the speed by the mean of the torque before and after
(velocity Verlet: L. Verlet, Phys. Rev. 159, 1967; second order). A step ends early where a phase switches.
Dry friction holds the shaft at rest until the torque overcomes it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from polefem.drive.bridge import BEYOND, FULL, UNSETTLED, at_rest, unknown
from polefem.drive.cycle import Steps, balance, unsettled
from polefem.drive.drive_run import EnergyBalance
from polefem.drive.machine_map import of_machine
from polefem.drive.march import advance, columns, complete
from polefem.drive.potential import tables
from polefem.drive.wiring import circuit
from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap
from polefem.params.checks import positive, within
from polefem.params.drive_spec import DriveSpec, Load
from polefem.params.quantity import speed_text

__all__ = ["FreeShaftRun", "rest_torque", "run_free_shaft"]

Array = NDArray[np.float64]

_STEP = 1e-4
_STEPS_A_PITCH = 360
_BESIDE = 1e-9
_MOST_POINTS = 4096


@dataclass(frozen=True, eq=False, repr=False)
class FreeShaftRun:
    """What shaft and phases did.

    drive, load, inertia, direction: what was asked; kg m^2; 1 or -1. coupling: of the map, "joint" or "summed".
    time, angle, speed: ndarray, shape (n,), s, rad, rad/s, positive counter-clockwise.
    torque: ndarray, shape (n,), N m, of all phases. current, flux_linkage: ndarray, shape (n, phases), A, Wb.
    energy: the `EnergyBalance` of all phases over the run.
    """

    drive: DriveSpec
    load: Load
    inertia: float
    direction: int
    coupling: str
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
            else f"{speed_text(float(self.speed[-1]))}{', backwards' if self.backwards else ''}"
        )
        turns = (self.angle[-1] - self.angle[0]) / (2 * math.pi)
        return (
            f"FreeShaftRun({self.coupling}, {self.time[-1]:.4g} s: {speed_text(float(self.speed[0]))} to {end}, "
            f"{turns:.4g} turns, current up to {self.current.max():.4g} A)"
        )


def rest_torque(m: CoupledMap, drive: DriveSpec, current: float, angles: Array) -> Array:
    """Torque of a shaft held at rest, N m, at rotor angles (rad), shape (n,), with this current (A) in each phase that
    is on there; where supply and resistance let less through, that."""
    bridge = drive.bridge
    most = max(0.0, bridge.supply - 2 * bridge.switch_drop) / max(
        drive.resistance + bridge.source_resistance, 1e-12
    )
    own = np.mod(angles[:, None] - m.stroke * np.arange(m.phases) - drive.turn_on, m.pitch)
    torque: Array = m.torque(angles, np.where(own < drive.dwell, min(current, most), 0.0))
    return torque


def run_free_shaft(
    m: CoupledMap,
    drive: DriveSpec,
    load: Load,
    inertia: float,
    duration: float,
    *,
    angle: float = 0.0,
    speed: float = 0.0,
    direction: int = 1,
    until: float = math.inf,
    step: float = _STEP,
) -> FreeShaftRun:
    """Follow the shaft for `duration` seconds from an angle (rad) and a speed (rad/s, positive
    counter-clockwise), or until it has a speed (rad/s, above 0) in the direction asked for.

    inertia: of all that turns, kg m^2. direction: 1 or -1, the way the controller drives; the angles of
    `drive` count that way. A direction against `speed` brakes and then reverses the shaft. step: the longest,
    s; a step also turns no further than a 360th of a rotor pitch.

    Raises InvalidValue for values no shaft can have, and where a current leaves the map.
    """
    positive("all that turns has an inertia", "inertia", inertia, "kg m^2")
    positive("a run lasts", "duration", duration, "s")
    positive("a step lasts", "step", step, "s")
    within("an angle is finite", "angle", angle, -math.inf, math.inf, "rad")
    within("a speed is finite", "speed", speed, -math.inf, math.inf, "rad/s")
    if not until > 0.0:
        raise InvalidValue(refusal("a run ends at a speed", "until", f"{until} rad/s", "above 0 rad/s"))
    if direction not in (1, -1):
        raise InvalidValue(refusal("a drive turns one way or the other", "direction", direction, "1 or -1"))
    if drive.dwell > of_machine(m).pitch * (1 + 1e-9):
        found, most = f"{np.degrees(drive.dwell):.6g} deg", f"up to {np.degrees(m.pitch):.6g} deg"
        raise InvalidValue(refusal("a phase is on for no more than a rotor pitch", "dwell", found, most))
    shaft = _Shaft(m, drive, load, inertia, direction, direction * angle, direction * speed)
    while shaft.time < duration * (1 - 1e-12) and shaft.speed < until:
        shaft.advance(min(step, duration - shaft.time))
    return shaft.result()


class _Shaft:
    """Shaft and phases at a point in time; angle and speed count in the direction asked for."""

    def __init__(
        self,
        m: CoupledMap,
        drive: DriveSpec,
        load: Load,
        inertia: float,
        direction: int,
        angle: float,
        speed: float,
    ) -> None:
        self.m, self.drive, self.load, self.inertia, self.direction = m, drive, load, inertia, direction
        self.time, self.angle, self.speed, self.torque, self.coenergy = 0.0, angle, speed, 0.0, 0.0
        self.tables, self.circuit = tables(m), circuit(m, drive, float(direction))
        self.phases, self.on = at_rest(self.tables), np.zeros(m.phases, dtype=bool)
        self.pitch, self.shifts = m.pitch, direction * m.stroke * np.arange(m.phases)
        self.edges = np.array([[drive.turn_on], [drive.turn_off]]) + self.shifts
        self.point = unknown(m.phases)
        self.log = np.empty((_MOST_POINTS, columns(m.phases)))
        self.logs: list[Array] = []
        self.rows = [self._row()]

    def _own(self, angle: float) -> Array:
        """Angles of all phases within a pitch from turn-on, shape (phases,)."""
        on = self.drive.turn_on
        own: Array = on + np.mod(angle - self.shifts - on, self.pitch)
        return own

    def advance(self, time: float) -> None:
        """Take one step of at most `time` seconds."""
        push = self._push()
        if self.speed:
            time = min(time, self.pitch / _STEPS_A_PITCH / abs(self.speed))
        way = math.copysign(1.0, self.speed or push) if self.speed or push else 0.0
        turn = self.speed * time + push * time**2 / 2
        nearest = self._to_next(way) if way else math.inf
        if turn * way > nearest:
            time = _time_to(nearest, abs(self.speed), push * way)
            turn = way * nearest
        before = self.torque
        work = self._turn_phases(turn, time, way)
        mean = work / turn if abs(turn) > _BESIDE else (before + self.torque) / 2
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

    def _to_next(self, way: float) -> float:
        """Angle to the next switching of a phase in the way of turning."""
        ahead = np.mod((self.edges - self.angle) * way, self.pitch)
        return float(np.where(ahead > _BESIDE, ahead, self.pitch).min())

    def _turn_phases(self, turn: float, time: float, way: float) -> float:
        """Take all phases through a step; return the work done on the shaft, J."""
        on = self._own(self.angle + way * 2 * _BESIDE) < self.drive.turn_off
        self.phases.rising[on & ~self.on] = True  # a comparator lets the current rise at turn-on
        self.on = on
        begun, end = self.phases.current.copy(), self.angle + turn
        status, count = advance(
            self.tables, self.circuit, self.phases, on, self.angle, end, time, self.point, self.log
        )
        if status == BEYOND:
            last, rule = float(self.m.currents[-1]), "a map says nothing beyond its last current"
            where = f"above {last:.6g} A at {math.degrees(self.direction * self.angle):.4g} deg"
            raise InvalidValue(refusal(rule, "current", where, f"up to {last:.6g} A"))
        if status == UNSETTLED:
            raise InvalidValue(unsettled(self.direction * self.angle))
        if status == FULL:
            rule = f"a step must hold no more than {_MOST_POINTS} points"
            raise InvalidValue(refusal(rule, "step", f"{time:.4g} s", "a shorter one"))
        done = self.log[:count].copy()
        complete(self.tables, self.circuit, self.angle, begun, done)
        self.logs.append(done)
        self.torque = self.direction * float(done[-1, 2])
        before, self.coenergy = self.coenergy, float(done[-1, 3])
        return (self.coenergy - before + float(done[:, 4].sum())) / 2

    def _opposing(self, speed: float) -> float:
        return self.direction * self.load.opposing(self.direction * speed)

    def _row(self) -> tuple[float, ...]:
        way = self.direction
        shaft = (self.time, way * self.angle, way * self.speed, way * self.torque)
        return (*shaft, *self.phases.current.tolist(), *self.phases.flux.tolist())

    def result(self) -> FreeShaftRun:
        """What happened, as arrays."""
        rows, q = np.array(self.rows), self.m.phases
        current, flux = rows[:, 4 : 4 + q], rows[:, 4 + q :]
        coenergy = self.m.coenergy(rows[-1, 1], np.minimum(current[-1], self.m.currents[-1]))
        steps = Steps.of(np.concatenate(self.logs), q, float(self.direction), 0.0)
        return FreeShaftRun(
            self.drive,
            self.load,
            self.inertia,
            self.direction,
            self.m.coupling,
            time=rows[:, 0],
            angle=rows[:, 1],
            speed=rows[:, 2],
            torque=rows[:, 3],
            current=current,
            flux_linkage=flux,
            energy=balance(self.drive, current[0], steps, float(flux[-1] @ current[-1] - coenergy)),
        )


def _time_to(distance: float, speed: float, push: float) -> float:
    """Time in which speed and acceleration, both in the way of turning, cover a distance."""
    return 2 * distance / (speed + math.sqrt(speed**2 + 2 * push * distance))
