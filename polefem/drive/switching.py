"""What a half bridge does to its phase: states of its switches, steps of flux linkage, and the controls that
choose.

A state is what the bridge connects the phase to: `sign` times the supply less `drop` volts of devices. A mean
of states, as of modulation, is a state too: its sign is the mean sign, and `square` the mean of the sign's
square, which is the share of time in which the source resistance carries the phase's own current.

A step is the implicit trapezoidal rule on d(flux linkage)/dt = v - R i. It is stable for any step, also one
long against inductance over resistance, keeps electrical energy in step with i d(flux linkage), and asks the
map for one inversion. Diodes and comparators act inside a step, where the current crosses zero or an edge of
the band.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from typing import NamedTuple, Protocol

from polefem.maps.pointwise import Pointwise
from polefem.params.drive_spec import (
    AverageVoltage,
    Bridge,
    Chopping,
    Control,
    DriveSpec,
    SinglePulse,
    Tracking,
)

__all__ = ["IDLE", "BridgeState", "Follower", "Phase", "control_of", "demagnetise", "freewheel", "magnetise"]

_LEAST_SHARE = 1e-9
_SECANTS, _ON_EDGE = 4, 1e-7
_PARTS = 36
_STRIDES = 128  # of the aligned flux linkage at the map's last current, so that a knee is seen at any speed


class BridgeState(NamedTuple):
    """Switches of one phase: mean sign of the supply, mean of its square, and device drops, V."""

    sign: float
    square: float
    drop: float


IDLE = BridgeState(0.0, 0.0, 0.0)
"""No current, no voltage."""


def magnetise(bridge: Bridge) -> BridgeState:
    """Both switches on."""
    return BridgeState(1.0, 1.0, 2 * bridge.switch_drop)


def freewheel(bridge: Bridge) -> BridgeState:
    """One switch and one diode carry the current."""
    return BridgeState(0.0, 0.0, bridge.switch_drop + bridge.diode_drop)


def demagnetise(bridge: Bridge) -> BridgeState:
    """Both diodes carry the current into the supply."""
    return BridgeState(-1.0, 1.0, 2 * bridge.diode_drop)


def _mean(on: BridgeState, off: BridgeState, duty: float) -> BridgeState:
    return BridgeState(*(duty * a + (1 - duty) * b for a, b in zip(on, off, strict=True)))


class Phase:
    """One phase on its bridge at a point in time; `log` takes every point and the state that led there.

    direction: -1 where the rotor turns the other way, so that angles of the map run backwards.
    """

    def __init__(self, point: Pointwise, drive: DriveSpec, direction: float = 1.0) -> None:
        self.point, self.bridge, self.resistance = point, drive.bridge, drive.resistance
        self.direction = direction
        self.flux = self.current = self.angle = 0.0
        self.log: list[tuple[float, float, float, float, BridgeState]] | None = None
        self._cell = 0
        self.stride = point.flux_scale / _STRIDES

    def attempt(
        self, angle: float, time: float, state: BridgeState, others: float
    ) -> tuple[float, float, float]:
        """Flux linkage and current at `angle`, `time` seconds on, and the share of that time current flowed.

        others: current that the other phases draw from the source, A. The share is below 1 where the diodes
        ended the current; the flux linkage is then zero.
        """
        bridge = self.bridge
        ohms = self.resistance + bridge.source_resistance * state.square
        ease = 0.5 * ohms * time
        rise = time * (state.sign * (bridge.supply - bridge.source_resistance * others) - state.drop)
        total = self.flux + rise - ease * self.current
        if total <= 0.0:
            return 0.0, 0.0, self.flux / (self.flux - total)
        current, self._cell = self.point.current(self.direction * angle, total, ease, self._cell)
        return total - ease * current, current, 1.0

    def settle(self, angle: float, time: float, state: BridgeState, flux: float, current: float) -> None:
        """Make a point the present one."""
        if self.log is not None:
            self.log.append((angle, flux, current, time, state))
        self.angle, self.flux, self.current = angle, flux, current

    def longest(self, state: BridgeState) -> float:
        """Time for which one step under a state is straight enough, s.

        It moves the flux linkage by a stride at most, and where the resistance eats a current, by a part of
        it.
        """
        ohms = self.resistance + self.bridge.source_resistance * state.square
        ohmic = ohms * self.current
        net = abs(state.sign * self.bridge.supply - state.drop - ohmic)
        eaten = min(ohmic, net) * _PARTS
        time = self.stride / net if net else math.inf
        return min(time, max(self.flux, self.stride / 4) / eaten) if eaten else time

    def go(self, angle: float, time: float, state: BridgeState, others: float) -> None:
        """Take a step, in parts where it is long; where the current ends within it, stop there and idle for
        the rest."""
        if self.flux == 0.0 and state.sign <= 0.0:
            self.settle(angle, time, IDLE, 0.0, 0.0)
            return
        start, parts = self.angle, max(1, math.ceil(time / self.longest(state)))
        for n in range(1, parts + 1):
            here = angle if n == parts else start + (angle - start) * n / parts
            self._part(here, time / parts, state, others)
            if self.flux == 0.0:
                break
        if self.angle != angle:  # the current ended on the way
            self.settle(angle, time * (angle - self.angle) / (angle - start), IDLE, 0.0, 0.0)

    def _part(self, angle: float, time: float, state: BridgeState, others: float) -> None:
        flux, current, share = self.attempt(angle, time, state, others)
        if share < 1.0 - _LEAST_SHARE:
            angle, time = self.angle + share * (angle - self.angle), share * time
        self.settle(angle, time, state, flux, current)

    def torque(self) -> float:
        """Torque now, N m, in the direction of turning."""
        return self.direction * self.point.torque(self.direction * self.angle, self.current)

    def work(self, start: float, current: float) -> float:
        """Work on the shaft from the angle `start` to the present one at a constant current, J."""
        coenergy, way = self.point.coenergy, self.direction
        return coenergy(way * self.angle, current) - coenergy(way * start, current)


class Follower(Protocol):
    """Has a phase between turn-on and turn-off."""

    def follow(self, phase: Phase, angle: float, time: float, others: float) -> None:
        """Take the phase to `angle`, `time` seconds on."""
        ...


class _Fixed:
    """One state throughout."""

    def __init__(self, state: BridgeState) -> None:
        self._state = state

    def follow(self, phase: Phase, angle: float, time: float, others: float) -> None:
        phase.go(angle, time, self._state, others)


class _Hysteresis:
    """On below the band, off above it; the crossing is found within the step."""

    def __init__(self, bridge: Bridge, control: Chopping) -> None:
        self._on, self._off = magnetise(bridge), demagnetise(bridge) if control.hard else freewheel(bridge)
        self._lower, self._upper = control.lower, control.upper
        self._rising = True

    def follow(self, phase: Phase, angle: float, time: float, others: float) -> None:
        while time > 0.0:
            if phase.current >= self._upper:
                self._rising = False
            elif phase.current <= self._lower:
                self._rising = True
            state, edge = (self._on, self._upper) if self._rising else (self._off, self._lower)
            start, part = phase.angle, min(1.0, phase.longest(state) / time)
            here, taken = start + part * (angle - start), part * time
            flux, current, share = phase.attempt(here, taken, state, others)
            if current > edge if self._rising else current < edge:
                share, flux, current = _crossing(phase, here, taken, state, others, edge, share, current)
                here, taken = start + share * (here - start), share * taken
                self._rising, part = not self._rising, 0.0
            elif share < 1.0:
                phase.go(angle, time, state, others)
                return
            phase.settle(here, taken, state, flux, current)
            if part == 1.0:
                return
            time -= taken


def _crossing(
    phase: Phase,
    angle: float,
    time: float,
    state: BridgeState,
    others: float,
    edge: float,
    end: float,
    current: float,
) -> tuple[float, float, float]:
    """Share of a step at which the current crosses `edge`, and flux linkage and current there.

    By secants on a nearly straight current, the first from the beginning of the step to the share `end`,
    where the current is `current`: the end of the step, or where the diodes ended the current.
    """
    start = phase.angle
    low, at_low, high, at_high = 0.0, phase.current, end, current
    for _ in range(_SECANTS):
        share = min(1.0, max(_LEAST_SHARE, low + (edge - at_low) * (high - low) / (at_high - at_low)))
        flux, found, flowed = phase.attempt(start + share * (angle - start), share * time, state, others)
        share *= flowed
        if abs(found - edge) <= _ON_EDGE * edge or found == at_low:
            break
        high, at_high, low, at_low = low, at_low, share, found
    return share, flux, found


class _Profile:
    """The voltage that brings the current to the profile at the end of the step, within what the bridge
    has."""

    def __init__(self, bridge: Bridge, control: Tracking) -> None:
        self._on, self._free, self._off = magnetise(bridge), freewheel(bridge), demagnetise(bridge)
        self._angles, self._currents = control.angles, control.currents

    def wanted(self, angle: float) -> float:
        """Current of the profile, A."""
        k = bisect_right(self._angles, angle)
        if k == 0 or k == len(self._angles):
            return self._currents[min(k, len(self._angles) - 1)]
        low, high = self._angles[k - 1], self._angles[k]
        share = (angle - low) / (high - low)
        return (1 - share) * self._currents[k - 1] + share * self._currents[k]

    def follow(self, phase: Phase, angle: float, time: float, others: float) -> None:
        target = self.wanted(angle)
        if target == 0.0 and phase.flux == 0.0:
            phase.settle(angle, time, IDLE, 0.0, 0.0)
            return
        flux = phase.point.flux_linkage(phase.direction * angle, target)
        while (
            abs(flux - phase.flux) > phase.stride
        ):  # far away: all the voltage there is, for a part of the step
            state = self._on if flux > phase.flux else self._off
            part = phase.longest(state) / time
            if part >= 1.0:
                break
            phase.go(phase.angle + part * (angle - phase.angle), part * time, state, others)
            time -= part * time
        self._arrive(phase, angle, time, others, flux, target)

    def _arrive(
        self, phase: Phase, angle: float, time: float, others: float, flux: float, target: float
    ) -> None:
        mean = 0.5 * (phase.current + target)
        volts = (flux - phase.flux) / time + phase.resistance * mean
        on, free, off = (
            self._volts(phase, state, mean, others) for state in (self._on, self._free, self._off)
        )
        if volts >= on:
            phase.go(angle, time, self._on, others)
        elif volts <= off:
            phase.go(angle, time, self._off, others)
        elif volts >= free:
            phase.settle(angle, time, _mean(self._on, self._free, (volts - free) / (on - free)), flux, target)
        else:
            phase.settle(
                angle, time, _mean(self._free, self._off, (volts - off) / (free - off)), flux, target
            )

    @staticmethod
    def _volts(phase: Phase, state: BridgeState, current: float, others: float) -> float:
        bridge = phase.bridge
        source = bridge.source_resistance
        return state.sign * (bridge.supply - source * others) - source * state.square * current - state.drop


def control_of(bridge: Bridge, control: Control) -> Follower:
    """What has the phase between turn-on and turn-off; a new one for each cycle, since a comparator
    remembers."""
    match control:
        case SinglePulse():
            return _Fixed(magnetise(bridge))
        case AverageVoltage():
            rest = demagnetise(bridge) if control.hard else freewheel(bridge)
            return _Fixed(_mean(magnetise(bridge), rest, control.duty))
        case Chopping():
            return _Hysteresis(bridge, control)
        case Tracking():
            return _Profile(bridge, control)
