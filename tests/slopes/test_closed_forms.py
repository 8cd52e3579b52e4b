"""Slopes in a dimension against closed solutions: torque, co-energy and inductance of round sections.

Sources: the closed solutions of `tests.gallery` (an elliptic cylinder in a uniform field; concentric layers), and the
energy of the field between coaxial rings of even current density, H = enclosed current / 2 pi r (any textbook; from
memory). Slopes of the closed solutions are differences of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.constants import mu_0
from scipy.integrate import quad

from polefem.materials import Steel
from polefem.model import Source
from polefem.outline import Label, Outline, Region
from polefem.slopes import Forces, Movable, Move, StateSlopes
from polefem.slopes.motion import Motion, Way
from polefem.solve import FactorCache, System
from tests.gallery import (
    CylinderInField,
    Layer,
    Layers,
    density_load,
    even,
    ring_sector,
    side,
    solved,
    system_of,
    wave,
)

Floats = NDArray[np.float64]
STEP = 1e-7
MINUS, PLUS = (Label("coil", pole=0, side=side) for side in ("minus", "plus"))
LAYER = Label("air", pole=0)


def slope(f: Callable[[float], float], at: float, step: float) -> float:
    return (f(at + step) - f(at - step)) / (2 * step)


def moved(
    system: System, draw: Callable[[float], Outline], at: float, angle: float, load: Floats, currents: Floats
) -> StateSlopes:
    """Slopes in one dimension of an outline, whose gap circles stay."""
    motion = Motion(system.model, draw(at), (1.0, 1.0))
    ahead, behind = (motion.way(draw(at + step), (1.0, 1.0)) for step in (STEP, -STEP))
    nodes, slides = ahead.nodes - behind.nodes, ahead.slides - behind.slides
    move = Move(Way(nodes / (2 * STEP), slides / (2 * STEP)), 0.0, ())
    found = solved(system, angle, load, 1e-10)
    movable = Movable(Forces(system.model), [move])
    return movable.slopes(system.at(angle), found.unknowns, currents, FactorCache(), [0])


def near(found: float, closed: float, within: float) -> bool:
    return abs(found - closed) <= within * abs(closed)


@pytest.mark.parametrize("axis", ["a", "b"])
def test_torque_on_an_elliptic_cylinder_in_its_axes(axis: str) -> None:
    base, angle = CylinderInField(outer=200e-3), 0.4

    def longer(size: float) -> CylinderInField:
        return replace(base, **{axis: size})

    at = getattr(base, axis)
    system = base.system(5e-3)
    found = moved(system, lambda size: longer(size).outline(), at, angle, base.load(system), np.zeros(1))
    closed = base.length * slope(lambda size: longer(size).closed(angle)[2], at, 1e-6)
    assert near(float(found.torque[0]), closed, 1e-3)
    # The twins: the other way, and an axis that is a hundredth longer.
    assert not near(-float(found.torque[0]), closed, 1e-3)
    assert not near(float(found.torque[0]), closed * 1.003, 1e-3)


@dataclass(frozen=True)
class Coaxial:
    """Two rings of even current density, the return outside; one ampere flows in each. Radii in m."""

    inner: tuple[float, float] = (20e-3, 22e-3)
    outer: tuple[float, float] = (30e-3, 33e-3)
    length: float = 0.1

    def outline(self) -> Outline:
        start, end = -math.pi / 4, math.pi / 4
        core = Region(Label("iron"), ring_sector(0.0, 10e-3, start, end))
        stator = [
            Region(Label("iron"), ring_sector(36e-3, 40e-3, start, end)),
            Region(MINUS, ring_sector(*self.inner, start, end)),
            Region(PLUS, ring_sector(*self.outer, start, end)),
        ]
        # Named for the sides of a coil, they are none: a wedge's mirror image would swap them.
        return Outline(
            side("rotor", [core], poles=4, gap=12e-3, far=0.0, far_fixed=False),
            side("stator", stator, poles=4, gap=13e-3, far=40e-3, mirror=False),
            self.length,
        )

    def system(self, size: float) -> System:
        coils = [Source(MINUS, 0, 0.25), Source(PLUS, 0, -0.25)]
        steels = (Steel.linear(100.0), Steel.linear(100.0))
        return system_of(self.outline(), even(size), steels, sectors=4, antiperiodic=False, coils=coils)

    def inductance(self) -> float:
        """Twice the energy at one ampere, H."""

        def share(r: float, ring: tuple[float, float]) -> float:
            part = (r**2 - ring[0] ** 2) / (ring[1] ** 2 - ring[0] ** 2)
            return min(max(part, 0.0), 1.0)

        def integrand(r: float) -> float:
            return (share(r, self.inner) - share(r, self.outer)) ** 2 / r

        ends = [self.inner[0], self.inner[1], self.outer[0], self.outer[1]]
        parts = [quad(integrand, a, b, epsabs=0.0, epsrel=1e-12)[0] for a, b in pairwise(ends)]
        return mu_0 / (2 * math.pi) * self.length * sum(parts)


@pytest.mark.parametrize(("ring", "edge"), [("inner", 0), ("inner", 1), ("outer", 0), ("outer", 1)])
def test_inductance_of_coaxial_rings_in_each_radius(ring: str, edge: int) -> None:
    base = Coaxial()

    def other(radius: float) -> Coaxial:
        radii = list(getattr(base, ring))
        radii[edge] = radius
        return replace(base, **{ring: tuple(radii)})

    at = getattr(base, ring)[edge]
    system = base.system(2.5e-3)
    found = moved(system, lambda r: other(r).outline(), at, 0.0, system.model.loads[0], np.ones(1))
    closed = slope(lambda r: other(r).inductance(), at, 1e-6)

    def right(linkage: float, coenergy: float) -> bool:
        return near(linkage, closed, 2e-5) and near(coenergy, closed / 2, 2e-5)

    linkage, coenergy = float(found.flux_linkages[0, 0]), float(found.coenergy[0])
    assert right(linkage, coenergy)
    assert not right(-linkage, coenergy) and not right(linkage, 2 * coenergy)


@dataclass(frozen=True)
class ThinGap:
    """Iron of high permeability on both sides of a gap that holds a current layer going with cos 3 phi."""

    radius: float = 24.5e-3
    layer: tuple[float, float] = (25.3e-3, 25.8e-3)
    mu_r: float = 1e5
    order: int = 3

    def outline(self) -> Outline:
        def wedge(inner: float, outer: float) -> Region:
            return Region(Label("iron"), ring_sector(inner, outer, -math.pi / 6, math.pi / 6))

        layer = Region(LAYER, wedge(*self.layer).ring)
        return Outline(
            side("rotor", [wedge(0.0, self.radius)], poles=6, gap=24.8e-3, far=0.0, far_fixed=False),
            side("stator", [wedge(self.layer[1], 40e-3), layer], poles=6, gap=25.0e-3, far=40e-3),
            1.0,
        )

    def coenergy(self) -> float:
        low, high = self.layer
        return Layers(
            (
                Layer(0.0, self.radius, self.mu_r),
                Layer(self.radius, low),
                Layer(low, high, current=1e6),
                Layer(high, 40e-3, self.mu_r),
            ),
            self.order,
        ).coenergy()


def test_coenergy_of_a_thin_gap_in_the_radius_of_its_iron() -> None:
    base = ThinGap()
    steels = (Steel.linear(base.mu_r), Steel.linear(base.mu_r))
    system = system_of(base.outline(), even(1e-3), steels, sectors=6, antiperiodic=True)
    load = density_load(system, "stator", LAYER, wave(1e6, base.order))
    found = moved(system, lambda r: replace(base, radius=r).outline(), base.radius, 0.0, load, np.zeros(1))
    closed = slope(lambda r: replace(base, radius=r).coenergy(), base.radius, 1e-7)
    # A magnetic circuit whose gap is all its reluctance: co-energy as one over the gap.
    gap = (base.layer[0] + base.layer[1]) / 2 - base.radius
    assert 0.8 < closed * gap / base.coenergy() < 1.2
    assert near(float(found.coenergy[0]), closed, 1e-4)
    assert not near(-float(found.coenergy[0]), closed, 1e-4)
    assert not near(float(found.coenergy[0]), closed * 1.001, 1e-4)
