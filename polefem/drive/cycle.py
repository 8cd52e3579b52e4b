"""One rotor pitch at constant speed, and the currents at its beginning with which it repeats.

Each phase is switched once a pitch. Where all currents end before their next turn-on, what one phase leaves to the next
fades within a stroke or two, and a second pitch is the steady state. Otherwise the currents at turn-on of the first
phase are a fixed point of the map over a pitch. It is nearly straight, and contracts only as fast as the resistance
lets it: the fixed point is sought by Anderson's mixing (D. G. Anderson, J. ACM 12, 1965), which for a straight map ends
after one pitch more than there are phases that never rest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from polefem.drive.bridge import BEYOND, DONE, FULL, HYSTERESIS, Circuit, at_rest, unknown
from polefem.drive.drive_run import EnergyBalance
from polefem.drive.march import columns, complete, follow
from polefem.drive.potential import Tables, energy, tables
from polefem.drive.wiring import circuit
from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap
from polefem.params.drive_spec import Chopping, DriveSpec

__all__ = ["Cycle", "Steps", "balance", "ending_cycle", "steady_cycle", "unsettled"]

Array = NDArray[np.float64]

TOLERANCE, COARSE = 1e-7, 1e-3
"""A flux linkage may differ by this share of the peak after a pitch; where many are compared, by the coarser one."""

_PITCHES = 40
_CHOPPED, _BESIDE = 10, 3e-3  # pitches, when chopped, after which one with so small an error will do
_CLOSER = 0.5  # of the nearest pitch's error, what is no more
_JUMP = 1e-4  # by which a chopped pitch jumps where an edge of the band comes to lie in another step
_STEPS_A_PULSE = 16
_MOST_POINTS = 120_000
_APART = 1e-9


@dataclass(frozen=True, eq=False)
class Steps:
    """A log of `march` as arrays over the n points reached: angle, time since the point before, torque in the direction
    of turning, shape (n,); work, J; current, flux linkage, shape (n, phases); states, shape (n, phases, 3)."""

    angle: Array
    time: Array
    torque: Array
    work: Array
    current: Array
    flux_linkage: Array
    states: Array

    @classmethod
    def of(cls, log: Array, phases: int, direction: float, coenergy: float) -> Steps:
        """From the rows of a log and the co-energy before the first.

        The work of a step is the change of co-energy at its first currents and at its last, halved: torque over angle,
        also across an angle at which the torque jumps.
        """
        angle, time, torque, coenergies, turned = log[:, :5].T
        work = (np.diff(coenergies, prepend=coenergy) + turned) / 2
        current, flux, states = np.split(log[:, 5:], [phases, 2 * phases], axis=1)
        return cls(angle, time, direction * torque, work, current, flux, states.reshape(-1, phases, 3))


@dataclass(frozen=True, eq=False)
class Cycle:
    """What all phases did over one rotor pitch from turn-on of the first.

    start: currents, A, flux linkages, Wb, and torque, N m, at its beginning. steps: all that followed.
    periodicity_error: of the flux linkages after the pitch, as a share of their peak.
    """

    start: tuple[Array, Array, float]
    turn_on: float
    steps: Steps
    periodicity_error: float

    @property
    def angles(self) -> Array:
        """All angles, the first included, rad, shape (n + 1,)."""
        return np.append(self.turn_on, self.steps.angle)

    @property
    def current(self) -> Array:
        """All currents, A, shape (n + 1, phases)."""
        return np.vstack([self.start[0], self.steps.current])

    @property
    def flux_linkage(self) -> Array:
        """All flux linkages, Wb, shape (n + 1, phases)."""
        return np.vstack([self.start[1], self.steps.flux_linkage])

    @property
    def torque(self) -> Array:
        """Of all phases, in the direction of turning, N m, shape (n + 1,)."""
        return np.append(self.start[2], self.steps.torque)

    @property
    def mean_square(self) -> float:
        """Mean square of the currents, A^2, over the pitch and the phases."""
        i, share = self.current, np.diff(self.angles)[:, None]
        squares = share * (i[1:] ** 2 + i[1:] * i[:-1] + i[:-1] ** 2) / 3
        return float(squares.sum() / (share.sum() * i.shape[1]))


def steady_cycle(m: CoupledMap, drive: DriveSpec, speed: float, steps: int) -> Cycle:
    """The pitch that repeats at a speed (rad/s, its sign the direction); `steps` equal steps and the switching angles.

    Raises InvalidValue where the current leaves the map, or no pitch repeats.
    """
    if drive.dwell > m.pitch * (1 + 1e-9):
        found, most = f"{np.degrees(drive.dwell):.6g} deg", f"up to {np.degrees(m.pitch):.6g} deg"
        raise InvalidValue(refusal("a phase is on for no more than a rotor pitch", "dwell", found, most))
    return _Pitch(m, drive, speed, steps).steady(TOLERANCE)


def ending_cycle(m: CoupledMap, drive: DriveSpec, speed: float, steps: int, guess: Array) -> Cycle | None:
    """The same, to a coarser tolerance, where the current of the first phase ends before its next turn-on; else None.

    guess: currents with which a pitch much like this one repeats, A. Raises InvalidValue where the current leaves the
    map.
    """
    pitch = _Pitch(m, drive, speed, steps)
    followed = pitch.follow(guess)
    if followed is not None and followed.end[0] > 0.0:
        return None
    return pitch.steady(COARSE, followed)


class _Followed(NamedTuple):
    """A pitch from currents `begun`, A, to `end`: its points, first flux linkages, Wb, periodicity error, and which
    comparators let the current rise where it begins."""

    points: int
    begun: Array
    end: Array
    flux: Array
    error: float
    rising: NDArray[np.bool_]


class _Pitch:
    """Follows all phases over a pitch from currents at turn-on of the first."""

    def __init__(self, m: CoupledMap, drive: DriveSpec, speed: float, steps: int) -> None:
        self.drive, self.rate, self.direction = drive, 1 / abs(speed), math.copysign(1.0, speed)
        self.tables: Tables = tables(m)
        self.circuit: Circuit = circuit(m, drive, self.direction)
        self.nodes, self.windows = _nodes(m, drive, steps, self.direction)
        self.end = unknown(m.phases)
        self.log = np.empty((_MOST_POINTS, columns(m.phases)))
        self.last, self.reached = float(m.currents[-1]), 0.0
        self.rising = np.ones(m.phases, dtype=bool)  # as comparators stood at the end of the last pitch

    def steady(self, tolerance: float, followed: _Followed | None = None) -> Cycle:
        """The pitch that repeats, sought from no current, or on from a pitch that was followed so."""
        start = np.zeros(self.tables.phases)
        done: list[_Followed] = []
        for _ in range(_PITCHES):
            followed = followed or self.follow(start)
            if followed is None and not done:
                raise InvalidValue(self._beyond())
            if followed is None:  # the start was sought too far out
                if np.abs(start - done[-1].begun).max() <= TOLERANCE * self.last:
                    raise InvalidValue(_never_repeats(self.drive))
                start = (start + done[-1].begun) / 2
                continue
            done.append(followed)
            if followed.error <= (_JUMP if self._comes_no_closer(done) else tolerance):
                break
            if self._goes_to_and_fro(done):
                done.append(self._again(min(done, key=lambda one: one.error)))
                break
            flowing = np.count_nonzero(followed.end)
            start, followed = self._mixed(done[-1 - flowing :]), None
        else:
            if all(one.end.sum() > one.begun.sum() for one in done):
                raise InvalidValue(_never_repeats(self.drive))
        return self._finished(done[-1])

    def _comes_no_closer(self, done: list[_Followed]) -> bool:
        """Whether a chopped pitch is hardly nearer to one that repeats than the nearest before: from one that is near
        enough, mixing leads to and fro across a jump."""
        nearest = min((one.error for one in done[:-1]), default=math.inf)
        return self.circuit.kind == HYSTERESIS and done[-1].error > _CLOSER * nearest

    def _goes_to_and_fro(self, done: list[_Followed]) -> bool:
        """Whether a chopped pitch is still beside one that repeats after many: where edges of the band lie so that
        pulses come otherwise from pitch to pitch, no single pitch repeats."""
        near = min(one.error for one in done) <= _BESIDE
        return self.circuit.kind == HYSTERESIS and len(done) >= _CHOPPED and near

    def _again(self, nearest: _Followed) -> _Followed:
        """A pitch once more, with its log."""
        self.rising = nearest.rising
        found = self.follow(nearest.begun)
        assert found is not None
        return found

    def _mixed(self, done: list[_Followed]) -> Array:
        """The next start: where the last few, mixed, would repeat if the pitch were straight."""
        begun, end = np.array([one.begun for one in done]), np.array([one.end for one in done])
        missed = end - begun
        following = end[-1]
        if len(done) > 1:
            weights = np.linalg.lstsq(np.diff(missed, axis=0).T, missed[-1], rcond=1e-9)[0]
            following = end[-1] - np.diff(end, axis=0).T @ weights
        clipped: Array = np.clip(following, 0.0, self.last)
        return clipped

    def follow(self, start: Array) -> _Followed | None:
        """The pitch from currents, A; None where a current leaves the map."""
        now = at_rest(self.tables, start, self.direction * self.drive.turn_on)
        now.rising[:] = rising = self.rising
        begun, flux = now.current.copy(), now.flux.copy()
        status, points, peak, self.reached = follow(
            self.tables, self.circuit, now, self.nodes, self.windows, self.rate, self.end, self.log
        )
        if status == BEYOND:
            return None
        if status != DONE:
            raise InvalidValue(_too_fine(self.drive) if status == FULL else unsettled(self.reached))
        self.rising = now.rising
        error = float(np.abs(now.flux - flux).max()) / peak if peak else 0.0
        return _Followed(points, begun, now.current, flux, error, rising)

    def _finished(self, followed: _Followed) -> Cycle:
        """The last pitch that was followed, with its torque and energies."""
        on, way, begun = self.drive.turn_on, self.direction, followed.begun
        log = self.log[: followed.points].copy()
        complete(self.tables, self.circuit, on, begun, log)
        coenergy, torque = energy(self.tables, way * on, begun)
        steps = Steps.of(log, begun.size, way, coenergy)
        return Cycle((begun, followed.flux, way * torque), on, steps, followed.error)

    def _beyond(self) -> str:
        where = f"above {self.last:.6g} A at {np.degrees(self.reached):.4g} deg"
        rule = "a map says nothing beyond its last current"
        return refusal(rule, "current", where, f"up to {self.last:.6g} A")


def balance(drive: DriveSpec, begun: Array, steps: Steps, stored: float) -> EnergyBalance:
    """Where the energy of steps goes, by the rule that they were made with.

    begun: currents before the first, A, shape (phases,). stored: what the field has more at the end, J.
    """
    bridge, time = drive.bridge, steps.time[:, None]
    sign, square, drop = np.moveaxis(steps.states, -1, 0)
    before, after = np.vstack([begun, steps.current[:-1]]), steps.current
    mean, mean_square = (before + after) / 2, (before**2 + before * after + after**2) / 3
    drawn = sign * mean
    others = drawn.sum(axis=1, keepdims=True) - drawn
    sag = bridge.source_resistance * (square * mean + sign * others)
    given = (sign * bridge.supply - drop - sag) * mean * time
    source, copper = sign * bridge.supply * mean * time, drive.resistance * mean_square * time
    feeds = source > 0.0
    return EnergyBalance(
        source=float(source.sum()),
        source_loss=float((sag * mean * time).sum()),
        device_loss=float((drop * mean * time).sum()),
        copper=float(copper.sum()),
        mechanical=float(steps.work.sum()),
        stored=stored,
        lent=max(float(given[given > 0].sum()), float(-given[given < 0].sum())),
        excitation=float(source[feeds].sum()),
        excitation_loss=float(((sag + drop) * mean * time + copper)[feeds].sum()),
    )


def _nodes(m: CoupledMap, drive: DriveSpec, steps: int, direction: float) -> tuple[Array, NDArray[np.bool_]]:
    """Angles at which steps end, shape (n + 1,), and which phases are on between them, shape (n, phases)."""
    on, last, step = drive.turn_on, drive.turn_on + m.pitch, m.pitch / steps
    shifts = direction * m.stroke * np.arange(m.phases)
    off = min(drive.turn_off, last)
    # A short pulse would fall between the equal steps: its rise and its fall get some of their own.
    pulse = np.linspace(on, min(2 * off - on, last), 2 * _STEPS_A_PULSE + 1)
    edges = on + np.mod(np.array([[on], [off]]) + shifts - on, m.pitch)
    own: Array = on + np.mod(pulse[:, None] + shifts - on, m.pitch)
    even: Array = step * np.arange(math.floor(on / step) + 1, math.floor(on / step) + steps + 1, dtype=float)
    nodes = _distinct([on, last, *edges.ravel().tolist()], np.ravel(own), even)
    middles = (nodes[1:] + nodes[:-1]) / 2
    windows: NDArray[np.bool_] = np.mod(middles[:, None] - shifts - on, m.pitch) < drive.dwell
    return nodes, windows


def _distinct(edges: list[float], *others: Array) -> Array:
    """All numbers between the first and the second edge, increasing; the others give way to edges that are near."""
    nodes: Array = np.unique(np.array(edges))
    nodes = nodes[np.append(np.diff(nodes) > _APART, True)]
    for more in others:
        inside = more[(more > edges[0] + _APART) & (more < edges[1] - _APART)]
        at = np.searchsorted(nodes, inside)
        apart = np.minimum(inside - nodes[at - 1], nodes[at] - inside) > _APART
        nodes = np.unique(np.concatenate([nodes, inside[apart]]))
        nodes = nodes[np.append(np.diff(nodes) > _APART, True)]
    return nodes


def unsettled(angle: float) -> str:
    """The refusal of a map in which currents do not follow from flux linkages near an angle, rad."""
    rule = "currents must follow from the flux linkages of a map"
    where = f"more than one near {np.degrees(angle):.4g} deg"
    return refusal(rule, "currents", where, "a map with closer levels at which phases conduct together")


def _too_fine(drive: DriveSpec) -> str:
    rule = f"a rotor pitch must hold no more than {_MOST_POINTS} points"
    if isinstance(drive.control, Chopping):
        allowed = "a wider band, or a faster shaft, or Tracking.level, which is a band without width"
        return refusal(rule, "chopping.band", f"{drive.control.band:.4g} A", allowed)
    return refusal(rule, "supply", f"{drive.bridge.supply:.4g} V", "a lower one, or a faster shaft")


def _never_repeats(drive: DriveSpec) -> str:
    found = f"{np.degrees(drive.dwell):.6g} deg"
    rule = "flux linkage must come back each cycle to where it was, before the current leaves the map"
    return refusal(rule, "dwell", found, "a shorter dwell or a lower current")
