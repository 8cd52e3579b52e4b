"""Random laws are C1, have a convex energy that is the integral of H, and come back from their inverse.

The properties are those that make Newton's method on the field's energy converge from any start; each
check is a function of its own, so that a law broken on purpose can be shown to fail it.
"""

import pickle
from collections.abc import Callable

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings

from polefem.materials import MU0, NU0, Law, Steel

Evaluate = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray, np.ndarray]]

steps = st.lists(
    st.tuples(st.floats(1e-2, 2e4), st.floats(1.0, 1e5), st.floats(0.0, 0.2)), min_size=2, max_size=40
)


def table(rows: list[tuple[float, float, float]]) -> tuple[np.ndarray, np.ndarray]:
    """A table that rises by vacuum's slope and more, from rows of (step in H, mu_r, extra step in B)."""
    h = np.cumsum([0.0] + [dh for dh, _, _ in rows])
    b = np.cumsum([0.0] + [MU0 * dh * (1.0 + min(mu_r, 0.2 / MU0 / dh)) + db for dh, mu_r, db in rows])
    return h, b


tables = steps.map(table)


def points(law: Law) -> np.ndarray:
    """Flux densities on both sides of, between and beyond the knots."""
    inside = np.linspace(0.0, 1.0, 7)[1:-1]
    between = law.b[:-1, None] + inside * np.diff(law.b)[:, None]
    return np.unique(np.concatenate([between.ravel(), law.b, law.b[-1] + np.array([0.1, 1.0, 10.0])]))


def energy_is_the_integral_of_h(evaluate: Evaluate, b: np.ndarray) -> bool:
    """Simpson's rule, exact for a cubic, over each gap between knots' interior points."""
    left, right = b[:-1], b[1:]
    (h0, _, w0), (hm, _, _), (h1, _, w1) = (evaluate(x) for x in (left, 0.5 * (left + right), right))
    return bool(
        np.allclose(w1 - w0, (right - left) * (h0 + 4.0 * hm + h1) / 6.0, rtol=1e-7, atol=1e-9 * w1.max())
    )


def energy_is_convex(evaluate: Evaluate, b: np.ndarray) -> bool:
    """The midpoint test, and H strictly increasing."""
    (h0, _, w0), (_, _, wm), (h1, _, w1) = (evaluate(x) for x in (b[:-1], 0.5 * (b[:-1] + b[1:]), b[1:]))
    return bool(np.all(h1 > h0) and np.all(wm <= 0.5 * (w0 + w1) * (1.0 + 1e-12)))


def is_c1(evaluate: Evaluate, law: Law) -> bool:
    """Value and slope meet at the knots from both sides."""
    gap = np.diff(law.b)
    before, after = law.b - 1e-7 * np.append(0.0, gap), law.b + 1e-7 * np.append(gap, 1.0)
    (h0, s0, _), (h1, s1, _) = evaluate(before), evaluate(after)
    largest = np.maximum(s0, s1)
    meets = np.all(np.abs(h1 - h0) <= 2.0 * largest * (after - before) + 1e-12 * h1)
    # Over a tiny part of a piece a cubic's slope moves by at most six times that part of the secant.
    secant = np.append(np.diff(law.h) / np.diff(law.b), law.slope[-1])
    around = np.maximum(secant, np.append(secant[0], secant[:-1]))
    return bool(meets and np.all(np.abs(s1 - s0) <= 1e-5 * around))


@given(tables)
@settings(deadline=None, max_examples=150)
def test_any_table_gives_a_c1_law_of_convex_energy_through_its_points(
    curve: tuple[np.ndarray, np.ndarray],
) -> None:
    h, b = curve
    law = Steel.from_table(h, b).law
    x = points(law)
    assert is_c1(law.evaluate, law)
    assert energy_is_convex(law.evaluate, x)
    assert energy_is_the_integral_of_h(law.evaluate, x)
    np.testing.assert_allclose(law.evaluate(b)[0], h, rtol=1e-9, atol=1e-9)
    assert law.slope[-1] == pytest.approx(NU0)


@given(tables, st.lists(st.floats(0.0, 5.0), min_size=1, max_size=20))
@settings(deadline=None, max_examples=100)
def test_the_inverse_comes_back(curve: tuple[np.ndarray, np.ndarray], at: list[float]) -> None:
    law = Steel.from_table(*curve).law
    b = np.array(at)
    np.testing.assert_allclose(law.invert(law.evaluate(b)[0]), b, rtol=1e-7, atol=1e-9)


@given(tables, st.tuples(st.floats(-3.0, 3.0), st.floats(-3.0, 3.0)))
@settings(deadline=None, max_examples=100)
def test_reluctivity_gives_the_exact_tangent(
    curve: tuple[np.ndarray, np.ndarray], field: tuple[float, float]
) -> None:
    steel, vector = Steel.from_table(*curve), np.array(field)
    size = np.hypot(*vector)
    nu, bend = steel.reluctivity(np.array(size))
    h, slope, _ = steel.evaluate(np.array(size))
    tangent = nu * np.eye(2) + 2.0 * bend * np.outer(vector, vector)
    assert nu * size == pytest.approx(float(h), rel=1e-9, abs=1e-12)
    if size > 1e-6:  # along the field the tangent is dH/dB, across it H/B
        along = vector / size
        assert along @ tangent @ along == pytest.approx(float(slope), rel=1e-9)
        across = np.array([-along[1], along[0]])
        assert across @ tangent @ across == pytest.approx(float(nu), rel=1e-9)


@given(tables, st.floats(0.05, 1.0))
@settings(deadline=None, max_examples=100)
def test_a_stack_of_any_steel_has_a_convex_energy_too(
    curve: tuple[np.ndarray, np.ndarray], factor: float
) -> None:
    law = Steel.from_table(*curve).stacked(factor).law
    assert is_c1(law.evaluate, law)
    assert energy_is_convex(law.evaluate, points(law))


@given(tables, st.floats(1e-3, 2.0))
@settings(deadline=None, max_examples=100)
def test_an_approach_to_saturation_is_c1_convex_and_arrives(
    curve: tuple[np.ndarray, np.ndarray], above: float
) -> None:
    h, b = curve
    reached = b[-1] - MU0 * h[-1]
    law = Steel.from_table(h, b, saturation=reached + above).law
    assert is_c1(law.evaluate, law)
    assert energy_is_convex(law.evaluate, points(law))
    assert law.b[-1] - MU0 * law.h[-1] == pytest.approx(reached + above, abs=0.01 * above + 1e-9)


CURVE = np.array([0.0, 80.0, 200.0, 1500.0, 9000.0]), np.array([0.0, 0.9, 1.3, 1.6, 1.85])


def test_a_wrong_energy_fails_the_integral_check() -> None:
    law = Steel.from_table(*CURVE).law

    def wrong(b: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        h, slope, energy = law.evaluate(b)
        return h, slope, 1.001 * energy

    assert energy_is_the_integral_of_h(law.evaluate, points(law))
    assert not energy_is_the_integral_of_h(wrong, points(law))


def test_straight_pieces_fail_the_c1_check() -> None:
    law = Steel.from_table(*CURVE).law

    def straight(b: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        piece = np.clip(np.searchsorted(law.b, b, side="right") - 1, 0, law.b.size - 2)
        secant = np.diff(law.h) / np.diff(law.b)
        return law.h[piece] + secant[piece] * (b - law.b[piece]), secant[piece], law.evaluate(b)[2]

    assert is_c1(law.evaluate, law)
    assert not is_c1(straight, law)


def test_slopes_left_unlimited_fail_the_convexity_check() -> None:
    law = Steel.from_table(*CURVE).law
    steep = Law(law.b, law.h, 8.0 * law.slope)
    assert energy_is_convex(law.evaluate, points(law))
    assert not energy_is_convex(steep.evaluate, points(steep))


def test_a_law_of_knots_closer_than_the_search_grid_still_finds_its_pieces() -> None:
    b = np.array([0.0, 1e-6, 2e-6, 3e-6, 1.0, 1.0 + 1e-6, 2.0])
    law = Steel.from_table(1000.0 * b, b).law
    np.testing.assert_array_equal(law._piece_of(law.b), np.arange(law.b.size))
    np.testing.assert_allclose(law.evaluate(b)[0], 1000.0 * b, rtol=1e-12)


def test_a_steel_travels_to_another_process_and_stays_read_only() -> None:
    steel = Steel.from_table(*CURVE, name="travelled")
    back = pickle.loads(pickle.dumps(steel))
    assert back.content() == steel.content()
    assert {steel: 1}[steel] == 1
    for array in (back.law.b, back.law.h, back.law.slope):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1.0


def test_energy_and_coenergy_make_the_rectangle() -> None:
    """The integral of B dH by the trapezoidal rule, where the steel bends."""
    steel = Steel.named("M330-50A")
    h = np.linspace(0.0, float(steel.h(1.6)), 20_001)
    area = float(np.trapezoid(steel.b(h), h))
    assert steel.coenergy_density(np.array([0.0, -1.6])) == pytest.approx([0.0, area], rel=1e-5)


def test_odd_through_the_origin() -> None:
    steel = Steel.from_table(*CURVE)
    assert steel.h(-1.2) == -steel.h(1.2)
    assert steel.b(steel.h(-1.2)) == pytest.approx(-1.2)
    assert steel.h(0.0) == 0.0


def test_constant_permeability_and_vacuum() -> None:
    iron, air = Steel.linear(1000.0), Steel.vacuum()
    assert iron.h(1.0) == pytest.approx(NU0 / 1000.0)
    assert air.saturation_polarisation == 0.0 and iron.saturation_polarisation == np.inf
    assert air.coenergy_density(1.0) == pytest.approx(0.5 * NU0)
    np.testing.assert_allclose(iron.b(np.array([0.0, 1.0, 1e5])), 1000.0 * MU0 * np.array([0.0, 1.0, 1e5]))


@pytest.mark.parametrize(
    ("h", "b", "sentence"),
    [
        ([0, 1, 2], [0, 1], r"H and B come in pairs: table is H of shape \(3,\) with B of shape \(2,\)"),
        ([0, 1], [0, 1], "a curve needs points: table is a table of 2 rows"),
        ([0, 1, np.nan, 3], [0, 0.1, 0.2, 0.3], "holds numbers: table, row 3 is H = nan"),
        ([1, 2, 3], [0, 0.1, 0.2], "starts at the origin: table, row 1 is H = 1 A/m, B = 0 T"),
        ([0, 10, 20, 15], [0, 0.1, 0.2, 0.3], "increases: table, row 4 is H = 15 A/m, B = 0.3 T"),
        ([0, 10, 20, 30], [0, 0.1, 0.1, 0.3], "increases: table, row 3 is H = 20 A/m, B = 0.1 T"),
        ([0, 10, 1e6], [0, 0.1, 1.2], "as it would in vacuum: table, row 3 is H = 1e[+]06 A/m, B = 1.2 T"),
    ],
)
def test_a_table_no_steel_has_is_refused_by_its_row(h: list[float], b: list[float], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        Steel.from_table(h, b)


@pytest.mark.parametrize("mu_r", [0.5, np.inf, np.nan])
def test_a_permeability_below_vacuum_is_refused(mu_r: float) -> None:
    with pytest.raises(ValueError, match="iron carries more flux than vacuum: mu_r is"):
        Steel.linear(mu_r)
