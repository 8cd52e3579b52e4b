"""One electrical cycle at constant speed, and the flux linkage at turn-on with which it repeats.

A phase that ends its current before its next turn-on starts each cycle from nothing, and the first cycle is
the steady state. Otherwise the flux linkage at turn-on is a fixed point of the cycle, found by iteration with
Aitken's extrapolation (Steffensen's method): the map over a cycle is nearly straight, and contracts only as
fast as the resistance lets it. Phases meet in the source resistance: what the others draw is this phase's own
draw, shifted by strokes, repeated until it stays, with coarse steps first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.drive.switching import IDLE, BridgeState, Phase, control_of, demagnetise
from polefem.errors import InvalidValue, refusal
from polefem.maps import FluxMap
from polefem.params.drive_spec import Chopping, DriveSpec

__all__ = ["Cycle", "even_steps", "steady_cycle", "summed_torque", "uncoupled_cycle"]

Array = NDArray[np.float64]

TOLERANCE = 1e-7
"""Flux linkage at turn-on may differ by this share of its peak after a cycle."""

_ITERATIONS = 40
_MEETINGS, _LAST_MEETINGS = 8, 3  # a comparator never quite repeats
_COARSER = 4
_STEPS_A_PULSE = 16
_MOST_POINTS = 40_000
_AGREED = 1e-4


@dataclass(frozen=True, eq=False)
class Cycle:
    """What one phase did over one rotor pitch from turn-on.

    angles, flux_linkage, current: ndarray, shape (n + 1,), rad, Wb, A, at points that are close where the
    bridge switches. times: ndarray, shape (n,), s, between them. states: ndarray, shape (n, 3): the `BridgeState`
    between them. others: ndarray, shape (n,), A: drawn from the source by the other phases. periodicity_error: of the
    flux linkage after the cycle, as a share of its peak.
    """

    angles: Array
    flux_linkage: Array
    current: Array
    times: Array
    states: Array
    others: Array
    periodicity_error: float

    def torque(self, m: FluxMap, speed: float) -> Array:
        """Torque of the phase in the direction of turning, N m, shape (n + 1,)."""
        way = math.copysign(1.0, speed)
        torque: Array = way * m.at(way * self.angles, self.current)[1]
        return torque

    def measure(self, m: FluxMap, speed: float, steps: int) -> tuple[float, float, float]:
        """Mean of the summed torque, N m, its ripple, and the mean square of the current, A^2."""
        torque, share = self.torque(m, speed), np.diff(self.angles) / m.pitch
        mean = m.phases * float(((torque[1:] + torque[:-1]) / 2 * share).sum())
        summed = summed_torque(m, self.angles, torque, steps)[1]
        i = self.current
        mean_square = float(((i[1:] ** 2 + i[1:] * i[:-1] + i[:-1] ** 2) / 3 * share).sum())
        return mean, float(np.ptp(summed)) / abs(mean) if mean else math.inf, mean_square


def summed_torque(m: FluxMap, angles: Array, torque: Array, steps: int) -> tuple[Array, Array]:
    """Angles of one stroke, and the torque of all phases there; `steps` as for `steady_cycle`.

    angles, torque: shape (n + 1,), of one phase over a rotor pitch; the equal steps lie among them.
    """
    steps = even_steps(m, steps)
    own = np.linspace(0.0, m.stroke, steps // m.phases, endpoint=False)
    shifted = angles[0] + np.mod(own + np.arange(m.phases)[:, None] * m.stroke - angles[0], m.pitch)
    summed: Array = np.interp(shifted, angles, torque).sum(axis=0)
    return own, summed


def steady_cycle(m: FluxMap, drive: DriveSpec, speed: float, steps: int) -> Cycle:
    """The cycle that repeats at a speed (rad/s, its sign the direction); `steps` equal steps and the
    switching angles.

    Raises InvalidValue where the current leaves the map, or no cycle repeats.
    """
    steps = even_steps(m, steps)
    drawn = np.zeros(steps)
    if drive.bridge.source_resistance == 0.0 or m.phases == 1:
        return _repeating(m, drive, speed, _nodes(m, drive, steps), drawn)
    coarse = _meeting(m, drive, speed, drawn[::_COARSER], _MEETINGS)[1]
    return _meeting(m, drive, speed, np.repeat(coarse, _COARSER), _LAST_MEETINGS)[0]


def uncoupled_cycle(m: FluxMap, drive: DriveSpec, speed: float, steps: int) -> Cycle:
    """The cycle that repeats where the other phases draw nothing from the source; see `steady_cycle`."""
    steps = even_steps(m, steps)
    return _repeating(m, drive, speed, _nodes(m, drive, steps), np.zeros(steps))


def even_steps(m: FluxMap, steps: int) -> int:
    """The number of equal steps that is used: strokes hold a whole number of them, of coarser ones too."""
    return steps + -steps % (m.phases * _COARSER)


def _meeting(m: FluxMap, drive: DriveSpec, speed: float, drawn: Array, most: int) -> tuple[Cycle, Array]:
    """The cycle in which every phase sees what the others draw, and what each draws; `drawn` is a first
    guess."""
    nodes, stroke = _nodes(m, drive, drawn.size), drawn.size // m.phases
    for _ in range(most):
        others = np.sum([np.roll(drawn, p * stroke) for p in range(1, m.phases)], axis=0)
        cycle = _repeating(m, drive, speed, nodes, others)
        before, drawn = drawn, _drawn(cycle, m.pitch, drawn.size)
        if np.abs(drawn - before).max() <= _AGREED * np.abs(drawn).max():
            break
    return cycle, drawn


def _nodes(m: FluxMap, drive: DriveSpec, steps: int) -> list[float]:
    if drive.dwell > m.pitch * (1 + 1e-9):
        found, most = f"{np.degrees(drive.dwell):.6g} deg", f"up to {np.degrees(m.pitch):.6g} deg"
        raise InvalidValue(refusal("a phase is on for no more than a rotor pitch", "dwell", found, most))
    step, last = m.pitch / steps, drive.turn_on + m.pitch
    first = np.floor(drive.turn_on / step) + 1
    inside = np.arange(first, first + steps) * step
    off = min(drive.turn_off, last)
    apart = (np.abs(inside - off) > 1e-9) & (inside < last - 1e-9) & (inside > drive.turn_on + 1e-9)
    # A short pulse would fall between the equal steps: its rise and its fall get some of their own.
    own = np.linspace(drive.turn_on, min(2 * off - drive.turn_on, last), 2 * _STEPS_A_PULSE + 1)
    lone = np.abs(own[:, None] - inside).min(axis=1) > 1e-9
    nodes: list[float] = np.unique(
        np.concatenate([[drive.turn_on, off, last], inside[apart], own[lone]])
    ).tolist()
    return nodes


def _repeating(m: FluxMap, drive: DriveSpec, speed: float, nodes: list[float], others: Array) -> Cycle:
    march = _March(m, drive, speed, nodes, others)
    low, high, start = (
        0.0,
        m.pointwise.flux_linkage(march.direction * drive.turn_on, float(m.currents[-1])),
        0.0,
    )
    for _ in range(_ITERATIONS):
        try:
            once = march.end(start)
            if abs(once - start) <= TOLERANCE * march.peak:
                return march.cycle(start)
            low, high = (start, high) if once > start else (low, start)
            twice = march.end(once)
        except InvalidValue as error:
            if start == 0.0 and march.peak == 0.0:
                raise
            high, start = start or high, (low + (start or high)) / 2
            if high - low <= TOLERANCE * march.peak:
                raise InvalidValue(_never_repeats(drive)) from error
            continue
        shrink = (twice - once) / (once - start)
        guess = start + (once - start) / (1 - shrink) if shrink < 1.0 else high
        start = guess if low < guess < high else (low + high) / 2
    return march.cycle(start)


def _too_fine(drive: DriveSpec) -> str:
    rule = f"a cycle must hold no more than {_MOST_POINTS} points"
    if isinstance(drive.control, Chopping):
        allowed = "a wider band, or a faster shaft, or Tracking.level, which is a band without width"
        return refusal(rule, "chopping.band", f"{drive.control.band:.4g} A", allowed)
    return refusal(rule, "supply", f"{drive.bridge.supply:.4g} V", "a lower one, or a faster shaft")


def _never_repeats(drive: DriveSpec) -> str:
    found = f"{np.degrees(drive.dwell):.6g} deg"
    rule = "flux linkage must come back each cycle to where it was, before the current leaves the map"
    return refusal(rule, "dwell", found, "a shorter dwell or a lower current")


class _March:
    """Follows the phase through a cycle from a flux linkage at turn-on."""

    def __init__(self, m: FluxMap, drive: DriveSpec, speed: float, nodes: list[float], others: Array) -> None:
        self.drive, self.nodes = drive, nodes
        self.point, self.direction, self.rate = m.pointwise, math.copysign(1.0, speed), 1 / abs(speed)
        middles = (np.array(nodes[1:]) + np.array(nodes[:-1])) / 2
        self.cells = (np.floor(middles / (m.pitch / others.size)).astype(int) % others.size).tolist()
        self.drawn: list[float] = others.tolist()
        self.peak = 0.0

    def end(self, start: float) -> float:
        """Flux linkage one cycle after turn-on."""
        log = self._run(start)
        self.peak = max(self.peak, max(entry[1] for entry in log))
        return log[-1][1]

    def cycle(self, start: float) -> Cycle:
        """The cycle as arrays."""
        first = (self.nodes[0], start, self.point.current(self.direction * self.nodes[0], start)[0])
        log = self._run(start)
        points = np.array([first, *(entry[:3] for entry in log)])
        middles = (points[1:, 0] + points[:-1, 0]) / 2
        cells = np.searchsorted(self.nodes, middles) - 1
        peak = points[:, 1].max()
        return Cycle(
            angles=points[:, 0],
            flux_linkage=points[:, 1],
            current=points[:, 2],
            times=np.array([entry[3] for entry in log]),
            states=np.array([entry[4] for entry in log]),
            others=np.array(self.drawn)[np.array(self.cells)[cells]],
            periodicity_error=abs(points[-1, 1] - start) / peak if peak else 0.0,
        )

    def _run(self, start: float) -> list[tuple[float, float, float, float, BridgeState]]:
        drive = self.drive
        phase = Phase(self.point, drive, self.direction)
        log: list[tuple[float, float, float, float, BridgeState]] = []
        phase.log, phase.angle, phase.flux = log, self.nodes[0], start
        phase.current = self.point.current(self.direction * phase.angle, start)[0]
        follower, off = control_of(drive.bridge, drive.control), demagnetise(drive.bridge)
        middle, last = drive.turn_off - 1e-9, self.nodes[-1]
        for angle, cell in zip(self.nodes[1:], self.cells, strict=True):
            time = (angle - phase.angle) * self.rate
            if phase.angle < middle:
                follower.follow(phase, angle, time, self.drawn[cell])
                if len(log) > _MOST_POINTS:
                    raise InvalidValue(_too_fine(drive))
            elif phase.flux > 0.0:
                phase.go(angle, time, off, self.drawn[cell])
            else:  # no current any more: nothing happens until the next turn-on
                phase.settle(last, (last - phase.angle) * self.rate, IDLE, 0.0, 0.0)
                break
        return log


def _drawn(cycle: Cycle, pitch: float, steps: int) -> Array:
    """Mean current drawn from the source in each of the equal steps from angle 0, A."""
    mean = cycle.states[:, 0] * (cycle.current[1:] + cycle.current[:-1]) / 2
    charge = np.concatenate([[0.0], np.cumsum(mean * np.diff(cycle.angles))])
    step = pitch / steps
    first = np.floor(cycle.angles[0] / step)
    edges = (first + np.arange(steps + 2)) * step
    inside = np.diff(np.interp(edges, cycle.angles, charge)) / step
    inside[0] += inside[-1]  # the step that holds turn-on: its end here, its beginning a pitch later
    return np.roll(inside[:-1], int(first) % steps)
