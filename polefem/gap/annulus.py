"""The coupling of two circles across the air between them.

Between the circle where the rotor's mesh ends and the circle where the stator's begins, the field is known in closed
form once it is known on the two circles. With trace coefficients c_n of the rotor and d_n of the stator (A is the
sum over n of Re(c_n exp(i n phi))), the magnetic energy per length of the annulus, whole turn, is

    (nu0 pi / 2) sum_n n [(|c_n|^2 + |d_n|^2) coth(n L) - 2 Re(c_n conj(d_n)) / sinh(n L)],    L = ln(r2 / r1),

and for n = 0, with mean values, nu0 pi (c_0 - d_0)^2 / L. Turning the rotor by theta multiplies c_n by
exp(-i n theta): no mesh moves, and the torque is the exact derivative of the discrete energy. A flat section has the
same formula with L = gap / radius. Source: H. Egger, M. Harutyunyan, R. Loescher, M. Merkel, S. Schoeps, On torque
computation in electric machine simulation by harmonic mortar methods, J. Math. Industry 12:6 (2022), which couples
through multipliers instead.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.constants import mu_0

from polefem.gap.harmonics import fourier, pieces
from polefem.model import Trace

__all__ = ["Gap"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Ints = NDArray[np.int64]

#: Harmonics are summed up to this many to the finest trace element: a quadratic trace has no more to say.
PER_ELEMENT = 2.0
#: Past this n L nothing of either circle's field is left midway between them: it falls as exp(-n L / 2) there.
DEEP = 32.0
#: The coupling reaches this many times the annulus's width along it and no further: it falls as exp(-pi x / L).
REACH = 9.0
#: And no less than this many radians of its highest harmonic, where elements are longer than the annulus is wide: there
#: the fading leaves at most 1e-9 of the kernel's peak (at 80 radians 1e-6; by quadrature).
WAVES = 120.0
#: Entries of a trace's own block below this part of the largest are left out. No field sees them, nor those a hundred
#: times as large; but as nodes slide they grow ten thousand times faster than the ring's energy does.
NEGLIGIBLE = 1e-14
#: A trace falls into no more runs than about this: each costs a few products of small matrices.
MOST_RUNS = 400


@dataclass(frozen=True, eq=False)
class _Shapes:
    """Functions of the angle. low, high: each is zero outside these, rad, shape (n,). integrals: as `fourier` gives
    them for the orders. runs: numbers of functions that lie side by side."""

    low: Floats
    high: Floats
    orders: Floats
    integrals: Complexes
    runs: list[Ints]

    @cached_property
    def rows(self) -> Complexes:
        """Integrals by function, shape (n, n_orders)."""
        return np.ascontiguousarray(self.integrals.T)

    @cached_property
    def spans(self) -> tuple[Floats, Floats]:
        """First and last angle of each run, rad, shape (n_runs,)."""
        return (
            np.array([self.low[run].min() for run in self.runs]),
            np.array([self.high[run].max() for run in self.runs]),
        )

    def upto(self, count: int) -> _Shapes:
        """The same with their first harmonics alone."""
        return _Shapes(self.low, self.high, self.orders[:count], self.integrals[:count].copy(), self.runs)


class Gap:
    """The coupling of two traces across the annulus, per length of one sector.

    log_ratio: L = ln(r2 / r1) of the trace radii; flat: their distance over the section's radius. sectors,
    antiperiodic: of the symmetry. The highest harmonics are faded out, not cut off: a thin annulus couples only what
    lies close together, and a cut would smear that (Gibbs) over blocks that are otherwise sparse.

    traces: of the rotor and the stator. rotor_self, stator_self: sparse, second derivatives of the energy with each
    trace's own unknowns. like: the gap whose harmonics are kept (`slid`).

    Each run of unknowns is summed over the harmonics of a period of its own, just long enough for all that couples with
    it: what is repeated with that period lies out of reach (Poisson's summation formula). So the work grows with the
    length of the traces over the gap, not with its cube, and a gap of 0.1 mm on a rotor of a metre can be had.
    """

    def __init__(
        self,
        rotor: Trace,
        stator: Trace,
        log_ratio: float,
        sectors: int,
        antiperiodic: bool,
        like: Gap | None = None,
    ) -> None:
        self.traces = rotor, stator
        self._log_ratio, self._antiperiodic = log_ratio, antiperiodic
        self._sectors, self._span = sectors, 2 * math.pi / sectors
        extents = [_extent(trace) for trace in self.traces]
        if like is None:
            finest = min(float(np.diff(trace.angles[::2]).min()) for trace in self.traces)
            highest = PER_ELEMENT * 2 * math.pi / finest
            self._reach = max(REACH * log_ratio, WAVES / highest)
            self._width = max(2 * self._reach, self._span / MOST_RUNS)
        else:
            self._reach, self._width = like._reach, like._width
        shapes = [(*extent, _runs(*extent, self._width)) for extent in extents]
        self._all: tuple[Floats, Floats] = self._harmonics(shapes, highest) if like is None else like._all
        orders, weight = self._all
        traces = [
            _Shapes(low, high, orders, fourier(trace, orders), run)
            for trace, (low, high, run) in zip(self.traces, shapes, strict=True)
        ]
        own = [self.own_block(trace) for trace in traces]
        kept = own if like is None else [like.rotor_self, like.stator_self]
        self.rotor_self: sp.csr_matrix = _notable(own[0], kept[0])
        self.stator_self: sp.csr_matrix = _notable(own[1], kept[1])
        self._count = int(np.searchsorted(orders, DEEP / log_ratio))
        self._rotor, self._stator = (trace.upto(self._count) for trace in traces)
        self._orders, self._weight = orders[: self._count], weight[: self._count]

    def slid(self, rotor: Trace, stator: Trace) -> Gap:
        """The gap of the same traces with their nodes slid along their circles, summed over the same harmonics: so its
        energy is smooth in their places."""
        return Gap(rotor, stator, self._log_ratio, self._sectors, self._antiperiodic, like=self)

    def _harmonics(
        self, shapes: list[tuple[Floats, Floats, list[Ints]]], highest: float
    ) -> tuple[Floats, Floats]:
        """Orders of the runs' period, the sector's own where that is no longer, and what each weighs."""
        widest = max(float(high[run].max() - low[run].min()) for low, high, runs in shapes for run in runs)
        longest = max(float((high - low).max()) for low, high, _ in shapes)
        period, first = widest + longest + 2 * self._reach, 0.0
        if period >= self._span:
            period, first = self._span, 0.5 if self._antiperiodic else 0.0
        spacing = 2 * math.pi / period
        orders = np.arange(first, highest / spacing) * spacing
        # Of the inverse transform; a harmonic stands for itself and for its opposite, but the mean for itself alone.
        weight = spacing / (2 * math.pi) * np.where(orders == 0.0, 1.0, 2.0)
        return orders, weight * np.exp(-36.0 * (orders / highest) ** 8)

    def own_block(self, shapes: _Shapes) -> sp.csr_matrix:
        """Second derivatives of the energy of one trace alone with what is made of these shapes."""
        orders, weight = self._all
        own = weight / mu_0 * _over_tanh(orders, self._log_ratio)
        return self._blocks(shapes, shapes, 0.0, own[None])[0]

    def mixed_blocks(self, ours: _Shapes, theirs: _Shapes, angle: float) -> list[sp.csr_matrix]:
        """Those of one with the other, and how they change with the angle."""
        mixed = self._weight / mu_0 * _over_sinh(self._orders, self._log_ratio)
        return self._blocks(ours, theirs, angle, np.stack([-mixed, 1j * self._orders * mixed]))

    def pieces(self, trace: Trace) -> tuple[_Shapes, _Shapes]:
        """Legendre's polynomials of degree 0, 1 and 2 on each element of a trace, over all harmonics and over those
        that cross the gap."""
        low, high = np.repeat(trace.angles[:-1:2], 3), np.repeat(trace.angles[2::2], 3)
        orders, _ = self._all
        integrals = np.stack(pieces(trace, orders), axis=2).reshape(len(orders), -1)
        every = _Shapes(low, high, orders, integrals, _runs(low, high, self._width))
        return every, every.upto(self._count)

    def coupling(self, angle: float) -> tuple[sp.csr_matrix, sp.csr_matrix]:
        """Mixed second derivative of the energy at a rotor angle (rad), and its own derivative with the angle.

        Both sparse, of shape (rotor.size, stator.size). The energy of the coupling is rotor @ first @ stator per
        length of the sector, so the torque on the rotor is -rotor @ second @ stator.
        """
        block, slope = self.mixed_blocks(self._rotor, self._stator, angle)
        return block, slope

    def flux_density(
        self, rotor: Floats, stator: Floats, angle: float, places: Floats
    ) -> tuple[Floats, Floats]:
        """Flux density on the circle midway (in the logarithm of the radius) between the traces, times its radius.

        rotor, stator: unknowns of the traces. angle: of the rotor, rad. places: ndarray, shape (n,), rad, increasing in
        even steps. Returns the radial part, positive outwards, and the tangential part, positive counter-clockwise
        where the rotor lies inside and clockwise where it lies outside; each of shape (n,), Wb/m.
        """
        orders, half = self._orders, self._log_ratio / 2
        radial = self._weight * orders / (2 * np.cosh(orders * half))
        along = self._weight * _over_sinh(orders, half) / 2
        ours = self._seen(self._rotor, rotor, angle, np.stack([1j * radial, along]), places)
        theirs = self._seen(self._stator, stator, 0.0, np.stack([1j * radial, -along]), places)
        return (ours + theirs)[:, 0], (ours + theirs)[:, 1]

    def _seen(
        self, ours: _Shapes, values: Floats, angle: float, weights: Complexes, places: Floats
    ) -> Floats:
        """What a trace's unknowns, turned by an angle, make of each of two kernels at even places, shape (n, 2)."""
        own = np.array([weights * (ours.integrals[:, run] @ values[run]) for run in ours.runs])
        at, copies, low, high = self._windows(ours, angle, places)
        signs = np.where(copies % 2, -1.0 if self._antiperiodic else 1.0, 1.0)
        begun = signs[:, None] * np.exp(
            1j * np.outer(places[low] - angle - copies * self._span, self._orders)
        )
        # From the first place that each run reaches it is the same steps on: one table serves all.
        table = _powers(
            self._orders * (places[-1] - places[0]) / max(len(places) - 1, 1), int((high - low).max())
        )
        left, right = np.concatenate([table.real, -table.imag], axis=1), own[at] * begun[:, None]
        seen = left @ np.concatenate([right.real, right.imag], axis=2).reshape(-1, left.shape[1]).T
        found = np.zeros((len(places), len(weights)))
        for one, start, end in zip(seen.T.reshape(len(at), len(weights), -1), low, high, strict=True):
            found[start:end] += one[:, : end - start].T
        return found

    def _windows(self, ours: _Shapes, angle: float, places: Floats) -> tuple[Ints, Ints, Ints, Ints]:
        """Which even places each run reaches once it is turned by an angle, and which each of its copies in other
        sectors: the run's number, by how many sectors it is carried, the first place and the one after the last."""
        span, (start, end) = self._span, ours.spans
        middle = (start + end) / 2 + angle
        least, most = (places[0] - middle.max()) / span - 1, (places[-1] - middle.min()) / span + 1
        copies = np.arange(math.floor(least), math.ceil(most) + 1)
        # In half sectors, so that where runs reach all of one, the last place of a copy is just before the next one's.
        part = np.minimum((end - start + 2 * self._reach) / span, 1.0)
        edges = middle[:, None] + span / 2 * (2.0 * copies + np.stack([-part, part])[:, :, None])
        low, high = np.searchsorted(places, edges)
        at, copy = np.nonzero(low < high)
        return at, copies[copy], low[at, copy], high[at, copy]

    def _nearest(
        self, ours: _Shapes, angle: float, low: Floats, high: Floats
    ) -> Iterator[tuple[int, Ints, Complexes]]:
        """Which shapes between these angles each run reaches once it is turned by an angle, or which copies of them in
        another sector: the run's number, theirs, and by what its harmonics are turned there, with the field's sign."""
        middle, half = (low + high) / 2, (high - low) / 2
        start, end = (edge[:, None] for edge in ours.spans)
        # From each run to each of the others, or to that copy of it in another sector which is nearest.
        away = middle - (start + end) / 2 - angle
        copy = -np.round(away / self._span)
        near = np.abs(away + copy * self._span) <= (end - start) / 2 + half + self._reach
        turned: dict[int, Complexes] = {}
        for at in range(len(ours.runs)):
            found = np.flatnonzero(near[at])
            shifts = copy[at, found].astype(int)
            for shift in sorted(set(shifts.tolist())):
                if shift not in turned:
                    sign = -1.0 if self._antiperiodic and shift % 2 else 1.0
                    turned[shift] = sign * np.exp(-1j * ours.orders * (angle - shift * self._span))
                yield at, found[shifts == shift], turned[shift]

    def _blocks(
        self, ours: _Shapes, theirs: _Shapes, angle: float, weights: Floats | Complexes
    ) -> list[sp.csr_matrix]:
        """For each row of weights (a kernel's harmonics): what each of ours, turned by an angle, makes of the kernel
        at each of theirs, as far as it reaches."""
        rows, columns, values = [], [], []
        for at, found, turned in self._nearest(ours, angle, theirs.low, theirs.high):
            run = ours.runs[at]
            left = (turned * weights)[:, None] * ours.rows[run]
            product = _real(left.reshape(-1, left.shape[2])) @ _real(theirs.rows[found]).T
            rows.append(np.repeat(run, len(found)))
            columns.append(np.tile(found, len(run)))
            values.append(product.reshape(len(weights), -1))
        place = np.concatenate(rows), np.concatenate(columns)
        shape = len(ours.low), len(theirs.low)
        return [sp.csr_matrix((value, place), shape=shape) for value in np.concatenate(values, axis=1)]


def _extent(trace: Trace) -> tuple[Floats, Floats]:
    """First and last angle at which each unknown's shape is not zero, rad; the tied end counts where it begins."""
    low, high = np.full(trace.size, np.inf), np.full(trace.size, -np.inf)
    nodes = np.arange(len(trace.angles))
    before = trace.angles[np.maximum(nodes - 2 + nodes % 2, 0)]
    after = trace.angles[np.minimum(nodes + 2 - nodes % 2, len(nodes) - 1)]
    np.minimum.at(low, trace.unknowns[:-1], before[:-1])
    np.maximum.at(high, trace.unknowns[:-1], after[:-1])
    # The last node shares the first one's unknown: its element reaches as far before the first node.
    low[trace.unknowns[0]] -= trace.angles[-1] - trace.angles[-3]
    return low, high


def _runs(low: Floats, high: Floats, width: float) -> list[Ints]:
    """Numbers of the shapes whose middles lie in each stretch of a width, rad."""
    middle = (low + high) / 2
    number = np.floor((middle - middle.min()) / width).astype(np.int64)
    return [np.flatnonzero(number == k) for k in np.unique(number)]


def _over_tanh(orders: Floats, log_ratio: float) -> Floats:
    """n / tanh(n L)."""
    n = np.where(orders == 0.0, 1.0, orders)
    result: Floats = np.where(orders == 0.0, 1 / log_ratio, n / np.tanh(n * log_ratio))
    return result


def _over_sinh(orders: Floats, log_ratio: float) -> Floats:
    """n / sinh(n L)."""
    n = np.where(orders == 0.0, 1.0, orders)
    result: Floats = np.where(orders == 0.0, 1 / log_ratio, n / np.sinh(n * log_ratio))
    return result


def _notable(matrix: sp.csr_matrix, pattern: sp.csr_matrix) -> sp.csr_matrix:
    """The entries that matter in a symmetric pattern: either way, since one of a pair may lie just out of reach."""
    size = abs(pattern).minimum(abs(pattern.T))
    matters = sp.csr_matrix(size > NEGLIGIBLE * size.max(), dtype=float)
    return sp.csr_matrix(matrix.multiply(matters))


def _powers(phases: Floats, count: int) -> Complexes:
    """Units turned by 0, 1, 2 ... times as many phases (rad, shape (n,)), shape (count, n)."""
    few = math.isqrt(count) + 1
    fine, rough = (np.exp(1j * np.outer(np.arange(few) * step, phases)) for step in (1, few))
    powers: Complexes = (rough[:, None] * fine).reshape(few * few, -1)[:count]
    return powers


def _real(numbers: Complexes) -> Floats:
    """Real parts and imaginary ones by turns, (n, 2 n_orders): of two products of such the sum is Re(left^H right)."""
    return numbers.view(np.float64)
