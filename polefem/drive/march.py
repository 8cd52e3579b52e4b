"""All phases through a span of angles: what each bridge does next, and where within a step it switches.

Ends of a current and edges of a band are found within the step.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polefem.drive.bridge import (
    DEMAGNETISE,
    DONE,
    FULL,
    HYSTERESIS,
    LEAST,
    MAGNETISE,
    PROFILE,
    SETTLED,
    STEADY,
    Circuit,
    Phases,
    Point,
    attempt,
    put,
    step,
)
from polefem.drive.machine_code import compiled
from polefem.drive.potential import Tables, energy, linkages

__all__ = ["advance", "columns", "complete", "follow"]

Array = NDArray[np.float64]

_TRIALS, _ON_EDGE = 4, 1e-7
_PARTS = 36


def columns(phases: int) -> int:
    """Columns of a log: see `advance`."""
    return 5 + 5 * phases


@compiled
def _longest(c: Circuit, p: int, now: Phases) -> float:
    """Time for which one step of a phase is straight enough, s.

    It moves the flux linkage by a stride at most, and where the resistance eats a current, by a part of it.
    """
    sign, square, drop = now.state[p, 0], now.state[p, 1], now.state[p, 2]
    if now.held[p] >= 0.0 or (now.current[p] == 0.0 and sign <= 0.0):
        return np.inf
    ohmic = (c.ohms + c.source * square) * now.current[p]
    net = abs(sign * c.supply - drop - ohmic)
    eaten = min(ohmic, net) * _PARTS
    time = c.stride / net if net > 0.0 else np.inf
    return min(time, max(now.flux[p], c.stride / 4) / eaten) if eaten > 0.0 else time


@compiled
def _choose(c: Circuit, now: Phases, window: NDArray[np.bool_]) -> None:
    """What the bridge does next; on profiles at first what it did."""
    for p in range(window.size):
        if c.kind != PROFILE or not window[p]:
            now.held[p] = -1.0
        if not window[p]:
            put(c, now, p, DEMAGNETISE)
        elif c.kind == STEADY:
            put(c, now, p, MAGNETISE)
        elif c.kind == HYSTERESIS:
            if now.current[p] >= c.upper:
                now.rising[p] = False
            elif now.current[p] <= c.lower:
                now.rising[p] = True
            put(c, now, p, MAGNETISE if now.rising[p] else c.rest)


@compiled
def _first_event(
    m: Tables, c: Circuit, now: Phases, window: NDArray[np.bool_], start: float, end: Point
) -> tuple[float, int, bool]:
    """Share of a step at which a phase switches first, that phase, and whether its current ends there; 1 where none
    does."""
    share, which, ends = 1.0, -1, False
    for p in range(m.phases):
        if now.held[p] >= 0.0:
            continue
        before, after, last = now.current[p], end.current[p], 1.0
        if after == 0.0 and before > SETTLED * m.last and end.slack[p] > 0.0:
            now.current[p] = 0.0
            linkages(m, c.direction * start, now.current, end.aim, end.slopes)
            now.current[p] = before
            excess = now.flux[p] - end.aim[p]
            last = excess / (excess + end.slack[p])
            if last < share:
                share, which, ends = last, p, True
        if c.kind == HYSTERESIS and window[p]:
            edge = c.upper if now.rising[p] else c.lower
            if after > edge if now.rising[p] else after < edge:
                crossing = last * (edge - before) / (after - before)
                if crossing < share:
                    share, which, ends = max(crossing, LEAST), p, False
    return share, which, ends


@compiled
def _crossing(
    m: Tables,
    c: Circuit,
    now: Phases,
    p: int,
    start: float,
    angle: float,
    time: float,
    share: float,
    end: Point,
) -> tuple[float, int]:
    """Share of a step at which a phase's current comes to the edge of its band, from a first guess; then as `attempt`.

    The share is a parabola of the current: through the beginning, through where the whole step led (by the chord on
    which the first share lies) and through the last attempt. end: where the whole step led, then where its part leads.
    """
    before, whole, edge = now.current[p], end.current[p], c.upper if now.rising[p] else c.lower
    chord, part = share / (edge - before), time
    for _ in range(_TRIALS):
        for q in range(m.phases):  # where the last attempt led is a good guess of where the next one leads
            now.trend[q] = (end.current[q] - now.current[q]) / part
        part = share * time
        status = attempt(m, c, now, start + share * (angle - start), part, end)
        found = end.current[p]
        if abs(found - edge) <= _ON_EDGE * edge or found in (before, whole):
            break
        bend = (share / (found - before) - chord) / (found - whole)
        share = min(1.0, max(LEAST, (edge - before) * (chord + bend * (edge - whole))))
    return share, status


@compiled
def advance(
    m: Tables,
    c: Circuit,
    now: Phases,
    window: NDArray[np.bool_],
    start: float,
    angle: float,
    time: float,
    end: Point,
    log: Array,
) -> tuple[int, int]:
    """Take all phases from one angle to another, `time` seconds on, in which none turns on or off.

    window: shape (phases,): which are on. log: shape (rows, 5 + 5 * phases): for each point reached its angle, the time
    since the one before, torque against the map's angle, co-energy, what the co-energy at the step's first currents
    gains by turning less what that at its last currents loses by turning back (these three by `complete`), currents,
    flux linkages, then the states of the bridge that led there. Returns how it ended and how many points there are.
    """
    n, count = m.phases, 0
    while time > 0.0:
        _choose(c, now, window)
        part = time
        for p in range(n):
            part = min(part, _longest(c, p, now))
        while True:
            here = angle if part == time else start + (angle - start) * part / time
            status = step(m, c, now, window, -1, start, here, part, end)
            longest = part
            for p in range(n):
                longest = min(longest, _longest(c, p, now))
            if c.kind != PROFILE or longest == part:
                break
            part = longest
        share, which, ends = _first_event(m, c, now, window, start, end)
        if which >= 0 and ends:
            here, part = start + share * (here - start), share * part
            status = step(m, c, now, window, which, start, here, part, end)
        elif which >= 0:
            share, status = _crossing(m, c, now, which, start, here, part, share, end)
            here, part = start + share * (here - start), share * part
            now.rising[which] = not now.rising[which]
        if status != DONE:
            return status, count
        if count == log.shape[0]:
            return FULL, count
        _write(now, here, part, end, log[count])
        for p in range(n):  # where a bridge has switched, the last slope says nothing of the next
            now.trend[p] = 0.0 if which >= 0 else (end.current[p] - now.current[p]) / part
            now.current[p], now.flux[p] = end.current[p], end.flux[p]
        count += 1
        if here == angle:
            break
        time -= part
        start = here
    return DONE, count


@compiled
def _write(now: Phases, angle: float, time: float, end: Point, row: Array) -> None:
    """A point of the log, but for what `complete` adds."""
    n = end.current.size
    row[0], row[1] = angle, time
    for p in range(n):
        row[5 + p], row[5 + n + p] = end.current[p], end.flux[p]
        for k in range(3):
            row[5 + 2 * n + 3 * p + k] = now.state[p, k]


@compiled
def complete(m: Tables, c: Circuit, angle: float, current: Array, log: Array) -> None:
    """Fill torque and energies of a log that began at an angle with currents, A."""
    n = m.phases
    for row in range(log.shape[0]):
        before = current if row == 0 else log[row - 1, 5 : 5 + n]
        start = angle if row == 0 else log[row - 1, 0]
        here, after = c.direction * log[row, 0], log[row, 5 : 5 + n]
        log[row, 3], log[row, 2] = energy(m, here, after)
        log[row, 4] = energy(m, here, before)[0] - energy(m, c.direction * start, after)[0]


@compiled
def follow(
    m: Tables,
    c: Circuit,
    now: Phases,
    nodes: Array,
    windows: NDArray[np.bool_],
    rate: float,
    end: Point,
    log: Array,
) -> tuple[int, int, float, float]:
    """Take all phases through the angles `nodes`, shape (k + 1,), at 1 / `rate` rad/s; `windows`, shape (k, phases),
    says which are on between them.

    Returns how it ended, the number of points, the largest flux linkage of any phase at a node and the angle reached.
    A comparator lets the current rise at turn-on.
    """
    count, peak = 0, 0.0
    for k in range(windows.shape[0]):
        for p in range(m.phases):
            if windows[k, p] and not windows[k - 1, p]:  # before the first is the last: a pitch repeats
                now.rising[p] = True
        time = (nodes[k + 1] - nodes[k]) * rate
        status, more = advance(m, c, now, windows[k], nodes[k], nodes[k + 1], time, end, log[count:])
        count += more
        for flux in now.flux:
            peak = max(peak, flux)
        if status != DONE:
            return status, count, peak, nodes[k]
    return DONE, count, peak, nodes[-1]
