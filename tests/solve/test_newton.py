"""Newton's method on real iron: it converges from any start, says how it ended, and finds the one least energy."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import minimize

from polefem.field import built
from polefem.materials import Steel, steel_names
from polefem.outline import outline_of
from polefem.shapes import area
from polefem.solve import Coupled, FactorCache, Solution, System, minimise, tangent_solutions
from polefem.units import deg
from tests.field.built_machines import ROUGH, half_turn
from tests.gallery import LayeredSection

Floats = NDArray[np.float64]

#: Aligned, half overlapped, just before the corners meet, unaligned; rad.
ANGLES = (0.0, -15 * deg, -31 * deg, -45 * deg)


@cache
def base() -> System:
    return built(half_turn(), ROUGH).systems[0]


def made_of(steel: Steel) -> System:
    """The 6/4 machine's sector in another steel, on the same mesh."""
    system = base()
    irons = tuple(replace(iron, steel=steel) for iron in system.model.irons)
    return System(replace(system.model, irons=irons), system.gap)


def current_at(density: float) -> float:
    """Phase current (A) of a current density (A/m2) over the whole coil side."""
    machine = half_turn()
    coil = next(region for region in outline_of(machine).stator.regions if region.material == "coil")
    return density * area(coil.ring) / machine.winding.turns_per_pole


def from_zero(system: System, angle: float, current: float) -> Solution:
    load = current * system.model.loads[0]
    return minimise(system.at(angle), load, np.zeros(system.size), FactorCache())


def settled(found: Solution) -> bool:
    """Whether it converged, and its history says so: down to the tolerance, lower than ever before, and fast at the
    last.

    The energy falls at every step; the norm of the error need not, in iron with a knee as sharp as pure iron's.
    """
    return bool(
        found.converged
        and found.message.startswith("converged in")
        and found.history[-1] <= FactorCache().tolerance
        and len(found.history) == found.steps + 1
        and found.history[-1] == min(found.history)
        and found.history[-1] <= 0.5 * found.history[-2]
    )


@pytest.mark.parametrize("name", steel_names())
def test_every_steel_of_the_library_from_zero_at_50_amperes_per_square_millimetre(name: str) -> None:
    found = from_zero(made_of(Steel.named(name)), ANGLES[1], current_at(50e6))
    assert found.converged, found.message
    assert settled(found), found.history


@pytest.mark.slow
@pytest.mark.parametrize("name", steel_names())
def test_every_steel_at_every_density_and_angle(name: str) -> None:
    system = made_of(Steel.named(name))
    for angle in ANGLES:
        for density in (0.1e6, 1e6, 5e6, 20e6, 50e6, 100e6):
            assert from_zero(system, angle, current_at(density)).converged


def test_how_it_ended_is_in_the_result() -> None:
    system = made_of(Steel.named("M330-50A"))
    load = current_at(50e6) * system.model.loads[0]
    found = minimise(system.at(-0.2), load, np.zeros(system.size), FactorCache())
    assert settled(found)
    assert found.message == f"converged in {found.steps} steps" and found.factors >= 1 and found.products > 0
    # Too few steps: named, never silent.
    cut = minimise(system.at(-0.2), load, np.zeros(system.size), FactorCache(most_steps=2))
    assert not cut.converged and not settled(cut)
    assert cut.message == "no convergence in 2 steps"
    # The twins: a history that ends above the tolerance, or creeps.
    assert not settled(replace(found, history=(*found.history[:-1], 1e-4)))
    assert not settled(replace(found, history=(*found.history[:-2], 1.5e-5, 1e-5)))
    assert not settled(replace(found, steps=found.steps + 1))


def test_no_current_no_field() -> None:
    system = made_of(Steel.named("M330-50A"))
    found = minimise(system.at(0.1), np.zeros(system.size), np.zeros(system.size), FactorCache())
    assert found.converged and found.steps == 0 and found.energy == 0.0
    assert not found.unknowns.any()


def test_what_is_found_missing_at_the_last_is_added() -> None:
    """The field is nearer to the solution than the error that it was judged by, and the energy is its own."""
    coupled, load, exact = reference()
    near = minimise(coupled, 0.98 * load, exact.unknowns, FactorCache()).unknowns
    found = minimise(coupled, load, near, FactorCache(tolerance=1e-3))
    bare = coupled.system.tangent_matrix(coupled.state(exact.unknowns))

    def nearer(unknowns: Floats) -> bool:
        missing = unknowns - exact.unknowns
        error = math.sqrt(float(missing @ coupled.curved(bare, missing)) / (2 * exact.energy))
        return error < 0.5 * found.history[-1]

    def its_own(energy: float) -> bool:
        return math.isclose(energy, coupled.state(found.unknowns).energy, rel_tol=1e-6)

    assert 1e-5 < found.history[-1] < 1e-3
    assert nearer(found.unknowns) and its_own(found.energy)
    assert not nearer(found.unknowns + 0.001 * exact.unknowns)
    assert not its_own(found.energy * (1 + 1e-5))


# One least energy -----------------------------------------------------------------------------------


def same(one: Solution, two: Solution, within: float = 1e-6) -> bool:
    """Whether two solutions hold the same field, in energy and in every unknown."""
    size = np.abs(two.unknowns).max()
    return bool(
        math.isclose(one.energy, two.energy, rel_tol=within)
        and math.isclose(one.work, two.work, rel_tol=within)
        and np.abs(one.unknowns - two.unknowns).max() <= 10 * within * size
    )


@cache
def reference() -> tuple[Coupled, Floats, Solution]:
    """The sector near corners passing, well saturated, solved finer than maps are."""
    system = made_of(Steel.named("M330-50A"))
    coupled, load = system.at(-0.5), current_at(20e6) * system.model.loads[0]
    return coupled, load, minimise(coupled, load, np.zeros(system.size), FactorCache(tolerance=1e-7))


@pytest.mark.parametrize("start", ["twice", "opposed", "noise", "another current"])
def test_the_result_does_not_depend_on_the_start(start: str) -> None:
    coupled, load, found = reference()
    noise = np.random.default_rng(7).normal(size=len(load)) * np.abs(found.unknowns).max()
    begins = {
        "twice": 2 * found.unknowns,
        "opposed": -found.unknowns,
        "noise": 0.01 * noise,
        "another current": minimise(coupled, 0.1 * load, 0 * load, FactorCache()).unknowns,
    }
    again = minimise(coupled, load, begins[start], FactorCache(tolerance=1e-7))
    assert again.converged
    assert same(again, found)
    assert not same(replace(again, unknowns=again.unknowns * (1 + 1e-3)), found)
    assert not same(minimise(coupled, 1.001 * load, begins[start], FactorCache(tolerance=1e-7)), found)


def test_a_kept_factor_and_a_fresh_one_give_the_same() -> None:
    """A factor made at another angle, at no current, only preconditions: it may not change what is found."""
    coupled, load, found = reference()
    system = coupled.system
    kept = FactorCache(tolerance=1e-7)
    minimise(system.at(0.1), 1e-3 * load, np.zeros(system.size), kept)
    assert kept.factor is not None
    old = kept.factor
    again = minimise(coupled, load, np.zeros(system.size), kept)
    assert again.converged and same(again, found)
    # And one kept for ever, however many products that takes.
    stubborn = FactorCache(tolerance=1e-7, patience=5000)
    stubborn.factor = old
    slow = minimise(coupled, load, np.zeros(system.size), stubborn)
    assert slow.converged and same(slow, found) and slow.products > again.products


def left_over(trusted: float) -> tuple[float, float]:
    """Of a last step taken on trust from an error of `trusted`: how far the unknowns are from those solved to rounding,
    and the answers to small loads from theirs, at most, both in the energy's norm."""
    system = base()
    coupled, load = system.at(-15 * deg), current_at(20e6) * system.model.loads[0]
    rights = list(system.model.loads[:2])
    zero, exact = np.zeros(system.size), FactorCache(tolerance=1e-10, lean=False)
    right = minimise(coupled, load, zero, exact)
    cache = FactorCache(tolerance=1e-8, near=0.1, trusted=trusted, glance=4, worn=100)
    found = minimise(coupled, load, zero, cache, rights)
    assert right.converged and found.converged and found.message.endswith("the last on trust")
    assert found.steps == len(found.history) and found.history[-1] <= trusted < found.history[-2]
    tangent = system.tangent_matrix(coupled.state(right.unknowns))

    def norm(field: Floats) -> float:
        return math.sqrt(float(field @ coupled.curved(tangent, field)))

    answers = tangent_solutions(coupled, right.unknowns, rights, exact)
    off = [norm(one - other) / norm(other) for one, other in zip(found.answers, answers, strict=True)]
    return norm(found.unknowns - right.unknowns) / norm(right.unknowns), max(off)


def test_a_last_step_on_trust_leaves_little_and_answers_are_at_hand() -> None:
    unknowns, answers = left_over(5e-4)
    assert unknowns < 1e-4 and answers < 0.02
    unknowns, answers = left_over(0.3)  # trusted too early
    assert unknowns > 1e-4 and answers > 0.02


def test_a_general_minimiser_finds_nothing_lower() -> None:
    """Against `scipy.optimize.minimize` (trust region, conjugate gradients), on a small section in saturated steel."""
    section = LayeredSection(rotor_mu=5000.0, stator_mu=5000.0)
    linear = section.system(6e-3, 6, 6, True)
    steel = Steel.named("M330-50A")
    irons = tuple(replace(iron, steel=steel) for iron in linear.model.irons)
    system = System(replace(linear.model, irons=irons), linear.gap)
    load = section.load(system, 3, 3e8, 3e8j)
    coupled = system.at(0.2)
    found = minimise(coupled, load, np.zeros(system.size), FactorCache(tolerance=1e-8))
    unit = float(np.abs(found.unknowns).max())  # what it searches is of the order of one

    def energy(a: Floats) -> tuple[float, Floats]:
        state = coupled.state(a * unit)
        gradient: Floats = (state.gradient - load) * unit
        return state.energy - float(load @ a) * unit, gradient

    def curved(a: Floats, along: Floats) -> Floats:
        bare = system.tangent_matrix(coupled.state(a * unit))
        product: Floats = coupled.curved(bare, along) * unit**2
        return product

    lowest = found.energy - found.work
    other = minimize(
        energy,
        np.zeros(system.size),
        jac=True,
        hessp=curved,
        method="trust-ncg",
        options={"gtol": 1e-7 * abs(lowest), "maxiter": 300},
    )

    def as_low(value: float) -> bool:
        return value <= other.fun + 1e-9 * abs(other.fun)

    assert np.abs(other.x * unit - found.unknowns).max() < 1e-4 * unit
    assert as_low(lowest)
    assert not as_low(energy(found.unknowns * 1.001 / unit)[0])
    # Saturated: half the current makes more than half the field.
    half = minimise(coupled, load / 2, np.zeros(system.size), FactorCache())
    assert half.work > 1.02 * found.work / 4


def test_energy_gradient_and_tangent_belong_together() -> None:
    """By differences, at a saturated state, along a direction that is rough from node to node."""
    coupled, _, found = reference()
    here, step = found.unknowns, 1e-4
    along = here * (1 + 0.3 * np.sin(np.arange(len(here))))
    ahead, behind = coupled.state(here + step * along), coupled.state(here - step * along)
    state = coupled.state(here)

    def slope_fits(gradient: Floats) -> bool:
        return math.isclose(
            (ahead.energy - behind.energy) / (2 * step), float(gradient @ along), rel_tol=1e-5
        )

    def bend_fits(product: Floats) -> bool:
        differences = (ahead.gradient - behind.gradient) / (2 * step)
        return bool(np.abs(differences - product).max() <= 1e-4 * np.abs(differences).max())

    product = coupled.curved(coupled.system.tangent_matrix(state), along)
    assert slope_fits(state.gradient) and bend_fits(product)
    assert not slope_fits(1.001 * state.gradient)
    secant = coupled.curved(coupled.system.tangent_matrix(coupled.state(0.5 * here)), along)
    assert not bend_fits(secant)
