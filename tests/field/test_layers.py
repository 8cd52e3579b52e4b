"""The whole chain against concentric layers: outline, mesh, model, gap and solver on a field known in closed form.

Two current layers, each going with the cosine of a multiple of the angle, face each other across the gap between iron
of a finite permeability. Source: separation of variables, derived in `tests.gallery`; the first test holds the closed
solution against the equation that it must solve.
"""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.constants import mu_0

from polefem.solve import System
from tests.gallery import LayeredSection, Layers, converges, solved, torque_of

SECTION = LayeredSection()
#: A gap wide enough that elements of every size in use see across it: rates are clean from the start.
WIDE = LayeredSection(gap=(24.5e-3, 27.5e-3), rotor_mu=200.0, stator_mu=50.0)
ROTOR, STATOR = 1e6 * cmath.exp(0.4j), 2e6 + 0j  # A/m2
#: Harmonic, wedges, sectors, antiperiodic.
SYMMETRIES = [(1, 4, 2, True), (1, 4, 1, False), (2, 4, 2, False), (3, 6, 6, True), (4, 8, 4, False)]


def solves(field: Layers) -> bool:
    """Whether a'' + a'/r - n^2 a/r^2 = -mu J inside each layer, and a and a'/mu are continuous between them."""
    step = 1e-6
    for layer in field.layers:
        r = layer.inner + 0.37 * (layer.outer - layer.inner)
        second = (field.slope(r + step) - field.slope(r - step)) / (2 * step)
        driven = -mu_0 * layer.mu_r * layer.current
        terms = [second, field.slope(r) / r, -(field.order**2) * field.a(r) / r**2]
        if abs(sum(terms) - driven) > 1e-6 * max(abs(driven), *map(abs, terms)):
            return False
    for one, two in zip(field.layers[:-1], field.layers[1:], strict=True):
        r, over = one.outer, one.outer * (1 + 1e-12)
        jump = field.slope(r) / one.mu_r - field.slope(over) / two.mu_r
        if abs(field.a(r) - field.a(over)) > 1e-9 * abs(field.a(r)):
            return False
        if abs(jump) > 1e-6 * abs(field.slope(r) / one.mu_r):
            return False
    return abs(field.a(field.layers[-1].outer)) < 1e-12 * abs(field.a(field.layers[-1].inner))


@pytest.mark.parametrize("order", [1, 2, 3])
def test_the_closed_solution_solves_its_equation(order: int) -> None:
    field = SECTION.closed(0.3, order, ROTOR, STATOR)
    assert solves(field)
    # Its torque is the same on every circle in the gap, and the slope of its co-energy.
    low, high = SECTION.rotor_layer, SECTION.stator_layer[0]
    torques = [field.torque(r) for r in np.linspace(low * 1.001, high * 0.999, 4)]
    assert np.allclose(torques, torques[0], rtol=1e-9)
    step = 1e-4
    ahead, behind = (SECTION.closed(0.3 + s, order, ROTOR, STATOR).coenergy() for s in (step, -step))
    assert math.isclose((ahead - behind) / (2 * step), torques[0], rel_tol=1e-6)
    # The twins: other iron, other current.
    layers = field.layers
    wrong = Layers((replace(layers[0], mu_r=21.0), *layers[1:]), order)
    wrong.__dict__["coefficients"] = field.coefficients
    assert not solves(wrong)
    wrong = Layers((layers[0], replace(layers[1], current=2 * layers[1].current), *layers[2:]), order)
    wrong.__dict__["coefficients"] = field.coefficients
    assert not solves(wrong)


def distance(
    section: LayeredSection, system: System, order: int, angle: float, rotor: complex = ROTOR
) -> tuple[float, float]:
    """Relative error of the co-energy, and error of the torque over the largest torque at any angle."""
    found = solved(system, angle, section.load(system, order, rotor, STATOR))
    closed = section.closed(angle, order, ROTOR, STATOR)
    r = (section.gap[0] + section.gap[1]) / 2
    peak = max(
        abs(section.closed(phase / order, order, ROTOR, STATOR).torque(r)) for phase in np.linspace(0, 6, 40)
    )
    coenergy = system.model.scale * (found.work - found.energy) / section.length
    torque = torque_of(system, angle, found) / section.length
    return abs(coenergy / closed.coenergy() - 1), abs(torque - closed.torque(r)) / peak


def near(found: tuple[float, float]) -> bool:
    """Whether co-energy and torque are as near as elements of 2 mm make them."""
    return found[0] <= 4e-5 and found[1] <= 4e-5


@pytest.mark.parametrize(("order", "poles", "sectors", "antiperiodic"), SYMMETRIES)
def test_energy_and_torque_between_two_current_layers_at_any_angle(
    order: int, poles: int, sectors: int, antiperiodic: bool
) -> None:
    system = SECTION.system(2e-3, poles, sectors, antiperiodic)
    for angle in (0.0, 0.3, -1.1, 2.5):
        assert near(distance(SECTION, system, order, angle))


def test_a_wrong_current_and_a_wrong_angle_are_seen() -> None:
    system = SECTION.system(2e-3, 6, 6, True)
    assert near(distance(SECTION, system, 3, 0.3))
    assert not near(distance(SECTION, system, 3, 0.3, rotor=ROTOR * 1.001))
    assert not near(distance(SECTION, system, 3, 0.3, rotor=ROTOR * cmath.exp(0.002j)))
    assert not near(distance(replace(SECTION, stator_mu=7.01), system, 3, 0.3))


@pytest.mark.parametrize(("order", "poles", "sectors", "antiperiodic"), [(1, 4, 2, True), (3, 6, 6, True)])
def test_rates_on_a_smooth_section(order: int, poles: int, sectors: int, antiperiodic: bool) -> None:
    """Quadratic elements on true arcs: energy by h^4, and torque, a functional of it, no slower."""
    errors = []
    for size in (5.2e-3, 2.6e-3, 1.3e-3):
        system = WIDE.system(size, poles, sectors, antiperiodic)
        found = [distance(WIDE, system, order, angle) for angle in (0.2, 0.9, 1.7)]
        errors.append(np.sqrt(np.mean(np.square(found), axis=0)))
    energy, torque = np.array(errors).T
    assert converges(list(energy), 3.0, 5.0, 1e-5), energy
    assert converges(list(torque), 3.0, 7.0, 1e-5), torque


def test_the_field_itself_is_that_of_the_layers() -> None:
    """Nodal values of A all over the section, not only what is integrated from them."""
    order, angle = 3, 0.3
    system = SECTION.system(2e-3, 6, 6, True)
    model = system.model
    found = solved(system, angle, SECTION.load(system, order, ROTOR, STATOR))
    closed = SECTION.closed(angle, order, ROTOR, STATOR)
    rotor = model.rotor_tie.nodal(found.unknowns[: model.rotor_tie.size])
    stator = model.stator_tie.nodal(found.unknowns[model.rotor_tie.size :])

    def missed(turn: float) -> float:
        worst = 0.0
        for mesh, a, by in ((model.rotor_mesh, rotor, turn), (model.stator_mesh, stator, 0.0)):
            r, phi = np.hypot(*mesh.points.T), np.arctan2(mesh.points[:, 1], mesh.points[:, 0]) + by
            amplitudes = np.array([closed.a(min(radius, SECTION.outer)) for radius in r])
            worst = max(worst, float(np.abs((amplitudes * np.exp(1j * order * phi)).real - a).max()))
        return worst / float(np.abs(stator).max())

    assert missed(angle) < 2e-4
    assert missed(angle + 0.01) > 1e-3
    assert missed(-angle) > 1e-3
