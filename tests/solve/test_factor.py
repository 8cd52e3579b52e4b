"""Factors, the matrices they are made of, and the conjugate gradients they lead, against scipy's own solution."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import spsolve

from polefem.field import built
from polefem.solve import Coupled, FactorCache, factor, minimise, newton
from polefem.solve.factor import Factor, Layout, correction
from tests.field.built_machines import ROUGH, half_turn

Floats = NDArray[np.float64]


@cache
def saturated() -> tuple[Coupled, sp.csr_matrix, Floats]:
    """A sector with its corners passing, its tangent matrix far into saturation, and a load."""
    system = built(half_turn(), ROUGH).systems[0]
    coupled = system.at(-0.5)
    load = 40.0 * system.model.loads[0]
    found = minimise(coupled, load, np.zeros(system.size), FactorCache())
    return coupled, system.tangent_matrix(coupled.state(found.unknowns)), load


@cache
def still() -> sp.csr_matrix:
    """The same sector's tangent matrix without a field."""
    system = saturated()[0].system
    return system.tangent_matrix(saturated()[0].state(np.zeros(system.size)))


def whole() -> sp.csc_matrix:
    coupled, bare, _ = saturated()
    return sp.csc_matrix(bare + coupled.coupling)


def furthest(one: Floats, two: Floats) -> float:
    """Largest difference over the largest value."""
    return float(np.abs(one - two).max() / np.abs(two).max())


def mirrored(upper: sp.csc_matrix) -> sp.csr_matrix:
    """The symmetric matrix of an upper triangle."""
    return sp.csr_matrix(upper + sp.triu(upper, k=1).T)


def test_a_layout_holds_the_whole_matrix() -> None:
    """Of whatever state, wherever it was laid out."""
    coupled, bare, _ = saturated()
    layout = Layout([coupled], bare, lean=False)

    def holds(filled: sp.csr_matrix, expected: sp.csr_matrix) -> bool:
        missing = mirrored(layout.matrix(coupled, filled)) - (expected + coupled.coupling)
        return bool(abs(missing).max() <= 1e-14 * abs(expected).max())

    assert holds(bare, bare) and holds(still(), still())
    assert not holds(still(), bare)


def test_a_lean_layout_leaves_out_what_is_minor_of_the_gap_and_nothing_else() -> None:
    coupled, bare, _ = saturated()
    model = coupled.system.model
    gone = sp.coo_matrix(whole() - mirrored(Layout([coupled], bare, lean=True).matrix(coupled, bare)))
    gone.eliminate_zeros()
    diagonal = whole().diagonal()
    part = np.abs(gone.data) / np.sqrt(diagonal[gone.row] * diagonal[gone.col])
    gap = np.concatenate([model.rotor_at, model.stator_at])
    assert len(part) > 1000 and (part < factor.MINOR).all()
    assert np.isin(gone.row, gap).all() and np.isin(gone.col, gap).all()
    assert (part > 0.1 * factor.MINOR).any()  # the twin: a bound of a tenth would not hold


@pytest.mark.parametrize(("lean", "within"), [(False, 1e-10), (True, 1e-2)])
def test_a_factor_solves_as_scipy_does(lean: bool, within: float) -> None:
    coupled, bare, load = saturated()
    made = Factor(Layout([coupled], bare, lean), coupled, bare)
    expected = spsolve(whole(), load)
    assert furthest(made.solve(load), expected) < within
    # The twin: without the coupling across the gap it is another matrix.
    apart = spsolve(sp.csc_matrix(bare), load)
    assert furthest(made.solve(load), apart) > 10 * within


def test_a_layout_serves_one_state_after_another() -> None:
    coupled, bare, load = saturated()
    layout = Layout([coupled], still(), lean=False)
    expected = spsolve(whole(), load)
    assert furthest(Factor(layout, coupled, still()).solve(load), expected) > 0.1
    assert furthest(Factor(layout, coupled, bare).solve(load), expected) < 1e-10


def test_a_layout_of_several_angles_serves_each() -> None:
    coupled, bare, load = saturated()
    others = [coupled.system.at(coupled.angle + turned) for turned in (0.02, 0.04)]
    layout = Layout([coupled, *others], bare, lean=True)
    assert layout.serves(others[1]) and not layout.serves(coupled.system.at(coupled.angle))

    def right(at: int, angle: int) -> bool:
        made = Factor(layout, others[at], bare).solve(load)
        return furthest(made, spsolve(sp.csc_matrix(bare + others[angle].coupling), load)) < 1e-2

    assert right(0, 0) and right(1, 1)
    assert not right(0, 1) and not right(1, 0)


@pytest.mark.parametrize("reduction", [1e-1, 1e-3, 1e-6])
def test_conjugate_gradients_go_as_far_as_asked(reduction: float) -> None:
    """On a factor of unsaturated iron, which is far from the matrix."""
    coupled, bare, load = saturated()
    old = Factor(Layout([coupled], still(), lean=True), coupled, still())
    found = correction(coupled, bare, load, old.solve(load), old, reduction, 2000)
    exact = spsolve(whole(), load)

    def near(step: Floats) -> bool:
        missing = step - exact
        energy = float(missing @ coupled.curved(bare, missing)) / float(load @ exact)
        return energy**0.5 < 30 * reduction

    assert found.reached and found.products > 1 and near(found.step)
    assert np.isclose(found.decrement, load @ found.step)
    if reduction < 1e-2:
        assert not near(0.9 * found.step)
        early = correction(coupled, bare, load, old.solve(load), old, reduction, 2)
        assert early.products == 2 and not early.reached and not near(early.step)


def test_a_factor_that_hardly_serves_is_given_up_at_a_glance() -> None:
    coupled, bare, load = saturated()
    old, own = (Factor(Layout([coupled], one, lean=True), coupled, one) for one in (still(), bare))
    poor = correction(coupled, bare, load, old.solve(load), old, 1e-4, 2000, 2)
    assert poor.products == 2 and not poor.reached
    good = correction(coupled, bare, load, own.solve(load), own, 1e-12, 2000, 2)
    assert good.products > 2 and good.reached  # one that serves goes on past the glance


# Where too much was left out ------------------------------------------------------------------------


def solved(cache: FactorCache) -> Floats:
    coupled, _, load = saturated()
    found = minimise(coupled, load, np.zeros(len(load)), cache)
    assert found.converged, found.message
    return found.unknowns


def test_a_factor_that_does_not_lead_at_once_is_made_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    expected = solved(FactorCache(tolerance=1e-7, lean=False))
    ordinary = FactorCache(tolerance=1e-7)
    assert furthest(solved(ordinary), expected) < 1e-5 and ordinary.lean
    # So much left out that the factor is of another matrix.
    monkeypatch.setattr(factor, "MINOR", 1e-3)
    hard = FactorCache(tolerance=1e-7)
    assert furthest(solved(hard), expected) < 1e-5 and not hard.lean
    # The twin: with patience for any factor it takes many times the products.
    monkeypatch.setattr(newton, "FEW", 1000)
    patient = FactorCache(tolerance=1e-7, patience=1000)
    assert furthest(solved(patient), expected) < 1e-5
    assert patient.products > 5 * hard.products
