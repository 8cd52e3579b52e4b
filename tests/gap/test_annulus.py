"""The gap against closed answers: two circles with sinusoidal potentials, and two sheets of sinusoidal current.

Source: separation of variables in an annulus (any textbook of potential theory; derived here). The reference solves
for a(r) of A = Re(a(r) exp(i n phi)) from its two ends, integrates B^2 / 2 mu0 with Gauss points, and takes the torque
from the stress r^2 Br Bphi / mu0, so that it shares nothing with the formula of the room.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np
import pytest
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.constants import mu_0
from scipy.integrate import quad

from polefem.gap import Gap, fourier
from polefem.gap.annulus import _extent
from polefem.model import Trace
from tests.gallery import converges

Floats = NDArray[np.float64]

INNER, OUTER = 30e-3, 31.5e-3
LOG_RATIO = math.log(OUTER / INNER)
#: Sectors, antiperiodic, harmonic: the smallest of each kind and one beyond it.
SYMMETRIES = [(1, False, 1), (1, False, 2), (2, True, 1), (2, True, 3), (4, False, 4), (4, True, 6)]
ANGLES = [0.0, 0.2, -1.3]


def trace_by_hand(corners: Floats, antiperiodic: bool = False) -> Trace:
    """A trace with corner nodes at angles (rad, first and last one sector apart) and its middles between them."""
    angles = np.empty(2 * len(corners) - 1)
    angles[::2] = corners
    angles[1::2] = (corners[1:] + corners[:-1]) / 2
    unknowns = np.arange(len(angles))
    unknowns[-1] = 0
    signs = np.ones(len(angles))
    signs[-1] = -1.0 if antiperiodic else 1.0
    return Trace(angles, unknowns, signs)


def even_corners(count: int, span: float, start: float = 0.0) -> Floats:
    """Corner nodes of `count` equal elements."""
    return start + np.linspace(0.0, span, count + 1)


def graded_corners(count: int, span: float, start: float = 0.0, ratio: float = 8.0) -> Floats:
    """Corner nodes of `count` elements whose sizes differ by `ratio`, smallest at both ends of the span."""
    at = np.linspace(0.0, 1.0, count + 1)
    depth = (ratio - 1) / (ratio + 1)
    return start + span * (at - depth / (2 * math.pi) * np.sin(2 * math.pi * at))


@dataclass(frozen=True)
class Annulus:
    """Closed field between INNER and OUTER with amplitudes p and q of A (Wb/m) at its ends, harmonic n."""

    order: int
    p: complex
    q: complex

    def _ends(self) -> tuple[complex, complex]:
        n = self.order
        matrix = np.array([[1.0, 1.0], [(OUTER / INNER) ** n, (INNER / OUTER) ** n]])
        rising, falling = np.linalg.solve(matrix, np.array([self.p, self.q]))
        return complex(rising), complex(falling)

    def _at(self, r: float) -> tuple[complex, complex]:
        """a and da/dr."""
        n, (rising, falling) = self.order, self._ends()
        up, down = rising * (r / INNER) ** n, falling * (INNER / r) ** n
        return up + down, n / r * (up - down)

    def energy(self) -> float:
        """Of the whole turn, J per metre."""
        points, weights = np.polynomial.legendre.leggauss(30)
        total = 0.0
        for x, w in zip(points, weights, strict=True):
            r = (INNER + OUTER) / 2 + (OUTER - INNER) / 2 * x
            a, slope = self._at(r)
            density = (abs(self.order * a / r) ** 2 + abs(slope) ** 2) / (2 * mu_0)
            total += w * (OUTER - INNER) / 2 * math.pi * r * density
        return total

    def torque(self) -> float:
        """On the inner circle, whole turn, N m per metre."""
        a, slope = self._at(INNER)
        return self.order * math.pi * INNER / mu_0 * (a * slope.conjugate()).imag


@pytest.mark.parametrize("antiperiodic", [False, True])
def test_a_shape_reaches_over_the_elements_of_its_node_and_no_further(antiperiodic: bool) -> None:
    """A corner's shape reaches over both elements beside it, a middle's over its own; the first corner's also over the
    sector's last element, which is as far before it."""
    corners = np.array([0.0, 0.1, 0.3, 0.35, 0.6, 0.8])
    low, high = _extent(trace_by_hand(corners, antiperiodic))
    last = corners[-1] - corners[-2]
    np.testing.assert_allclose(low[::2], [-last, *corners[:4]], atol=1e-15)
    np.testing.assert_allclose(high[::2], corners[1:])
    np.testing.assert_allclose(low[1::2], corners[:-1])
    np.testing.assert_allclose(high[1::2], corners[1:])


def spread(trace: Trace, order: int, amplitude: complex) -> Floats:
    """Re(amplitude exp(i n phi)) at the trace's nodes, by unknown."""
    values = np.empty(trace.size)
    wave = (amplitude * np.exp(1j * order * trace.angles)).real
    values[trace.unknowns[::-1]] = (trace.signs * wave)[::-1]
    return values


def sheet(trace: Trace, order: int, amplitude: complex) -> Floats:
    """Load of a current sheet: Re(amplitude exp(i n phi)) ampere per radian against each shape, by Gauss points."""
    points, weights = np.polynomial.legendre.leggauss(12)
    shapes = np.stack([points * (points - 1) / 2, 1 - points**2, points * (points + 1) / 2])
    load = np.zeros(trace.size)
    for k in range(0, len(trace.angles) - 2, 2):
        half = (trace.angles[k + 2] - trace.angles[k]) / 2
        phi = trace.angles[k + 1] + half * points
        local = shapes @ (weights * half * (amplitude * np.exp(1j * order * phi)).real)
        np.add.at(load, trace.unknowns[k : k + 3], trace.signs[k : k + 3] * local)
    return load


def energy_and_torque(gap: Gap, p: Floats, q: Floats, angle: float, sectors: int) -> tuple[float, float]:
    """Of the whole turn, J and N m per metre."""
    coupling, slope = gap.coupling(angle)
    energy = p @ gap.rotor_self @ p / 2 + q @ gap.stator_self @ q / 2 + p @ coupling @ q
    return sectors * float(energy), -sectors * float(p @ slope @ q)


def traces(count: int, sectors: int, antiperiodic: bool, uneven: bool) -> tuple[Trace, Trace]:
    """Rotor and stator trace that do not match: other counts, other starts."""
    corners = graded_corners if uneven else even_corners
    span = 2 * math.pi / sectors
    return (
        trace_by_hand(corners(count, span, -0.3), antiperiodic),
        trace_by_hand(corners(count + 3, span, 0.1), antiperiodic),
    )


def same(found: tuple[float, float], closed: Annulus, within: float) -> bool:
    """Whether energy and torque agree, as parts of the energy and of the largest torque at any angle."""
    largest = Annulus(closed.order, abs(closed.p), 1j * abs(closed.q)).torque()
    return abs(found[0] / closed.energy() - 1) <= within and abs(found[1] - closed.torque()) <= within * abs(
        largest
    )


@pytest.mark.parametrize("uneven", [False, True])
@pytest.mark.parametrize(("sectors", "antiperiodic", "order"), SYMMETRIES)
def test_energy_and_torque_of_two_waves_at_any_angle(
    sectors: int, antiperiodic: bool, order: int, uneven: bool
) -> None:
    rotor, stator = traces(120 // sectors, sectors, antiperiodic, uneven)
    gap = Gap(rotor, stator, LOG_RATIO, sectors, antiperiodic)
    p, q = 0.02 * cmath.exp(0.7j), 0.021
    rotor_values, stator_values = spread(rotor, order, p), spread(stator, order, q)
    for angle in ANGLES:
        found = energy_and_torque(gap, rotor_values, stator_values, angle, sectors)
        closed = Annulus(order, p * cmath.exp(-1j * order * angle), q)
        assert same(found, closed, 2e-4 if uneven else 2e-5)


def test_a_wrong_sense_of_rotation_a_missing_sector_and_a_wrong_gap_are_seen() -> None:
    rotor, stator = traces(40, 4, True, False)
    gap = Gap(rotor, stator, LOG_RATIO, 4, True)
    p, q, order, angle = 0.02 * cmath.exp(0.7j), 0.021, 6, 0.2
    values = spread(rotor, order, p), spread(stator, order, q)
    closed = Annulus(order, p * cmath.exp(-1j * order * angle), q)
    assert same(energy_and_torque(gap, *values, angle, 4), closed, 1e-4)
    assert not same(energy_and_torque(gap, *values, -angle, 4), closed, 1e-4)
    assert not same(energy_and_torque(gap, *values, angle, 3), closed, 1e-4)
    energy, torque = energy_and_torque(gap, *values, angle, 4)
    assert not same((energy, -torque), closed, 1e-4)
    wider = Gap(rotor, stator, LOG_RATIO * 1.001, 4, True)
    assert not same(energy_and_torque(wider, *values, angle, 4), closed, 1e-4)


def sheets(count: int, uneven: bool, angle: float) -> tuple[float, float]:
    """Co-energy and torque of two current sheets on ideal iron, antiperiodic half turn, harmonic 3."""
    rotor, stator = traces(count, 2, True, uneven)
    gap = Gap(rotor, stator, LOG_RATIO, 2, True)
    coupling, slope = gap.coupling(angle)
    matrix = sp.block_array([[gap.rotor_self, coupling], [coupling.T, gap.stator_self]]).toarray()
    load = np.concatenate([sheet(rotor, 3, ROTOR_SHEET), sheet(stator, 3, STATOR_SHEET)])
    a = np.linalg.solve(matrix, load)
    p, q = a[: rotor.size], a[rotor.size :]
    return float(load @ a), -2 * float(p @ slope @ q)


ROTOR_SHEET, STATOR_SHEET = 300.0 * cmath.exp(0.4j), 400.0 + 0j  # A per radian


def closed_sheets(angle: float) -> tuple[float, float]:
    """The same: Hphi = -da/dr / mu0 jumps by the sheet; iron behind it carries none."""
    n, turned = 3, ROTOR_SHEET * cmath.exp(-3j * angle)
    # a = c (r/INNER)^n + d (INNER/r)^n with -r a'/mu0 = K at INNER and r a'/mu0 = K at OUTER.
    ratio = OUTER / INNER
    matrix = n / mu_0 * np.array([[-1.0, 1.0], [ratio**n, -(ratio**-n)]])
    c, d = np.linalg.solve(matrix, np.array([turned, STATOR_SHEET]))
    p, q = c + d, c * ratio**n + d * ratio**-n
    coenergy = math.pi / 2 * (turned.conjugate() * p + STATOR_SHEET.conjugate() * q).real
    return coenergy, Annulus(n, complex(p), complex(q)).torque()


@pytest.mark.parametrize("uneven", [False, True])
def test_two_current_sheets_converge_at_the_rate_of_quadratic_traces(uneven: bool) -> None:
    # A quadratic trace misses a smooth potential by h^2.5 in the energy norm (h^3 in the mean, h^2 in the slope), and
    # what is quadratic in the miss by h^5.
    counts = (12, 24, 48)
    errors = []
    for count in counts:
        found = [sheets(count, uneven, angle) for angle in ANGLES]
        closed = [closed_sheets(angle) for angle in ANGLES]
        errors.append(
            [
                abs(f / c - 1)
                for one, two in zip(found, closed, strict=True)
                for f, c in zip(one, two, strict=True)
            ]
        )
    energy, torque = (np.sqrt(np.mean(np.square(np.array(errors)[:, k::2]), axis=1)) for k in (0, 1))
    assert converges(energy, 4.2, 5.7, 1e-5), energy
    assert converges(torque, 4.0, 8.5, 2e-4), torque


def test_the_check_of_rates_tells_slow_fast_and_stuck() -> None:
    assert converges([1e-2, 1e-2 / 32, 1e-2 / 1024], 4.3, 5.7, 1e-5)
    assert not converges([1e-2, 1e-2 / 16, 1e-2 / 256], 4.3, 5.7, 1e-4)
    assert not converges([1e-2, 1e-2 / 64, 1e-2 / 4096], 4.3, 5.7, 1e-5)
    assert not converges([1.0, 1.0 / 32, 1.0 / 1024], 4.3, 5.7, 1e-5)


def test_waves_converge_at_the_rate_of_their_interpolation() -> None:
    # The middle node makes each element Simpson's rule: the energy of the interpolant is off by h^4.
    errors = []
    closed = Annulus(3, 0.02 * cmath.exp(-0.6j), 0.021)
    for count in (16, 32, 64):
        rotor, stator = traces(count, 2, True, False)
        gap = Gap(rotor, stator, LOG_RATIO, 2, True)
        found = energy_and_torque(gap, spread(rotor, 3, 0.02), spread(stator, 3, 0.021), 0.2, 2)
        errors.append((abs(found[0] / closed.energy() - 1), abs(found[1] / closed.torque() - 1)))
    for column in np.array(errors).T:
        assert converges(column, 3.5, 4.6, 1e-4), column


def test_a_difference_of_mean_values_holds_the_energy_of_a_uniform_ring() -> None:
    # H runs round the ring: B = (p - q) / (r L), so the energy is pi (p - q)^2 / (mu0 L) per metre.
    rotor, stator = traces(30, 4, False, True)
    gap = Gap(rotor, stator, LOG_RATIO, 4, False)

    def energy(p: float, q: float) -> float:
        return energy_and_torque(gap, np.full(rotor.size, p), np.full(stator.size, q), 0.1, 4)[0]

    def right(found: float, difference: float) -> bool:
        return math.isclose(found, math.pi * difference**2 / (mu_0 * LOG_RATIO), rel_tol=1e-8)

    assert right(energy(0.05, 0.02), 0.03)
    assert not right(energy(0.05, 0.02), 0.05)
    assert abs(energy(0.05, 0.05)) < 1e-8 * energy(0.05, 0.02)


@pytest.mark.parametrize(("sectors", "antiperiodic"), [(1, False), (2, True), (3, False)])
def test_torque_is_the_derivative_of_the_energy_at_fixed_traces(sectors: int, antiperiodic: bool) -> None:
    rotor, stator = traces(40, sectors, antiperiodic, True)
    gap = Gap(rotor, stator, LOG_RATIO, sectors, antiperiodic)
    rng = np.random.default_rng(5)
    p, q = rng.normal(size=rotor.size), rng.normal(size=stator.size)
    start, end = 0.11, 0.115
    points, weights = np.polynomial.legendre.leggauss(12)
    middle, half = (start + end) / 2, (end - start) / 2
    torques = [energy_and_torque(gap, p, q, middle + half * x, sectors)[1] for x in points]
    work = half * float(weights @ torques)
    change = [energy_and_torque(gap, p, q, angle, sectors)[0] for angle in (start, end)]

    def balances(work: float) -> bool:
        return abs(work + change[1] - change[0]) <= 2e-7 * max(abs(work), abs(half * max(map(abs, torques))))

    assert balances(work)
    assert not balances(-work)
    assert not balances(work * (1 + 1e-5))


@pytest.mark.parametrize(("sectors", "antiperiodic"), [(1, False), (2, True), (3, False), (4, True)])
def test_a_turn_by_one_sector_repeats_the_coupling_or_turns_its_sign(
    sectors: int, antiperiodic: bool
) -> None:
    rotor, stator = traces(40, sectors, antiperiodic, True)
    gap = Gap(rotor, stator, LOG_RATIO, sectors, antiperiodic)
    here, there = gap.coupling(0.2)[0], gap.coupling(0.2 + 2 * math.pi / sectors)[0]
    size = np.abs(here).max()
    sign = -1.0 if antiperiodic else 1.0
    assert np.abs(here - sign * there).max() < 1e-9 * size
    assert np.abs(here + sign * there).max() > size


@pytest.mark.parametrize("uneven", [False, True])
def test_no_set_of_traces_has_less_than_no_energy(uneven: bool) -> None:
    rotor, stator = traces(30, 2, False, uneven)
    gap = Gap(rotor, stator, LOG_RATIO, 2, False)

    def least(sign: float) -> float:
        coupling = sign * gap.coupling(0.37)[0]
        matrix = sp.block_array([[gap.rotor_self, 2 * coupling], [0 * coupling.T, gap.stator_self]]).toarray()
        values = np.linalg.eigvalsh((matrix + matrix.T) / 2)
        return float(values[0] / values[-1])

    assert least(1.0) > -1e-10
    # The twin: a coupling half as large again would make energy out of nothing.
    assert least(1.5) < -1e-6


@pytest.mark.parametrize("order", [0.0, 4.0, 40.0, 700.0])
def test_fourier_coefficients_are_those_of_a_general_quadrature(order: float) -> None:
    """Against `scipy.integrate.quad` over each element."""
    trace = trace_by_hand(graded_corners(5, math.pi / 2, -0.2))
    values = np.random.default_rng(1).normal(size=trace.size)

    def part(k: int, which: str) -> float:
        low, high = trace.angles[k], trace.angles[k + 2]
        nodal = values[trace.unknowns[k : k + 3]] * trace.signs[k : k + 3]
        curve = np.polynomial.Polynomial.fit([-1, 0, 1], nodal, 2, domain=[-1, 1])

        def at(phi: float) -> float:
            return float(curve((2 * phi - low - high) / (high - low)))

        if order == 0.0:
            return float(quad(at, low, high)[0]) if which == "cos" else 0.0
        return float(quad(at, low, high, weight=which, wvar=order)[0])

    elements = range(0, len(trace.angles) - 2, 2)
    expected = sum(part(k, "cos") - 1j * part(k, "sin") for k in elements)

    def right(found: complex) -> bool:
        return abs(found - expected) < 1e-9 * np.abs(values).max()

    found = complex((fourier(trace, np.array([order])) @ values)[0])
    assert right(found)
    assert not right(found * (1 + 1e-4)) or abs(found) < 1e-5


def whole_sum(
    rotor: Trace, stator: Trace, log_ratio: float, sectors: int, antiperiodic: bool, angle: float
) -> tuple[Floats, Floats]:
    """Rotor's own block and the coupling, dense, summed over the harmonics of the whole turn that the sector admits."""
    finest = min(float(np.diff(trace.angles[::2]).min()) for trace in (rotor, stator))
    highest = 2 * 2 * math.pi / finest
    orders = np.arange(sectors / 2 if antiperiodic else sectors, highest, sectors)
    fade = np.exp(-36.0 * (orders / highest) ** 8)
    ours, theirs = (fourier(trace, orders) for trace in (rotor, stator))
    own = fade * orders / np.tanh(orders * log_ratio)
    mixed = fade * orders / np.sinh(np.minimum(orders * log_ratio, 100.0))
    turned = ours * np.exp(-1j * orders * angle)[:, None]
    scale = sectors / (math.pi * mu_0)
    block = scale * ((ours * own[:, None]).conj().T @ ours).real
    coupling = -scale * ((turned * mixed[:, None]).conj().T @ theirs).real
    if not antiperiodic:
        still = scale / 2 / log_ratio
        means = [fourier(trace, np.zeros(1)).real for trace in (rotor, stator)]
        block += still * means[0].T @ means[0]
        coupling -= still * means[0].T @ means[1]
    return block, coupling


@pytest.mark.parametrize(("sectors", "antiperiodic"), [(4, False), (4, True)])
def test_a_thin_annulus_summed_run_by_run_is_that_of_the_whole_turn(
    sectors: int, antiperiodic: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    log_ratio, angle = 3e-3, 2.9
    rotor, stator = traces(600 // sectors, sectors, antiperiodic, True)
    block, coupling = whole_sum(rotor, stator, log_ratio, sectors, antiperiodic, angle)

    def same_blocks() -> bool:
        gap = Gap(rotor, stator, log_ratio, sectors, antiperiodic)
        found = gap.rotor_self, gap.coupling(angle)[0]
        assert all(part.nnz < 0.5 * part.shape[0] * part.shape[1] for part in found)
        return all(
            np.abs(part.toarray() - whole).max() <= 1e-11 * np.abs(whole).max()
            for part, whole in zip(found, (block, coupling), strict=True)
        )

    assert same_blocks()
    # The twin: a period that lets what is repeated with it come near.
    monkeypatch.setattr("polefem.gap.annulus.REACH", 4.0)
    monkeypatch.setattr("polefem.gap.annulus.WAVES", 10.0)
    assert not same_blocks()


@pytest.mark.parametrize(("sectors", "antiperiodic", "order"), [(1, False, 2), (2, True, 3), (4, False, 4)])
def test_flux_density_midway_is_that_of_the_closed_field(
    sectors: int, antiperiodic: bool, order: int
) -> None:
    rotor, stator = traces(400 // sectors, sectors, antiperiodic, False)
    gap = Gap(rotor, stator, LOG_RATIO, sectors, antiperiodic)
    p, q, angle = 0.02 * cmath.exp(0.7j), 0.021, 0.3
    places = np.linspace(-1.0, 9.0, 101)
    found = gap.flux_density(spread(rotor, order, p), spread(stator, order, q), angle, places)

    def right(found: tuple[Floats, Floats], angle: float) -> bool:
        middle = math.sqrt(INNER * OUTER)
        a, slope = Annulus(order, p * cmath.exp(-1j * order * angle), q)._at(middle)
        waves = np.exp(1j * order * places)
        closed = (1j * order * a * waves).real, -(middle * slope * waves).real
        return all(
            np.abs(one - other).max() <= 2e-4 * np.abs(other).max()
            for one, other in zip(found, closed, strict=True)
        )

    assert right(found, angle)
    assert not right(found, -angle)
    assert not right((found[0], -found[1]), angle)
    assert not right((found[0] * 1.001, found[1]), angle)


@pytest.mark.parametrize("log_ratio", [LOG_RATIO, 3e-3])
@pytest.mark.parametrize(("sectors", "antiperiodic"), [(1, False), (2, True), (4, False)])
def test_flux_density_at_a_place_is_one_however_many_are_asked_for(
    sectors: int, antiperiodic: bool, log_ratio: float
) -> None:
    """In a thick annulus, where each run reaches all, and in a thin one; round more than the whole turn."""
    gap = Gap(*traces(600 // sectors, sectors, antiperiodic, True), log_ratio, sectors, antiperiodic)
    rotor, stator = (np.sin(np.arange(trace.size) + 0.3) for trace in gap.traces)
    places = np.linspace(-2.0, 6.0, 2401)
    every = np.array(gap.flux_density(rotor, stator, 0.2, places))

    def same(start: int, step: int, first: int) -> bool:
        some = np.array(gap.flux_density(rotor, stator, 0.2, places[start:-step:step]))
        others = every[:, first::step][:, : some.shape[1]]
        return bool(np.abs(some - others).max() < 1e-10 * np.abs(every).max())

    assert same(0, 7, 0) and same(5, 4, 5) and same(1111, 1289, 1111)
    assert not same(5, 4, 6)  # the twin: the next place over
