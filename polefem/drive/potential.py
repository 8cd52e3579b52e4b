"""The co-energy of a machine for the stepper: one point at a time, in machine code.

A step of a bridge is too small for numpy: its time would go into the calls. The polynomials are those of the map, cell
by cell.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from polefem.drive.machine_code import compiled
from polefem.maps import CoupledMap

__all__ = ["Tables", "linkages", "tables", "values"]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

_HEAD = 6


class Tables(NamedTuple):
    """The potential of a machine: `single` of phase 0 alone, then sets of phases (see `maps.interaction`).

    angles, currents: shape (n + 1,), (m + 1,), rad, A, of `single`, shape (m, n, 6, 4), J. sets: shape (n_sets, 6 + k):
    how many phases, where angles, currents and coefficients begin in `numbers`, how many cells of angle, how many of
    current, then the phases. last: the largest current, A. rows, turned, one, two: room for `_interaction`.
    """

    phases: int
    stroke: float
    last: float
    angles: Array
    currents: Array
    single: Array
    sets: Ints
    numbers: Array
    rows: Array
    turned: Array
    one: Ints
    two: Ints


@lru_cache(maxsize=4)
def tables(m: CoupledMap) -> Tables:
    """The potential of a map; the last few are kept."""
    sets, numbers, filled = [], [np.empty(0)], 0
    most = max((len(part.phases) for part in m.interactions), default=0)
    for part in m.interactions:
        row = [len(part.phases)]
        for array in (part.angles, part.currents, part.patches.ravel()):
            row.append(filled)
            numbers.append(array)
            filled += array.size
        cells = [part.angles.size - 1, part.currents.size - 1]
        sets.append([*row, *cells, *part.phases, *[-1] * (most - len(part.phases))])
    alone = m.single.potential
    return Tables(
        phases=m.phases,
        stroke=m.stroke,
        last=float(m.currents[-1]),
        angles=np.array(alone.angles),
        currents=np.array(alone.currents),
        single=np.array(alone.patches),
        sets=np.array(sets, dtype=np.int64).reshape(len(sets), _HEAD + most),
        numbers=np.concatenate(numbers),
        rows=np.empty((1 + most + most * (most + 1) // 2, 4**most)),
        turned=np.empty(4**most),
        one=np.empty(1 + most + most * (most + 1) // 2, dtype=np.int64),
        two=np.empty(1 + most + most * (most + 1) // 2, dtype=np.int64),
    )


@compiled
def cell_of(nodes: Array, first: int, cells: int, at: float) -> int:
    """The cell of a rising list that holds a value, the nearest one outside; the list begins at `first`."""
    low, high = 0, cells
    while high - low > 1:
        middle = (low + high) // 2
        if nodes[first + middle] <= at:
            low = middle
        else:
            high = middle
    return low


@compiled
def values(m: Tables, angle: float, i: Array, flux: Array, slopes: Array) -> tuple[float, float]:
    """Co-energy and torque; fills flux linkages, shape (phases,), and incremental inductances."""
    coenergy = torque = 0.0
    first, last = m.angles[0], m.angles[-1]
    for p in range(m.phases):
        for q in range(m.phases):
            slopes[p, q] = 0.0
        own = first + (angle - p * m.stroke - first) % (last - first)
        j = cell_of(m.angles, 0, m.angles.size - 1, own)
        k = cell_of(m.currents, 0, m.currents.size - 1, i[p])
        width, height = m.angles[j + 1] - m.angles[j], m.currents[k + 1] - m.currents[k]
        u, s = (own - m.angles[j]) / width, (i[p] - m.currents[k]) / height
        value = slope = bend = turned = 0.0
        for power in range(5, -1, -1):
            c = m.single[k, j, power]
            bend = bend * s + 2 * slope
            slope = slope * s + value
            value = value * s + c[0] + u * (c[1] + u * (c[2] + u * c[3]))
            turned = turned * s + c[1] + u * (2 * c[2] + u * 3 * c[3])
        coenergy += value
        torque += turned / width
        flux[p] = slope / height
        slopes[p, p] = bend / height**2
    for row in range(m.sets.shape[0]):
        resting = 0
        for a in range(m.sets[row, 0]):
            resting += i[m.sets[row, 6 + a]] == 0.0
        if resting < 2:  # else it adds nothing
            added, turning = _interaction(m, m.sets[row], angle, i, flux, slopes)
            coenergy += added
            torque += turning
    return coenergy, torque


@compiled
def _interaction(
    m: Tables, part: Ints, angle: float, i: Array, flux: Array, slopes: Array
) -> tuple[float, float]:
    """Co-energy and torque that a set of phases adds; adds to flux linkages and inductances.

    Powers of the angle make way first, then those of one current after the other: `rows` has the co-energy, then its
    derivatives so far, first ones (by the phase `one`) and second ones (by `one` and `two`).
    """
    k, angles, currents, at = part[0], part[1], part[2], part[3]
    first = m.numbers[angles]
    inside = first + (angle - first) % (m.numbers[angles + part[4]] - first)
    cell = cell_of(m.numbers, angles, part[4], inside)
    width = m.numbers[angles + cell + 1] - m.numbers[angles + cell]
    u = (inside - m.numbers[angles + cell]) / width
    for a in range(k):
        cell = cell * part[5] + cell_of(m.numbers, currents, part[5], i[part[6 + a]])
    size = 4**k
    at += cell * size * 4
    rows, turned, one, two = m.rows, m.turned, m.one, m.two
    for n in range(one.size):
        one[n] = two[n] = -1
    for n in range(size):
        c0, c1, c2, c3 = m.numbers[at], m.numbers[at + 1], m.numbers[at + 2], m.numbers[at + 3]
        rows[0, n] = c0 + u * (c1 + u * (c2 + u * c3))
        turned[n] = c1 + u * (2 * c2 + u * 3 * c3)
        at += 4
    known = 1
    for a in range(k - 1, -1, -1):
        own = part[6 + a]
        n = cell_of(m.numbers, currents, part[5], i[own])
        height = m.numbers[currents + n + 1] - m.numbers[currents + n]
        s = (i[own] - m.numbers[currents + n]) / height
        size //= 4
        for n in range(size):
            c = turned[4 * n : 4 * n + 4]
            turned[n] = c[0] + s * (c[1] + s * (c[2] + s * c[3]))
        for row in range(known):
            more = known + (two[row] < 0) + (one[row] < 0)
            if more > known:
                one[known], two[known] = own, one[row]
            if more > known + 1:
                one[known + 1] = two[known + 1] = own
            for n in range(size):
                c0, c1, c2, c3 = (
                    rows[row, 4 * n],
                    rows[row, 4 * n + 1],
                    rows[row, 4 * n + 2],
                    rows[row, 4 * n + 3],
                )
                rows[row, n] = c0 + s * (c1 + s * (c2 + s * c3))
                if more > known:
                    rows[known, n] = (c1 + s * (2 * c2 + s * 3 * c3)) / height
                if more > known + 1:
                    rows[known + 1, n] = (2 * c2 + s * 6 * c3) / height**2
            known = more
    for row in range(1, known):
        if two[row] < 0:
            flux[one[row]] += rows[row, 0]
        else:
            slopes[one[row], two[row]] += rows[row, 0]
            if one[row] != two[row]:
                slopes[two[row], one[row]] += rows[row, 0]
    return rows[0, 0], turned[0] / width


@compiled
def linkages(m: Tables, angle: float, i: Array, flux: Array) -> tuple[float, float]:
    """Fills the flux linkages of all phases at an angle of the map and currents; returns co-energy and
    torque."""
    return values(m, angle, i, flux, np.empty((m.phases, m.phases)))
