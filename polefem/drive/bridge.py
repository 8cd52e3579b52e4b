"""A step of the bridge and all phases of a machine.

The flux linkages of all phases follow d(flux linkage)/dt = v - R i together. A step is the implicit trapezoidal rule:
stable for any length, and in step with the energy i d(flux linkage). At the end of a step the currents are those that
make

    co-energy(angle, i) + i . ease . i / 2 - i . aim

least over i >= 0. Its slope is what Kirchhoff asks of each phase: nought where it conducts, and not below nought where
diodes block. The co-energy is convex, so that there is one answer; Newton's steps on the phases that conduct find it.
So a resting phase has the flux linkage that its neighbours give it, and conducts where they induce more than the
supply.

A state of a phase's bridge is what it connects the phase to: `sign` times the supply less `drop` volts of devices. A
mean of states, as of modulation, is a state too: its sign is the mean sign, and `square` the mean of the sign's square,
which is the share of time in which the source resistance carries the phase's own current.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from polefem.drive.machine_code import compiled
from polefem.drive.potential import Tables, cell_of, linkages

__all__ = [
    "BEYOND",
    "DEMAGNETISE",
    "DONE",
    "FREEWHEEL",
    "FULL",
    "HYSTERESIS",
    "LEAST",
    "MAGNETISE",
    "PROFILE",
    "SETTLED",
    "STEADY",
    "UNSETTLED",
    "Circuit",
    "Phases",
    "Point",
    "at_rest",
    "attempt",
    "put",
    "step",
    "unknown",
]

Array = NDArray[np.float64]

MAGNETISE, FREEWHEEL, DEMAGNETISE = 0, 1, 2
"""Rows of `Circuit.states`."""
STEADY, HYSTERESIS, PROFILE = 0, 1, 2
"""Kinds of control."""
DONE, BEYOND, FULL, UNSETTLED = 0, 1, 2, 3
"""How a run ended: well, beyond the last current of the map, with more points than there is room for, or with currents
that do not follow from the flux linkages."""
LEAST, SETTLED = 1e-9, 1e-7
"""Parts of a step, and of the last current, that are as good as nothing."""

_NEWTON_STEPS, _HALVED_AFTER = 60, 12
_STRAIGHT = (
    1e-5  # of the last current: over so little a flux linkage is straight in the current, to 1e-9 or so
)
_MODES = 12


class Circuit(NamedTuple):
    """Bridge and control. states: shape (3, 3): mean sign of the supply, mean of its square, and device drops, V, of a
    phase that is magnetised (or modulated), freewheels, is demagnetised. rest: the row between two pulses of a band.
    profile, wanted: shape (k,), (phases, k): rad from a phase's own aligned angle, A. stride: of flux linkage, Wb."""

    supply: float
    source: float
    ohms: float
    states: Array
    kind: int
    rest: int
    lower: float
    upper: float
    profile: Array
    wanted: Array
    stride: float
    turn_on: float
    pitch: float
    direction: float


class Phases(NamedTuple):
    """All phases at a point in time, and what their bridges do until the next.

    Arrays of shape (phases,): currents, A, and how they change, A/s; flux linkages, Wb; whether a band's comparator
    lets the current rise; states, shape (phases, 3); the current that a phase is held at, A, below 0 where it is not.
    """

    current: Array
    trend: Array
    flux: Array
    rising: NDArray[np.bool_]
    state: Array
    held: Array


class Point(NamedTuple):
    """Where a step leads: as in `Phases`, and how far above the bridge's flux linkages are, shape (phases,).

    The others are room for what leads there: incremental inductances, `ease` (see above) and their sum, shape (phases,
    phases); `aim`, how far Newton moves the currents, which phases are free to, currents of profiles, shape (phases,).
    """

    current: Array
    flux: Array
    slack: Array
    slopes: Array
    ease: Array
    change: Array
    aim: Array
    move: Array
    free: NDArray[np.bool_]
    wanted: Array


def unknown(n: int) -> Point:
    """Where a step of n phases leads, not known yet."""
    current, flux, slack, aim, move, wanted = np.empty((6, n))
    slopes, ease, change = np.empty((3, n, n))
    return Point(current, flux, slack, slopes, ease, change, aim, move, np.empty(n, dtype=bool), wanted)


def at_rest(m: Tables, current: Array | None = None, angle: float = 0.0) -> Phases:
    """Phases without current, or with currents (A) at an angle of the map."""
    n = m.phases
    still, on = np.zeros(n), np.ones(n, dtype=bool)
    now = Phases(np.zeros(n), still, np.zeros(n), on, np.zeros((n, 3)), np.zeros(n))
    if current is not None:
        now.current[:] = current
        linkages(m, angle, now.current, now.flux, np.empty((n, n)))
    return now


@compiled
def _solved(matrix: Array, right: Array, free: NDArray[np.bool_]) -> None:
    """Solve a symmetric positive system for the unknowns that are free, in place of `right`; the others stay.

    Where an interpolated co-energy folds, a pivot is negative: its size leads down the slope all the same.
    """
    n = right.size
    for a in range(n):
        if free[a]:
            matrix[a, a] = max(abs(matrix[a, a]), 1e-12)
            for b in range(a + 1, n):
                if free[b]:
                    part = matrix[b, a] / matrix[a, a]
                    for c in range(a, n):
                        matrix[b, c] -= part * matrix[a, c]
                    right[b] -= part * right[a]
    for a in range(n - 1, -1, -1):
        if free[a]:
            for b in range(a + 1, n):
                if free[b]:
                    right[a] -= matrix[a, b] * right[b]
            right[a] /= matrix[a, a]


@compiled
def _settle(m: Tables, angle: float, held: Array, end: Point) -> int:
    """Currents with which flux linkages + ease . i come to `aim`, or above it where a current is 0.

    held: currents that are given, A, below 0 where one is free. end: its currents are a first guess, then the answer.
    Fills flux linkages and how far above the aim they are; returns DONE, BEYOND or UNSETTLED.
    """
    n, i, flux, slack, slopes, ease = m.phases, end.current, end.flux, end.slack, end.slopes, end.ease
    change, move, free = end.change, end.move, end.free
    for p in range(n):
        if held[p] >= 0.0:
            i[p] = held[p]
    status = UNSETTLED
    for turn in range(_NEWTON_STEPS):
        linkages(m, angle, i, flux, slopes)
        for p in range(n):
            slack[p] = flux[p] - end.aim[p]
            for q in range(n):
                slack[p] += ease[p, q] * i[q]
                change[p, q] = slopes[p, q] + ease[p, q]
            move[p] = -slack[p]
            free[p] = held[p] < 0.0 and (i[p] > 0.0 or slack[p] < 0.0)
        _solved(change, move, free)
        moved = 0.0
        for p in range(n):
            new = i[p] + (move[p] if turn < _HALVED_AFTER else move[p] / 2) if free[p] else i[p]
            new = min(max(new, 0.0), m.last * (1 + LEAST))
            move[p], i[p] = new - i[p], new
            moved = max(moved, abs(move[p]))
        if moved <= _STRAIGHT * m.last:
            status = DONE
            break
    for p in range(n):
        for q in range(n):
            flux[p] += slopes[p, q] * move[q]
            slack[p] += (slopes[p, q] + ease[p, q]) * move[q]
        if i[p] >= m.last * (1 + LEAST):
            status = BEYOND
    return status


@compiled
def attempt(m: Tables, c: Circuit, now: Phases, angle: float, time: float, end: Point) -> int:
    """A step to an angle, `time` seconds on, under `now.state`; fills `end`, returns as `_settle`."""
    n, ease, aim = m.phases, end.ease, end.aim
    for p in range(n):
        sign, square, drop = now.state[p, 0], now.state[p, 1], now.state[p, 2]
        aim[p] = now.flux[p] + time * (sign * c.supply - drop)
        for q in range(n):
            ohms = c.ohms + c.source * square if p == q else c.source * sign * now.state[q, 0]
            ease[p, q] = 0.5 * time * ohms
            aim[p] -= ease[p, q] * now.current[q]
        end.current[p] = min(max(now.current[p] + time * now.trend[p], 0.0), m.last)
    return _settle(m, c.direction * angle, now.held, end)


@compiled
def put(c: Circuit, now: Phases, p: int, row: int, other: int = 0, share: float = 0.0) -> None:
    """Connect a phase as a row of the states says; for a share of the time, as another does."""
    for k in range(3):
        now.state[p, k] = (1 - share) * c.states[row, k] + share * c.states[other, k]


@compiled
def _volts(c: Circuit, row: int, p: int, now: Phases, end: Point) -> float:
    """What the bridge puts across a phase in a row of its states, V, with mean currents of a step."""
    sign, square, drop = c.states[row, 0], c.states[row, 1], c.states[row, 2]
    sag = 0.5 * square * (now.current[p] + end.current[p])
    for q in range(end.current.size):
        if q != p:
            sag += sign * now.state[q, 0] * 0.5 * (now.current[q] + end.current[q])
    volts: float = sign * c.supply - drop - c.source * sag
    return volts


@compiled
def _wanted(c: Circuit, p: int, own: float) -> float:
    """Current of a phase's profile at its own angle, A."""
    wanted: float = c.wanted[p, 0]
    if c.profile.size > 1:
        k = cell_of(c.profile, 0, c.profile.size - 1, own)
        share = min(1.0, max(0.0, (own - c.profile[k]) / (c.profile[k + 1] - c.profile[k])))
        wanted = (1 - share) * c.wanted[p, k] + share * c.wanted[p, k + 1]
    return wanted


@compiled
def _own(c: Circuit, m: Tables, p: int, angle: float) -> float:
    """A phase's own angle within a pitch from turn-on."""
    return c.turn_on + (angle - c.direction * p * m.stroke - c.turn_on) % c.pitch


@compiled
def step(
    m: Tables,
    c: Circuit,
    now: Phases,
    window: NDArray[np.bool_],
    ended: int,
    start: float,
    angle: float,
    time: float,
    end: Point,
) -> int:
    """A step in which profiles are followed as far as the bridge can; `ended` is a phase without current at its end."""
    wanted = end.wanted
    wanted[:] = -1.0
    if c.kind == PROFILE:
        middle = 0.5 * (start + angle)
        for p in range(m.phases):
            if window[p]:
                wanted[p] = _wanted(c, p, _own(c, m, p, middle) + angle - middle)
                if now.held[p] >= 0.0:
                    now.held[p] = wanted[p]
                if wanted[p] == 0.0:  # the bridge can do no more than take the current back
                    put(c, now, p, DEMAGNETISE)
                    now.held[p] = -1.0
    if ended >= 0:
        now.held[ended], wanted[ended] = 0.0, -1.0
    for _ in range(_MODES):
        status = attempt(m, c, now, angle, time, end)
        changed = False
        for p in range(m.phases):
            if wanted[p] > 0.0:
                changed |= _kept(c, p, wanted[p], time, now, end)
        if not changed:
            break
    return status


@compiled
def _kept(c: Circuit, p: int, wanted: float, time: float, now: Phases, end: Point) -> bool:
    """Choose the voltage of a phase on a profile for the next attempt at a step; whether it is another one."""
    if now.held[p] < 0.0:
        short = (end.current[p] - wanted) * now.state[p, 0] < LEAST * wanted
        if not short:
            now.held[p] = wanted
        return not short
    volts = (end.flux[p] - now.flux[p]) / time + 0.5 * c.ohms * (now.current[p] + wanted)
    on, off = _volts(c, MAGNETISE, p, now, end), _volts(c, DEMAGNETISE, p, now, end)
    if volts >= on or volts <= off:
        now.held[p] = -1.0
        put(c, now, p, MAGNETISE if volts >= on else DEMAGNETISE)
        return True
    free, before = _volts(c, FREEWHEEL, p, now, end), now.state[p, 0]
    if volts >= free:
        put(c, now, p, FREEWHEEL, MAGNETISE, (volts - free) / (on - free))
    else:
        put(c, now, p, DEMAGNETISE, FREEWHEEL, (volts - off) / (free - off))
    return c.source > 0.0 and abs(now.state[p, 0] - before) > LEAST
