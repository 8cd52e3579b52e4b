"""From the joint fields of a set of phases to what it adds to all smaller sets: derivatives at nodes, `Interaction`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from polefem.maps import CoupledMap, FluxMap, Interaction
from polefem.sweep.idle import Idle
from polefem.sweep.sites import Known

__all__ = ["of_pair", "of_three", "thinned"]

Floats = NDArray[np.float64]

#: Value, torque, flux linkages, and the mixed derivatives, by the orders in the angle and in either current.
VALUE, TURNED, FIRST, SECOND = (0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)
BOTH, TURNED_FIRST, TURNED_SECOND = (0, 1, 1), (1, 1, 0), (1, 0, 1)


def thinned(levels: Floats) -> list[int]:
    """Which levels of current are kept where three phases conduct: the last, and those next to its thirds."""
    return sorted({int(np.abs(levels - part * levels[-1] / 3).argmin()) for part in (1, 2, 3)})


@dataclass(frozen=True, eq=False)
class Alone:
    """What two phases do alone, at angles (rad), shape (n,), and currents from 0 (A), shape (m + 1,).

    coenergy (J), torque (N m), linkage (Wb), inductance (H), turning (Wb/rad): of the first and the second phase, each
    of shape (2, n, m + 1). induced (Wb), mutual (H), drawn (Wb/rad): while the phase at that place conducts, what the
    other links, how that changes with the current, and with the angle; of the same shape.
    """

    angles: Floats
    currents: Floats
    coenergy: Floats
    torque: Floats
    linkage: Floats
    inductance: Floats
    turning: Floats
    induced: Floats
    mutual: Floats
    drawn: Floats

    @classmethod
    def of(
        cls, single: FluxMap, idle: Idle, phases: tuple[int, ...], angles: Floats, currents: Floats
    ) -> Alone:
        """From the map of one phase and the flux linkages of those that rest."""
        tables: list[list[Floats]] = [[] for _ in range(8)]
        for phase, other in zip(phases, phases[::-1], strict=True):
            own = (angles - phase * single.stroke)[:, None]
            values = single.potential.at(own, currents)
            beside = [
                idle.at(phase, angles, currents, turned, raised)[other]
                for turned, raised in ((0, 0), (0, 1), (1, 0))
            ]
            row = (values.coenergy, values.torque, values.flux_linkage, values.incremental_inductance)
            for table, found in zip(
                tables, (*row, single.potential.turning(own, currents), *beside), strict=True
            ):
                table.append(found)
        return cls(angles, currents, *(np.array(table) for table in tables))

    def both(self, name: str) -> Floats:
        """Of both phases together, at every pair of currents, shape (n, m + 1, m + 1)."""
        first, second = getattr(self, name)
        total: Floats = first[:, :, None] + second[:, None, :]
        return total


def pair_nodes(
    alone: Alone,
    coenergy: Floats,
    torque: Floats,
    linkages: Floats,
    mutual: Floats | None,
    turning: Floats | None,
) -> dict[tuple[int, ...], Floats]:
    """Derivatives of what two phases add to both alone, by their orders in the angle and in either current, each of
    shape (n, m + 1, m + 1).

    coenergy, torque, mutual: of shape (n, m, m). linkages, turning: of the two phases, (2, n, m, m). Where fields did
    not tell mutual and turning, no mixed derivatives are told.
    """
    inner = (slice(None), slice(1, None), slice(1, None))
    shape = (len(alone.angles), alone.currents.size, alone.currents.size)
    found: dict[tuple[int, ...], Floats] = {o: np.zeros(shape) for o in (VALUE, TURNED, FIRST, SECOND)}
    found[VALUE][inner] = coenergy - alone.both("coenergy")[inner]
    found[TURNED][inner] = torque - alone.both("torque")[inner]
    found[FIRST][inner] = linkages[0] - alone.linkage[0][:, 1:, None]
    found[SECOND][inner] = linkages[1] - alone.linkage[1][:, None, 1:]
    found[FIRST][:, 0, :], found[SECOND][:, :, 0] = alone.induced[1], alone.induced[0]
    if mutual is not None and turning is not None:
        found |= {order: np.zeros(shape) for order in (BOTH, TURNED_FIRST, TURNED_SECOND)}
        found[BOTH][inner] = mutual
        found[BOTH][:, 0, :], found[BOTH][:, :, 0] = alone.mutual[1], alone.mutual[0]
        found[BOTH][:, 0, 0] = alone.mutual[:, :, 0].mean(axis=0)
        found[TURNED_FIRST][inner] = turning[0] - alone.turning[0][:, 1:, None]
        found[TURNED_SECOND][inner] = turning[1] - alone.turning[1][:, None, 1:]
        found[TURNED_FIRST][:, 0, :], found[TURNED_SECOND][:, :, 0] = alone.drawn[1], alone.drawn[0]
    return found


def of_pair(
    single: FluxMap, idle: Idle, phases: tuple[int, ...], known: Known, levels: Floats
) -> Interaction:
    """What two phases that conduct together add to both alone."""
    currents = np.append(0.0, levels)
    alone = Alone.of(single, idle, phases, known.angles[:-1], currents)
    told = len(levels) > 1
    nodes = pair_nodes(
        alone,
        known.coenergy,
        known.torque,
        known.linkages[list(phases)],
        known.mutual if told else None,
        known.turning if told else None,
    )
    return Interaction.through(
        phases,
        known.angles,
        currents,
        nodes[VALUE],
        nodes[TURNED],
        np.stack([nodes[FIRST], nodes[SECOND]]),
        {orders: table for orders, table in nodes.items() if sum(orders) > 1},
    )


def of_three(
    lower: CoupledMap,
    phases: tuple[int, ...],
    known: Known,
    pairs: Callable[[tuple[int, ...]], Known],
    levels: dict[int, Floats],
) -> Interaction:
    """What three phases that conduct together add to what one and two of them do, the map `lower`.

    pairs: what is known of any two. What a resting phase links while the two others conduct is known at all levels of
    two phases and all their angles, and bends too much for the few of three: so the correction through those few is
    refined to all.
    """
    few, every, some = np.append(0.0, levels[3]), np.append(0.0, levels[2]), thinned(levels[2])
    two = {phase: pairs(tuple(other for other in phases if other != phase)) for phase in phases}
    inner: tuple[Any, ...] = (slice(None), *[slice(1, None)] * 3)
    angles = known.angles[:-1]
    below = lower.at(angles.reshape(-1, 1, 1, 1), _rows(few, phases, lower.phases))
    value, torque = np.zeros(below.torque.shape), np.zeros(below.torque.shape)
    linkages = np.zeros((3, *value.shape))
    value[inner] = known.coenergy - below.coenergy[inner]
    torque[inner] = known.torque - below.torque[inner]
    for axis, phase in enumerate(phases):
        linkages[axis][inner] = known.linkages[phase] - below.flux_linkages[inner][..., phase]
        face = tuple(0 if at == 1 + axis else part for at, part in enumerate(inner))
        told = _resting(two[phase], phase, angles)[np.ix_(range(len(angles)), some, some)]
        linkages[axis][face] = told - below.flux_linkages[face][..., phase]
    coarse = Interaction.through(phases, known.angles, few, value, torque, linkages)
    angles = np.unique(np.round(np.concatenate([pair.angles[:-1] for pair in two.values()]), 12))
    closed = np.append(angles, angles[0] + lower.pitch)
    rows = _rows(every, phases, lower.phases)
    spread = np.broadcast_to(angles.reshape(-1, 1, 1, 1), (len(angles), *rows.shape[:-1]))
    found = coarse.at(spread, np.broadcast_to(rows[..., list(phases)], (*spread.shape, 3)))
    below = lower.at(spread, rows)
    value, torque = found.coenergy.copy(), found.torque.copy()
    linkages = np.moveaxis(found.flux_linkages, -1, 0).copy()
    more = np.zeros((3, len(angles), every.size, every.size))
    for axis, phase in enumerate(phases):
        face = tuple(0 if at == 1 + axis else part for at, part in enumerate(inner))
        told = _resting(two[phase], phase, angles) - below.flux_linkages[face][..., phase]
        more[axis, :, 1:, 1:] = told - linkages[axis][face]
    carried = _carried(more, every)
    value += carried
    torque += CubicSpline(closed, np.concatenate([carried, carried[:1]]), bc_type="periodic")(angles, 1)
    for axis in range(3):
        face = (slice(None),) * (1 + axis) + (0,)
        exact = linkages[axis][face] + more[axis]
        linkages[axis] += CubicSpline(every, carried, axis=1 + axis)(every, 1)
        linkages[axis][face] = exact
    return Interaction.through(phases, closed, every, value, torque, linkages)


def _carried(more: Floats, every: Floats) -> Floats:
    """What three phases add where each links `more` while it rests, Wb, (3, n, m + 1, m + 1): J, (n,) + (m + 1,) * 3.

    It grows with the current of the one that rested and is gone at the last level, so that no piece has to bend for it
    alone: a Boolean sum over the three faces (S. A. Coons, Surfaces for Computer-Aided Design of Space Forms,
    1967, from memory), in which what grows from two faces at once counts once.
    """
    shape = every * (1.0 - every / every[-1]) ** 2
    letters = "ijk"
    found: Floats = np.zeros((more.shape[1], *[every.size] * 3))
    for axis in range(3):
        others = letters.replace(letters[axis], "")
        found += np.einsum(f"n{others},{letters[axis]}->nijk", more[axis], shape)
    for first, second in ((0, 1), (0, 2), (1, 2)):
        left = 3 - first - second
        both = [
            CubicSpline(every, more[one], axis=1 + (other if other < one else other - 1))(0.0, 1)
            for one, other in ((first, second), (second, first))
        ]
        spread = f"n{letters[left]},{letters[first]},{letters[second]}->nijk"
        found -= np.einsum(spread, (both[0] + both[1]) / 2, shape, shape)
    return found


def _rows(currents: Floats, phases: tuple[int, ...], count: int) -> Floats:
    """Currents of all phases at every three levels of three of them, shape (m + 1,) * 3 + (count,)."""
    rows = np.zeros((*[currents.size] * 3, count))
    rows[..., list(phases)] = np.stack(np.meshgrid(*[currents] * 3, indexing="ij"), axis=-1)
    return rows


def _resting(pair: Known, phase: int, angles: Floats) -> Floats:
    """What a phase links while two others conduct, at angles, Wb, shape (n, m, m)."""
    table = pair.linkages[phase]
    around = CubicSpline(pair.angles, np.concatenate([table, table[:1]]), bc_type="periodic")
    found: Floats = around(angles)
    return found
