"""The co-energy of a machine for the stepper: one point at a time, in machine code.

A step of a bridge is too small for numpy: its time would go into the calls. The polynomials are those of the map, cell
by cell.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from polefem.drive.machine_code import compiled
from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap

__all__ = ["Tables", "cell_of", "energy", "linkages", "tables"]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

_HEAD = 6


class Tables(NamedTuple):
    """The potential of a machine: `single` of phase 0 alone, then sets of phases (see `maps.interaction`).

    angles, currents: shape (n + 1,), (m + 1,), rad, A, of `single`, shape (m, n, 6, 4), J. sets: shape (n_sets, 6 + k):
    how many phases, where angles, currents and coefficients begin in `numbers`, how many cells of angle, how many of
    current, then the phases. last: the largest current, A. full: flux linkage there of phase 0 alone, aligned, Wb.
    """

    phases: int
    stroke: float
    last: float
    full: float
    angles: Array
    currents: Array
    single: Array
    sets: Ints
    numbers: Array


@lru_cache(maxsize=4)
def tables(m: CoupledMap) -> Tables:
    """The potential of a map; the last few are kept.

    Raises InvalidValue for a map that knows what four phases at once add: no field is solved for that.
    """
    sets, numbers, filled = [], [np.empty(0)], 0
    most = max((len(part.phases) for part in m.interactions), default=0)
    if most > 3:
        rule = "a bridge is followed through what two and three phases add to each other"
        raise InvalidValue(refusal(rule, "interactions", f"of {most} phases", "sets of two or three"))
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
        full=float(alone.at(0.0, float(m.currents[-1])).flux_linkage),
        angles=np.array(alone.angles),
        currents=np.array(alone.currents),
        single=np.array(alone.patches),
        sets=np.array(sets, dtype=np.int64).reshape(len(sets), _HEAD + most),
        numbers=np.concatenate(numbers),
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
def _place(nodes: Array, first: int, cells: int, at: float) -> tuple[int, float, float]:
    """The cell that holds a value, the place in it, 0 to 1, and its width."""
    cell = cell_of(nodes, first, cells, at)
    width = nodes[first + cell + 1] - nodes[first + cell]
    return cell, (at - nodes[first + cell]) / width, width


@compiled
def _turned(nodes: Array, first: int, cells: int, angle: float) -> tuple[int, float, float]:
    """The same of an angle, on nodes over a rotor pitch."""
    begin = nodes[first]
    pitch = nodes[first + cells] - begin
    return _place(nodes, first, cells, angle - pitch * math.floor((angle - begin) / pitch))


@compiled
def linkages(m: Tables, angle: float, i: Array, flux: Array, slopes: Array) -> None:
    """Fills flux linkages, shape (phases,), and incremental inductances, shape (phases, phases)."""
    for p in range(m.phases):
        for q in range(m.phases):
            slopes[p, q] = 0.0
        j, u, _ = _turned(m.angles, 0, m.angles.size - 1, angle - p * m.stroke)
        k, s, height = _place(m.currents, 0, m.currents.size - 1, i[p])
        value = slope = bend = 0.0
        for power in range(5, -1, -1):
            c = m.single[k, j, power]
            bend = bend * s + 2 * slope
            slope = slope * s + value
            value = value * s + c[0] + u * (c[1] + u * (c[2] + u * c[3]))
        flux[p] = slope / height
        slopes[p, p] = bend / height**2
    for row in range(m.sets.shape[0]):
        part = m.sets[row]
        if _resting(part, i) < 2:  # else it adds nothing
            if part[0] == 2:
                _add_pair(m, part, angle, i, flux, slopes)
            else:
                _add_three(m, part, angle, i, flux, slopes)


@compiled
def _resting(part: Ints, i: Array) -> int:
    """How many phases of a set are without current."""
    resting = 0
    for a in range(part[0]):
        resting += i[part[6 + a]] == 0.0
    return resting


@compiled
def _add_pair(m: Tables, part: Ints, angle: float, i: Array, flux: Array, slopes: Array) -> None:
    """What two phases add to flux linkages and inductances."""
    p, q, numbers = part[6], part[7], m.numbers
    j, u, _ = _turned(numbers, part[1], part[4], angle)
    k, s, height = _place(numbers, part[2], part[5], i[p])
    n, t, width = _place(numbers, part[2], part[5], i[q])
    at = part[3] + 64 * ((j * part[5] + k) * part[5] + n)
    _, along, across, bend, mixed, bend_across = _pair(numbers, at, u, s, t)
    flux[p] += along / height
    flux[q] += across / width
    slopes[p, p] += bend / height**2
    slopes[q, q] += bend_across / width**2
    _add_mutual(slopes, p, q, mixed / (height * width))


@compiled
def _add_mutual(slopes: Array, p: int, q: int, mutual: float) -> None:
    slopes[p, q] += mutual
    slopes[q, p] += mutual


@compiled
def _pair(
    numbers: Array, at: int, u: float, s: float, t: float
) -> tuple[float, float, float, float, float, float]:
    """A polynomial in the places of an angle and of two currents, its slopes along the currents, and its second
    derivatives: along the first, along both, along the other."""
    value = along = across = bend = mixed = bend_across = 0.0
    for power in range(at + 48, at - 1, -16):
        row = row_along = row_bend = 0.0
        for c in range(power + 12, power - 1, -4):
            row_bend = row_bend * t + 2 * row_along
            row_along = row_along * t + row
            row = row * t + numbers[c] + u * (numbers[c + 1] + u * (numbers[c + 2] + u * numbers[c + 3]))
        bend = bend * s + 2 * along
        along = along * s + value
        mixed = mixed * s + across
        value = value * s + row
        across = across * s + row_along
        bend_across = bend_across * s + row_bend
    return value, along, across, bend, mixed, bend_across


@compiled
def _add_three(m: Tables, part: Ints, angle: float, i: Array, flux: Array, slopes: Array) -> None:
    """What three phases add to flux linkages and inductances: by powers of the first current, pairs of the others."""
    o, p, q, numbers = part[6], part[7], part[8], m.numbers
    j, u, _ = _turned(numbers, part[1], part[4], angle)
    h, r, depth = _place(numbers, part[2], part[5], i[o])
    k, s, height = _place(numbers, part[2], part[5], i[p])
    n, t, width = _place(numbers, part[2], part[5], i[q])
    at = part[3] + 256 * (((j * part[5] + h) * part[5] + k) * part[5] + n)
    value = along = across = bend = mixed = bend_across = 0.0
    deep = deep_along = deep_across = deep_bend = 0.0
    for power in range(at + 192, at - 1, -64):
        added = _pair(numbers, power, u, s, t)
        deep_bend = deep_bend * r + 2 * deep
        deep, deep_along, deep_across = deep * r + value, deep_along * r + along, deep_across * r + across
        value, along, across = value * r + added[0], along * r + added[1], across * r + added[2]
        bend, mixed, bend_across = bend * r + added[3], mixed * r + added[4], bend_across * r + added[5]
    flux[o] += deep / depth
    flux[p] += along / height
    flux[q] += across / width
    slopes[o, o] += deep_bend / depth**2
    slopes[p, p] += bend / height**2
    slopes[q, q] += bend_across / width**2
    _add_mutual(slopes, o, p, deep_along / (depth * height))
    _add_mutual(slopes, o, q, deep_across / (depth * width))
    _add_mutual(slopes, p, q, mixed / (height * width))


@compiled
def energy(m: Tables, angle: float, i: Array) -> tuple[float, float]:
    """Co-energy and torque at an angle and currents; what rests adds nothing."""
    coenergy = torque = 0.0
    for p in range(m.phases):
        if i[p] > 0.0:
            j, u, width = _turned(m.angles, 0, m.angles.size - 1, angle - p * m.stroke)
            k, s, _ = _place(m.currents, 0, m.currents.size - 1, i[p])
            value = turned = 0.0
            for power in range(5, -1, -1):
                c = m.single[k, j, power]
                value = value * s + c[0] + u * (c[1] + u * (c[2] + u * c[3]))
                turned = turned * s + c[1] + u * (2 * c[2] + u * 3 * c[3])
            coenergy += value
            torque += turned / width
    for row in range(m.sets.shape[0]):
        if _resting(m.sets[row], i) == 0:
            value, turned = _together(m, m.sets[row], angle, i)
            coenergy += value
            torque += turned
    return coenergy, torque


@compiled
def _together(m: Tables, part: Ints, angle: float, i: Array) -> tuple[float, float]:
    """Co-energy and torque that two or three phases add."""
    numbers, cells = m.numbers, part[5]
    cell, u, width = _turned(numbers, part[1], part[4], angle)
    first, r, _ = _place(numbers, part[2], cells, i[part[6]])
    cell = cell * cells + first if part[0] == 3 else cell
    k, s, _ = _place(numbers, part[2], cells, i[part[4 + part[0]]])
    n, t, _ = _place(numbers, part[2], cells, i[part[5 + part[0]]])
    at = part[3] + 4 ** (1 + part[0]) * ((cell * cells + k) * cells + n)
    value = turned = 0.0
    for power in range(at + (192 if part[0] == 3 else 0), at - 1, -64):
        pair = _pair_energy(numbers, power, u, s, t)
        value, turned = value * r + pair[0], turned * r + pair[1]
    return value, turned / width


@compiled
def _pair_energy(numbers: Array, at: int, u: float, s: float, t: float) -> tuple[float, float]:
    """A polynomial as in `_pair`, and its slope along the angle."""
    value = turned = 0.0
    for power in range(at + 48, at - 1, -16):
        row = row_turned = 0.0
        for c in range(power + 12, power - 1, -4):
            row = row * t + numbers[c] + u * (numbers[c + 1] + u * (numbers[c + 2] + u * numbers[c + 3]))
            row_turned = row_turned * t + numbers[c + 1] + u * (2 * numbers[c + 2] + u * 3 * numbers[c + 3])
        value = value * s + row
        turned = turned * s + row_turned
    return value, turned
