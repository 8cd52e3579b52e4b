"""A nonlinear field in closed form: current along the shaft within a ring of steel.

H runs round the shaft and depends on the radius alone: H = I / (2 pi r) in the ring, whatever the steel (Ampere's law).
B is read off the steel's law; A and the co-energy are integrals of it, by `scipy.integrate.quad` and a fine grid.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.constants import mu_0
from scipy.integrate import quad

from polefem.materials import Steel
from polefem.solve import System
from tests.gallery import AIR_LAYER, LayeredSection, density_load, even, solved, system_of

SECTION = LayeredSection()
#: Elements of 4 mm reach it, from the foot of the curve on.
WITHIN = 3e-5
LAYER = math.pi * (SECTION.stator_layer[1] ** 2 - SECTION.stator_layer[0] ** 2)


def field_strength(current: float, r: float) -> float:
    """A/m at a radius within the layer or the ring, for a current (A) spread evenly over the layer."""
    low, high = SECTION.stator_layer
    share = min((r**2 - low**2) / (high**2 - low**2), 1.0)
    return share * current / (2 * math.pi * r)


def closed(steel: Steel, current: float) -> tuple[float, float]:
    """Flux linkage (Wb) and co-energy (J) per metre of one conductor made of the whole layer."""
    low, high = SECTION.stator_layer

    def from_ring(r: float) -> float:
        return float(steel.b(field_strength(current, r)))

    ring_flux = quad(from_ring, high, SECTION.outer, epsrel=1e-10)[0]

    def potential(r: float) -> float:
        return ring_flux + mu_0 * quad(lambda s: field_strength(current, s), r, high, epsrel=1e-10)[0]

    linked = quad(lambda r: potential(r) * 2 * math.pi * r / LAYER, low, high, epsrel=1e-10)[0]

    # Energy of the steel per volume: B over H, on a grid that is dense where H is small.
    h = field_strength(current, high) * np.linspace(0.0, 1.0, 40001) ** 3
    b = steel.b(h)
    density = np.concatenate([[0.0], np.cumsum(np.diff(h) * (b[1:] + b[:-1]) / 2)])

    def in_ring(r: float) -> float:
        return float(np.interp(field_strength(current, r), h, density)) * 2 * math.pi * r

    in_air = quad(lambda r: mu_0 * field_strength(current, r) ** 2 * math.pi * r, low, high)[0]
    return linked, in_air + quad(in_ring, high, SECTION.outer, epsrel=1e-8)[0]


def computed(steel: Steel, current: float, size: float) -> tuple[float, float]:
    """The same by the field, over a quarter of the turn."""
    system = ring(steel, size)
    load = density_load(system, "stator", AIR_LAYER, lambda places: np.full(len(places), 1 / LAYER))
    found = solved(system, 0.0, current * load, tolerance=1e-6)
    scale = system.model.scale / SECTION.length
    return scale * float(load @ found.unknowns), scale * (found.work - found.energy)


def ring(steel: Steel, size: float) -> System:
    return system_of(SECTION.outline(4), even(size), (steel, steel), sectors=4, antiperiodic=False)


def agree(one: tuple[float, float], two: tuple[float, float], within: float) -> bool:
    return all(abs(a / b - 1) <= within for a, b in zip(one, two, strict=True))


@pytest.mark.parametrize("current", [10.0, 60.0, 400.0, 4000.0])
@pytest.mark.parametrize("name", ["M330-50A measured", "EN9"])
def test_flux_and_coenergy_of_a_steel_ring(name: str, current: float) -> None:
    """From the foot of the curve (40 A/m) to far past its end (16 kA/m and more)."""
    steel = Steel.named(name)
    found = computed(steel, current, 4e-3)
    assert agree(found, closed(steel, current), WITHIN)
    other = Steel.named("M800-50A measured" if name != "EN9" else "M330-50A")
    assert not agree(found, closed(other, current), WITHIN)
    assert not agree(found, closed(steel, current * 1.001), WITHIN)
