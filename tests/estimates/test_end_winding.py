"""End turns against a handbook's thin ring and long coil, and in a map without making energy."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import quad

from polefem import FluxMap
from polefem.copper import coil_shape
from polefem.estimates import end_winding_inductance, with_end_winding
from polefem.estimates.end_winding import between_circles, ring_inductance
from polefem.materials import MU0
from polefem.params.fields import with_fields
from tests.maps.saturating import sampled
from tests.record.check import Check
from tests.study.fake_solver import MACHINE

CASE = "ends and windings by handbook formulas"
Record = Callable[..., None]


def thin_ring(radius: float, width: float, height: float, factor: float = 0.2235) -> float:
    """L = mu0 R [ln(8 R / GMD) - 2], GMD = 0.2235 (a + b) (Grover 1946, after Rosa)."""
    return MU0 * radius * (math.log(8 * radius / (factor * (width + height))) - 2)


def is_the_thin_ring(width: float, within: float, factor: float = 0.2235) -> bool:
    ring = ring_inductance(50e-3, width, width)
    return abs(ring / thin_ring(50e-3, width, width, factor) - 1) < within


def test_the_handbooks_example(record: Record) -> None:
    # R = 50 mm, 10 mm by 10 mm, 100 turns: 1.567 mH (computed from the formula).
    assert thin_ring(50e-3, 10e-3, 10e-3) * 100**2 == pytest.approx(1.567e-3, rel=3e-4)
    found = ring_inductance(50e-3, 10e-3, 10e-3) * 100**2
    name = "end turns as a ring: radius 50 mm, section 10 x 10 mm, 100 turns"
    check = Check(
        CASE, name, 1.567, "mH", "Grover, Inductance Calculations, 1946, after Rosa", "from memory", 3e-3
    )
    record(check, 1e3 * found, broken=1e3 * thin_ring(50e-3, 10e-3, 10e-3, 0.25) * 100**2)


def test_a_ring_comes_to_the_handbooks_formula_as_its_section_shrinks() -> None:
    assert is_the_thin_ring(10e-3, 3e-3)
    assert is_the_thin_ring(1e-3, 2e-3)
    # A GMD of half the perimeter's share, as if the section were a thin tape, is another ring.
    assert not is_the_thin_ring(1e-3, 2e-3, factor=0.25)


def test_a_thin_long_coil_has_nagaokas_coefficient(record: Record) -> None:
    # H. Nagaoka, 1909: 0.6884 where the diameter is the length (in every table).
    radius = 50e-3
    sheet = MU0 * math.pi * radius**2 / (2 * radius)
    found = ring_inductance(radius, 0.2e-3, 2 * radius) / sheet
    check = Check(
        CASE,
        "thin coil as long as wide, over an endless one",
        0.6884,
        "",
        "Nagaoka 1909",
        "from memory",
        3e-3,
    )
    record(check, found, broken=thin_ring(radius, 0.2e-3, 2 * radius) / sheet)
    assert thin_ring(radius, 0.2e-3, 2 * radius) / sheet != pytest.approx(0.6884, rel=0.1)


def test_circles_have_neumanns_inductance() -> None:
    """Neumann's integral by the quadrature of a general library."""
    a, b, z = 20e-3, 30e-3, 10e-3

    def integrand(angle: float) -> float:
        return math.cos(angle) / math.sqrt(a**2 + b**2 + z**2 - 2 * a * b * math.cos(angle))

    from_neumann = MU0 / 2 * a * b * quad(integrand, 0.0, 2 * math.pi)[0]
    found = between_circles(np.array([a]), np.array([b]), np.array([z]))[0]
    assert found == pytest.approx(from_neumann, rel=1e-9)


def test_a_phase_has_its_coils_in_series_and_in_parallel() -> None:
    coil = coil_shape(MACHINE)
    ring = ring_inductance(coil.across / 2, coil.width, coil.height)
    assert end_winding_inductance(MACHINE) == pytest.approx(2 * 100**2 * ring)
    parallel = with_fields(MACHINE, {"winding.parallel_paths": 2})
    assert end_winding_inductance(parallel) == pytest.approx(2 * 50**2 * ring)
    longer = with_fields(MACHINE, {"stack_length": 0.3})
    assert end_winding_inductance(longer) == pytest.approx(end_winding_inductance(MACHINE))


def keeps_its_energy(m: FluxMap, before: FluxMap, added: float) -> bool:
    """Co-energy is the integral of flux linkage over current: L i^2 / 2 more for L i more; the torque is the same."""
    i = m.currents[:, None]
    flux, coenergy = m.flux_linkage - before.flux_linkage, m.coenergy - before.coenergy
    return (
        np.allclose(flux, added * i, rtol=1e-9, atol=0)
        and np.allclose(2 * coenergy, flux * i, rtol=1e-9, atol=0)
        and np.array_equal(m.torque, before.torque)
    )


def test_a_map_takes_end_turns_in_series() -> None:
    before = sampled()
    after = with_end_winding(before, MACHINE)
    added = end_winding_inductance(MACHINE)
    assert keeps_its_energy(after, before, added)
    assert after.remarks == (
        f"end turns of {added * 1e3:.4g} mH are in it, an estimate and no field solution",
    )
    psi, torque, _ = after.at(0.3, 7.7)
    was = before.at(0.3, 7.7)
    assert psi - was[0] == pytest.approx(added * 7.7, rel=1e-6) and torque == pytest.approx(was[1], rel=1e-9)


def test_end_turns_that_forget_the_half_are_noticed() -> None:
    before = sampled()
    after = with_end_winding(before, MACHINE)
    added = end_winding_inductance(MACHINE)
    wrong = before.coenergy + added * before.currents[:, None] ** 2
    tables = (after.angles, after.currents, after.flux_linkage, after.torque, wrong)
    assert not keeps_its_energy(FluxMap(*tables, phases=3, rotor_poles=4, mirror=True), before, added)
