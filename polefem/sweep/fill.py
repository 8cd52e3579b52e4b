"""Which levels of current of a pair need no field of their own, since pieces between coarser levels are close enough.

At the coarse levels fields tell more than the pieces need: how either flux linkage changes with its own current. Where
pieces bend otherwise than that, or their torque bends abruptly from one to the next, the levels between are solved.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline, CubicSpline

from polefem.maps import FluxMap
from polefem.sweep.correction import (
    BOTH,
    FIRST,
    SECOND,
    TURNED,
    TURNED_FIRST,
    TURNED_SECOND,
    VALUE,
    Alone,
    pair_nodes,
)
from polefem.sweep.idle import Idle
from polefem.sweep.sites import Values

__all__ = ["Filler", "shares"]

Floats = NDArray[np.float64]
#: What a phase links while two others conduct, Wb, at (n, n) currents, and how that changes with either, H.
Rest = tuple[Floats, list[Floats]]

#: Flux linkage, of the largest of one phase, and torque, of its peak, by which pieces may be off where no field is
#: asked.
FLUX, TORQUE = 1e-3, 2e-3
#: How far the slope of a cubic piece is off, over its width and how much more it bends at an end; and its value, over
#: the width squared and the jump of its second derivative: of the error f'''' h^4 / 24 u^2 (1 - u)^2.
SLOPE, LEAP = 0.096, 1 / 64


@dataclass(frozen=True, eq=False)
class Filler:
    """Fills in the levels of a pair at one node. single, idle: of one phase alone. levels: A, shape (m,). coarse: which
    of these have fields. idle_too: whether what a third phase links is to be close too."""

    single: FluxMap
    idle: Idle
    levels: Floats
    coarse: list[int]
    idle_too: bool

    @property
    def flux(self) -> float:
        """Flux linkage by which pieces may be off, Wb."""
        return FLUX * float(np.abs(self.single.flux_linkage).max())

    @property
    def torque(self) -> float:
        """Torque by which pieces may be off, N m."""
        return TORQUE * float(np.abs(self.single.torque).max())

    def fill(self, phases: tuple[int, ...], angle: float, values: Values) -> list[tuple[int, ...]]:
        """Put pieces' values where they are close enough, and return the levels that need fields.

        values: with fields at the coarse levels.
        """
        at, grid = np.array([angle]), np.ix_(self.coarse, self.coarse)
        few, every = np.append(0.0, self.levels[self.coarse]), np.append(0.0, self.levels)
        alone = Alone.of(self.single, self.idle, phases, at, few)
        linkages = np.array([values.linkages[phase][grid] for phase in phases])
        turning = np.array([table[grid] for table in values.turning])
        nodes = pair_nodes(
            alone,
            values.coenergy[grid][None],
            values.torque[grid][None],
            linkages[:, None],
            values.bends[0, phases[1]][grid][None],
            turning[:, None],
        )
        own = np.array([values.bends[k, phase][grid] for k, phase in enumerate(phases)])
        here = {orders: table[0] for orders, table in nodes.items()}
        second = own - np.stack(
            [alone.inductance[0, 0, 1:, None] + 0 * own[0], alone.inductance[1, 0, None, 1:] + 0 * own[1]]
        )
        others = [phase for phase in range(len(values.linkages)) if phase not in phases]
        resting = {phase: self._resting(phases, phase, alone, values) for phase in others}
        open_ = self._needed(few, here, second, list(resting.values()))
        self._put(
            phases, Alone.of(self.single, self.idle, phases, at, every), few, here, values, open_, resting
        )
        m = len(self.levels)
        known = {(i, j) for i in self.coarse for j in self.coarse}
        return [
            (i, j)
            for i in reversed(range(m))
            for j in reversed(range(m))
            if open_[i, j] and (i, j) not in known
        ]

    def _needed(
        self, few: Floats, here: dict[tuple[int, ...], Floats], second: Floats, resting: list[Rest]
    ) -> NDArray[np.bool_]:
        """Whether each pair of levels needs a field, shape (m, m)."""
        doubt, width = [], np.diff(few)[:, None]
        for axis, slope, turned in ((0, FIRST, TURNED_FIRST), (1, SECOND, TURNED_SECOND)):
            tables = (here[VALUE], here[slope], here[TURNED], here[turned], second[axis])
            value, flow, pull, change, bends = (table.T if axis else table for table in tables)
            bent = _bent(few, value, flow)
            # At either end of each piece; unknown where currents rest.
            exact = np.full((2, *bent.shape[1:]), np.nan)
            exact[1, :, 1:], exact[0, 1:, 1:] = bends, bends[:-1]
            off = np.nanmax(np.abs(bent - exact)[..., 1:], axis=0) * SLOPE * width / self.flux
            off = np.maximum(off, _leaps(few, pull, change) / self.torque)
            for table, slopes in resting if self.idle_too else ():
                linked, more = (one.T if axis else one for one in (table, slopes[axis]))
                off = np.maximum(off, _leaps(few, linked, more) / self.flux)
            doubt.append(off)
        m = len(self.levels)
        found = np.zeros((m, m), dtype=bool)
        for i in range(m):
            for j in range(m):
                worst = max(self._worst(doubt[0], i, j), self._worst(doubt[1], j, i))
                found[i, j] = worst > 1.0
        return found

    def _worst(self, doubt: Floats, along: int, across: int) -> float:
        """The worst doubt about pieces along one current at a level of it, by the rows beside a level of the other."""
        if along in self.coarse:
            return 0.0
        piece, row = (int(np.searchsorted(self.coarse, level)) for level in (along, across))
        rows = [row] if across in self.coarse else [row - 1, row]
        return max(float(doubt[piece, one]) for one in rows if one >= 0)

    def _put(
        self,
        phases: tuple[int, ...],
        alone: Alone,
        few: Floats,
        here: dict[tuple[int, ...], Floats],
        values: Values,
        open_: NDArray[np.bool_],
        resting: dict[int, Rest],
    ) -> None:
        """Values of the pieces at the levels that have no field and need none."""
        at, slopes = (_hermite(few, alone.currents, order) for order in (0, 1))
        mixed = (
            CubicSpline(few, here[TURNED_FIRST], axis=1)(few, 1)
            + CubicSpline(few, here[TURNED_SECOND])(few, 1)
        ) / 2
        still = _interleaved(here[VALUE], here[FIRST], here[SECOND], here[BOTH])
        moving = _interleaved(here[TURNED], here[TURNED_FIRST], here[TURNED_SECOND], mixed)
        added = {
            VALUE: at @ still @ at.T,
            FIRST: slopes @ still @ at.T,
            SECOND: at @ still @ slopes.T,
            BOTH: slopes @ still @ slopes.T,
            TURNED: at @ moving @ at.T,
            TURNED_FIRST: slopes @ moving @ at.T,
            TURNED_SECOND: at @ moving @ slopes.T,
        }
        added = {orders: table[1:, 1:] for orders, table in added.items()}
        free = ~open_
        free[np.ix_(self.coarse, self.coarse)] = False
        inner = np.s_[0, 1:, 1:]
        values.coenergy[free] = (added[VALUE] + alone.both("coenergy")[inner])[free]
        values.torque[free] = (added[TURNED] + alone.both("torque")[inner])[free]
        values.bends[0, phases[1]][free] = values.bends[1, phases[0]][free] = added[BOTH][free]
        for k, (linked, turned) in enumerate(((FIRST, TURNED_FIRST), (SECOND, TURNED_SECOND))):
            shape = (slice(None), None) if k == 0 else (None, slice(None))
            values.linkages[phases[k]][free] = (added[linked] + alone.linkage[k, 0, 1:][shape])[free]
            values.turning[k][free] = (added[turned] + alone.turning[k, 0, 1:][shape])[free]
        plain = _hermite(few, self.levels, 0)
        for phase, (table, slopes_) in resting.items():
            mixed = (CubicSpline(few, slopes_[0], axis=1)(few, 1) + CubicSpline(few, slopes_[1])(few, 1)) / 2
            through = plain @ _interleaved(table, slopes_[0], slopes_[1], mixed) @ plain.T
            values.linkages[phase][free] = through[free]

    def _resting(self, phases: tuple[int, ...], phase: int, alone: Alone, values: Values) -> Rest:
        """What a third phase links at the coarse levels and where either current is 0, with its slopes."""
        few, grid = np.append(0.0, self.levels[self.coarse]), np.ix_(self.coarse, self.coarse)
        table, slopes = np.zeros((few.size, few.size)), []
        table[1:, 1:] = values.linkages[phase][grid]
        for axis, one in enumerate(phases):  # while the other rests
            np.moveaxis(table, axis, 0)[:, 0] = self.idle.at(one, alone.angles, few)[phase, 0]
        for axis, one in enumerate(phases):
            slope = CubicSpline(few, table, axis=axis)(few, 1)
            slope[1:, 1:] = values.bends[axis, phase][grid]
            np.moveaxis(slope, axis, 0)[:, 0] = self.idle.at(one, alone.angles, few, raised=1)[phase, 0]
            slopes.append(slope)
        return table, slopes


def _leaps(few: Floats, value: Floats, slope: Floats) -> Floats:
    """How far cubic pieces along the first axis may be off, by how abruptly they bend from one to the next; the first
    column, where the other current rests, left out."""
    bent = _bent(few, value, slope)
    jump = np.abs(bent[0, 1:] - bent[1, :-1])[:, 1:]
    beside = np.zeros((few.size - 1, jump.shape[1]))
    beside[1:] = jump
    beside[:-1] = np.maximum(beside[:-1], jump)
    found: Floats = beside * LEAP * np.diff(few)[:, None] ** 2
    return found


def _bent(x: Floats, value: Floats, slope: Floats) -> Floats:
    """Second derivatives of Hermite's cubics along the first axis, at start and end of each piece, shape (2, ...)."""
    h = np.diff(x).reshape(-1, *[1] * (value.ndim - 1))
    gained = np.diff(value, axis=0) / h
    return np.stack(
        [
            (6 * gained - 4 * slope[:-1] - 2 * slope[1:]) / h,
            (-6 * gained + 2 * slope[:-1] + 4 * slope[1:]) / h,
        ]
    )


def _hermite(x: Floats, at: Floats, order: int) -> Floats:
    """What each value and slope at x counts for a cubic piece (or its derivative) at some places, (n_at, 2 n_x)."""
    unit, none = np.eye(x.size), np.zeros((x.size, x.size))
    values, slopes = (
        CubicHermiteSpline(x, unit, none)(at, order),
        CubicHermiteSpline(x, none, unit)(at, order),
    )
    return np.concatenate([values, slopes], axis=1)


def _interleaved(value: Floats, first: Floats, second: Floats, both: Floats) -> Floats:
    """Nodes as `_hermite` weighs them on either side."""
    return np.block([[value, second], [first, both]])


def shares(levels: Floats, current: float) -> tuple[Floats, Floats]:
    """What fields at levels, and their slopes there, count for the field at a current: cubic between two levels,
    straight below the lowest."""
    if current <= levels[0]:
        first = np.eye(levels.size)[0]
        return first, first * (current - levels[0])
    both = _hermite(levels, np.array([current]), 0)[0]
    return both[: levels.size], both[levels.size :]
