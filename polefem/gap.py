"""The air gap: the only room that knows the rotor angle.

Between the circle where the rotor's mesh ends and the circle where the stator's begins, the field is known in closed
form once it is known on the two circles. With trace coefficients c_n of the rotor and d_n of the stator (A is the
sum over n of Re(c_n exp(i n phi))), the magnetic energy per length of the annulus, whole turn, is

    (nu0 pi / 2) sum_n n [(|c_n|^2 + |d_n|^2) coth(n L) - 2 Re(c_n conj(d_n)) / sinh(n L)],    L = ln(r2 / r1),

and for n = 0, with mean values, nu0 pi (c_0 - d_0)^2 / L. Turning the rotor by theta multiplies c_n by
exp(-i n theta): no mesh moves, and the torque is the exact derivative of the discrete energy. A flat section has the
same formula with L = gap / radius. Source: H. Egger, M. Harutyunyan, R. Loescher, M. Merkel, S. Schoeps, On torque
computation in electric machine simulation by harmonic mortar methods, J. Math. Industry 12:6 (2022), which couples
through multipliers instead.

The traces are piecewise quadratic, and the Fourier integrals of quadratics are spherical Bessel functions: exact.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.constants import mu_0
from scipy.special import spherical_jn

from polefem.model import Trace

__all__ = ["Gap", "fourier"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Ints = NDArray[np.int64]

#: Harmonics are summed up to this many to the finest trace element: a quadratic trace has no more to say.
PER_ELEMENT = 2.0
#: exp(-n L) past this exponent is nothing: the two circles no longer see each other.
DEEP = 16.0
#: The coupling reaches this many times the annulus's width along it and no further: it falls as exp(-pi x / L).
REACH = 9.0
#: And no less than this many radians of its highest harmonic, where elements are longer than the annulus is wide.
WAVES = 80.0

#: Legendre coefficients (rows: degree 0, 1, 2) of the three quadratic shape functions on [-1, 1].
SHAPES = np.array([[1 / 6, 2 / 3, 1 / 6], [-1 / 2, 0.0, 1 / 2], [1 / 3, -2 / 3, 1 / 3]])


def fourier(trace: Trace, orders: Floats, sectors: int) -> Complexes:
    """Fourier coefficients c_n of the whole turn, for each unit unknown on the trace of one sector.

    orders: ndarray, shape (n_orders,): those the sector's symmetry admits. Returns an ndarray, shape (n_orders,
    trace.size). For n = 0 the coefficient is twice the mean value.
    """
    lows, highs = trace.angles[:-1:2], trace.angles[2::2]
    half, middle = (highs - lows) / 2, (highs + lows) / 2
    bessel = [spherical_jn(degree, orders[:, None] * half) for degree in range(3)]
    turn = np.exp(-1j * orders[:, None] * middle) * (half * 2 * sectors / math.pi)
    coefficients = np.zeros((trace.size, len(orders)), dtype=complex)
    for node in range(3):
        terms = np.zeros_like(turn)
        for degree in range(3):
            terms += SHAPES[degree, node] * (-1j) ** degree * bessel[degree]
        at = slice(node, len(trace.angles) - 2 + node, 2)
        np.add.at(coefficients, trace.unknowns[at], (turn * terms).T * trace.signs[at, None])
    return np.ascontiguousarray(coefficients.T)


class Gap:
    """The coupling of two traces across the annulus, per length of one sector.

    log_ratio: L = ln(r2 / r1) of the trace radii; flat: their distance over the section's radius. sectors,
    antiperiodic: of the symmetry. The highest harmonics are faded out, not cut off: a thin annulus couples only what
    lies close together, and a cut would smear that (Gibbs) over blocks that are otherwise sparse.
    """

    def __init__(
        self, rotor: Trace, stator: Trace, log_ratio: float, sectors: int, antiperiodic: bool
    ) -> None:
        finest = min(float(np.diff(trace.angles[::2]).min()) for trace in (rotor, stator))
        step = sectors / 2 if antiperiodic else sectors
        highest = PER_ELEMENT * 2 * math.pi / finest
        orders = np.arange(step, highest, 2 * step if antiperiodic else step)
        fade = np.exp(-36.0 * (orders / highest) ** 8)
        scale = math.pi / (mu_0 * sectors)
        ours, theirs = fourier(rotor, orders, sectors), fourier(stator, orders, sectors)
        own = np.sqrt(scale * fade * orders / np.tanh(orders * log_ratio))[:, None]
        seen = orders * log_ratio < DEEP
        mixed = np.sqrt(scale * fade[seen] * orders[seen] / np.sinh(orders[seen] * log_ratio))[:, None]
        self.rotor_self = _real_product(ours * own, ours * own)
        self.stator_self = _real_product(theirs * own, theirs * own)
        self._orders, self._rotor, self._stator = orders[seen], ours[seen] * mixed, theirs[seen] * mixed
        self._log_ratio, self._mixed = log_ratio, mixed[:, 0]
        if not antiperiodic:
            self._add_mean(rotor, stator, math.sqrt(2 * scale / log_ratio), sectors)
        self._reach = max(REACH * log_ratio, WAVES / highest)
        self._period = 2 * math.pi / sectors
        self._groups = _groups(rotor, self._reach)
        self._stator_extent = _extent(stator)

    def _add_mean(self, rotor: Trace, stator: Trace, weight: float, sectors: int) -> None:
        """The part of n = 0: only the difference of the two mean values holds energy."""
        zero = np.zeros(1)
        mean = weight / 2  # fourier gives twice the mean
        ours, theirs = fourier(rotor, zero, sectors) * mean, fourier(stator, zero, sectors) * mean
        self.rotor_self += _real_product(ours, ours)
        self.stator_self += _real_product(theirs, theirs)
        self._orders, self._mixed = np.concatenate([zero, self._orders]), np.append(mean, self._mixed)
        self._rotor = np.concatenate([ours, self._rotor])
        self._stator = np.concatenate([theirs, self._stator])

    def coupling(self, angle: float) -> tuple[Floats, Floats]:
        """Mixed second derivative of the energy at a rotor angle (rad), and its own derivative with the angle.

        Both of shape (rotor.size, stator.size). The energy of the coupling is rotor @ first @ stator per length of
        the sector, so the torque on the rotor is -rotor @ second @ stator.
        """
        turned = self._rotor * np.exp(-1j * self._orders * angle)[:, None]
        both = np.concatenate([-turned, (1j * self._orders)[:, None] * turned], axis=1)
        size = self._rotor.shape[1]
        block, slope = np.zeros((2, size, self._stator.shape[1]))
        low, high = self._stator_extent
        for members, start, end in self._groups:
            # Distance from the group to each stator unknown, round the period.
            middle, half = (start + end) / 2 + angle, (end - start) / 2
            away = np.abs((low + high) / 2 - middle) % self._period
            near = np.minimum(away, self._period - away) <= half + (high - low) / 2 + self._reach
            columns = np.flatnonzero(near)
            rows = np.concatenate([members, members + size])
            product = _real_product(both[:, rows], self._stator[:, columns])
            block[np.ix_(members, columns)], slope[np.ix_(members, columns)] = np.split(product, 2)
        return block, slope

    def flux_density(
        self, rotor: Floats, stator: Floats, angle: float, places: Floats
    ) -> tuple[Floats, Floats]:
        """Flux density on the circle midway (in the logarithm of the radius) between the traces, times its radius.

        rotor, stator: unknowns of the traces. angle: of the rotor, rad. places: ndarray, shape (n,), rad. Returns the
        radial part, positive outwards, and the tangential part, positive counter-clockwise where the rotor lies inside
        and clockwise where it lies outside; each of shape (n,), Wb/m.
        """
        orders, half = self._orders, self._log_ratio / 2
        ours = (self._rotor @ rotor) / self._mixed * np.exp(-1j * orders * angle)
        theirs = (self._stator @ stator) / self._mixed
        still = orders == 0.0  # the means, of which `fourier` gives twice
        moving = np.where(still, 1.0, orders)
        radial = 1j * orders * (ours + theirs) / (2 * np.cosh(orders * half))
        slope = np.where(still, 1 / (4 * half), moving / (2 * np.sinh(moving * half)))
        waves = np.exp(1j * places[:, None] * orders)
        return (waves @ radial).real, (waves @ (slope * (ours - theirs))).real


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


def _groups(trace: Trace, reach: float) -> list[tuple[Ints, float, float]]:
    """Unknowns in runs of about `reach` or of a twelfth of the trace: members, first and last angle of each run."""
    low, high = _extent(trace)
    width = max(2 * reach, float(np.ptp(trace.angles)) / 12)
    run = np.floor(((low + high) / 2 - trace.angles[0]) / width).astype(np.int64)
    members = [np.flatnonzero(run == number) for number in np.unique(run)]
    return [(found, float(low[found].min()), float(high[found].max())) for found in members]


def _real_product(left: Complexes, right: Complexes) -> Floats:
    """Re(left^H right) for arrays of shape (n_orders, k) and (n_orders, l), as one real product."""
    one = np.concatenate([left.real, left.imag])
    other = one if right is left else np.concatenate([right.real, right.imag])
    product: Floats = one.T @ other
    return product
