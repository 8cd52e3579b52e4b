"""The whole chain against a permeable cylinder in a uniform field: flux density inside it, and the torque on it.

Sources: a round cylinder, B inside = 2 mu / (mu + 1) B0 (any textbook; from memory); an elliptic one, demagnetising
factors b / (a + b) and a / (a + b) (J. A. Osborn, Phys. Rev. 67 (1945) 351; from memory), torque m x B.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from polefem.outline import Label
from polefem.solve import Solution, System
from tests.gallery import CylinderInField, converges, solved, torque_of, uniform_field

ROUND = CylinderInField(a=30e-3, b=30e-3, mu_r=50.0)
#: Half axes 3 to 2; the outer boundary far enough that multipoles do not come back.
ELLIPTIC = CylinderInField(outer=200e-3)
ANGLES = (0.4, 1.1, -0.3)


@cache
def field(cylinder: CylinderInField, angle: float, size: float, pieces: int) -> tuple[System, Solution]:
    system = made(cylinder, size, pieces)
    return system, solved(system, angle, cylinder.load(system))


@cache
def made(cylinder: CylinderInField, size: float, pieces: int) -> System:
    return cylinder.system(size, pieces)


def inside(system: System, found: Solution) -> tuple[complex, float]:
    """Flux density in the cylinder (T) and how far from uniform it is, as a part of it."""
    model = system.model
    b, missed = uniform_field(
        model.rotor_mesh, Label("iron"), model.rotor_tie.nodal(found.unknowns[: model.rotor_tie.size])
    )
    return b, missed / (abs(b) * 30e-3)


@pytest.mark.parametrize("mu_r", [1.0, 2.0, 50.0, 5000.0])
def test_the_field_in_a_round_cylinder(mu_r: float) -> None:
    cylinder = replace(ROUND, mu_r=mu_r)
    b, uneven = inside(*field(cylinder, 0.4, 5e-3, 8))

    def right(b: complex) -> bool:
        # What acts is the layer's field less the mirror field of the cylinder's own dipole.
        reflected = (cylinder.a / cylinder.outer) ** 2 * (mu_r - 1) / (mu_r + 1)
        acting = cylinder.applied() * np.exp(-0.4j) / (1 + reflected)
        return bool(abs(b / (2 * mu_r / (mu_r + 1) * acting) - 1) < 1e-5)

    assert right(b) and uneven < 1e-4
    assert not right(b * (1 + 1e-4)) and not right(b.conjugate()) and not right(-b)


def test_a_round_cylinder_feels_no_torque() -> None:
    def still(cylinder: CylinderInField) -> bool:
        system, found = field(cylinder, 0.4, 5e-3, 8)
        moment, acting, _ = cylinder.closed(0.4)
        return abs(torque_of(system, 0.4, found)) < 1e-6 * cylinder.length * abs(moment * acting)

    assert still(ROUND)
    assert not still(replace(ROUND, b=29.9e-3))


def torque_error(
    cylinder: CylinderInField, angle: float, size: float, pieces: int, factor: float = 1.0
) -> float:
    """Relative error of the torque (times a factor that is 1 unless the check itself is tried)."""
    system, found = field(cylinder, angle, size, pieces)
    return abs(factor * torque_of(system, angle, found) / (cylinder.length * cylinder.closed(angle)[2]) - 1)


@pytest.mark.parametrize("mu_r", [1.5, 20.0, 5000.0])
def test_the_torque_on_an_elliptic_cylinder(mu_r: float) -> None:
    cylinder = replace(ELLIPTIC, mu_r=mu_r)
    for angle in ANGLES:
        assert torque_error(cylinder, angle, 5e-3, 12) < 2e-4
        system, found = field(cylinder, angle, 5e-3, 12)
        b, uneven = inside(system, found)
        assert abs(b / cylinder.inside(angle) - 1) < 1e-4 and uneven < 1e-3
    assert torque_error(cylinder, ANGLES[0], 5e-3, 12, factor=-1.0) > 1
    # The twin: axes that are a thousandth longer.
    longer = replace(cylinder, a=cylinder.a * 1.001)
    system, found = field(cylinder, ANGLES[0], 5e-3, 12)
    closed = longer.length * longer.closed(ANGLES[0])[2]
    assert abs(torque_of(system, ANGLES[0], found) / closed - 1) > 2e-4


def test_rates_on_an_elliptic_cylinder() -> None:
    """Arcs and elements halved together: the curve is met by h^3 to h^4, the field by h^4."""
    errors = [
        math.sqrt(sum(torque_error(ELLIPTIC, angle, size, pieces) ** 2 for angle in ANGLES) / len(ANGLES))
        for size, pieces in ((20e-3, 3), (10e-3, 6), (5e-3, 12))
    ]
    assert converges(errors, 2.1, 4.4, 6e-5), errors


def test_rates_on_a_round_cylinder() -> None:
    cylinder = replace(ROUND, mu_r=5.0)
    errors = [
        abs(inside(*field(cylinder, 0.4, size, 3))[0] / cylinder.inside(0.4) - 1)
        for size in (20e-3, 10e-3, 5e-3)
    ]
    assert converges(errors, 1.8, 4.4, 3e-6), errors
