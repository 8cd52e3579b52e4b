"""The points that tell most: against textbooks' designs, every choice there is, and choices by chance."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from polefem.errors import InvalidValue
from polefem.measured.causes import Tolerances
from polefem.measured.correction import fitted
from polefem.measured.planning import candidates, d_optimal, planned
from polefem.measured.readings import Kind, Readings
from polefem.measured.separating import advice
from polefem.measured.traps import (
    both_ways,
    mark_sentences,
    meter_sentences,
    resistance_error,
    shielded_share,
)
from polefem.measured.words import told
from polefem.params.toml import load_machine
from polefem.units import deg, mm
from tests.measured.closed_machine import measured, points, prediction, truth

TOLERANCES = Tolerances(0.5 * deg, 0.03 * mm, 0.01, 0.3, 0.5, 0.0)
KINDS: tuple[Kind, ...] = ("inductance", "flux linkage", "torque")
CURRENTS = {
    "inductance": np.array([0.3]),
    "flux linkage": np.array([3.0, 10.0]),
    "torque": np.array([4.0, 10.0]),
}


def information(rows: np.ndarray, at: np.ndarray, known: np.ndarray) -> float:
    own = rows[list(at)]
    return float(np.linalg.slogdet(known + own.T @ own)[1])


@pytest.mark.parametrize(("degree", "places"), [(1, [-1.0, 1.0]), (2, [-1.0, 0.0, 1.0])])
def test_polynomials_are_measured_where_textbooks_say(degree: int, places: list[float]) -> None:
    """A straight line is measured at its ends, a parabola at ends and middle (Atkinson, Donev; from memory)."""
    x = np.linspace(-1, 1, 21)
    rows = np.stack([x**k for k in range(degree + 1)], axis=1)
    at = d_optimal(rows, degree + 1, 1e-9 * np.eye(degree + 1))
    assert sorted(x[at]) == pytest.approx(places)


def test_no_choice_of_all_there_are_is_better() -> None:
    random = np.random.default_rng(7)
    known = np.eye(3)
    for _ in range(5):
        rows = random.standard_normal((12, 3)) * [3.0, 1.0, 0.5]
        best = max(information(rows, at, known) for at in combinations(range(12), 5))
        found = information(rows, d_optimal(rows, 5, known), known)
        assert found == pytest.approx(best, abs=0.02)
        worst = np.argsort((rows**2).sum(axis=1))[:5]
        assert information(rows, worst, known) < best - 0.5


def test_a_plan_leaves_less_than_points_evenly_spread() -> None:
    drawn = prediction()
    angles = np.arange(-40, 41, 5) * deg
    among = candidates(drawn, KINDS, angles, CURRENTS)
    plan = planned(drawn, among, 10, TOLERANCES)
    assert len(plan.points) == 10 and set(plan.points.kinds) <= set(KINDS)
    assert (plan.left < plan.tolerances).all()
    even = planned(drawn, among.taken(np.linspace(0, len(among) - 1, 10).astype(int)), 10, TOLERANCES)
    assert np.prod(plan.left / plan.tolerances) < 0.5 * np.prod(even.left / even.tolerances)
    assert plan.resolutions == pytest.approx(plan.bands / 3)


def test_what_a_plan_promises_a_correction_keeps() -> None:
    drawn = prediction()
    among = candidates(drawn, KINDS, np.arange(-40, 41, 5) * deg, CURRENTS)
    plan = planned(drawn, among, 12, TOLERANCES)
    correction = fitted(drawn, measured(plan.points, {"air_gap": 0.51 * mm}, 1), TOLERANCES, mesh_error=False)
    assert correction.deviations == pytest.approx(plan.left, rel=0.1)
    assert 2 * correction.deviations != pytest.approx(plan.left, rel=0.1)


def test_more_points_than_there_are_is_refused() -> None:
    with pytest.raises(
        InvalidValue, match="a plan chooses among its candidates: count is 9, allowed is up to 4"
    ):
        d_optimal(np.ones((4, 2)), 9, np.eye(2))
    with pytest.raises(InvalidValue, match="a plan chooses among points: candidates is none"):
        candidates(prediction(), (), np.zeros(1), CURRENTS)


# What would tell ---------------------------------------------------------------------------------------


def test_the_advice_is_the_measurement_that_helps() -> None:
    both = replace(TOLERANCES, saturation=0.01)
    correction = fitted(prediction(), measured(points(share=1e-3), {}, 1), both, mesh_error=False)
    said = " ".join(advice(correction))
    assert "To tell stacking factor and saturation apart: the stack weighed" in said
    one = points(("inductance",))
    unaligned = one.taken(np.abs(one.angles) > 35 * deg)
    silent = fitted(prediction(), measured(unaligned, {}, 1), TOLERANCES, mesh_error=False)
    assert "nothing of the knee" in " ".join(told(silent))
    alone = " ".join(advice(silent))
    assert "To tell the knee: a coil round the stator's yoke alone" in alone
    # With points of the bench to choose from, one of them may do as well.
    among = candidates(prediction(), ("flux linkage",), np.zeros(1), {"flux linkage": np.array([1.0])})
    knee = fitted(prediction(), unaligned, Tolerances(0.0, 0.0, 0.0, 0.0, 0.5, 0.0), mesh_error=False)
    exact = replace(among, deviations=among.deviations * 0.01)
    assert "flux linkage at 0 deg, 1 A" in " ".join(advice(knee, exact))
    rough = replace(among, deviations=among.deviations * 2.0)
    assert "a coil round the stator's yoke alone" in " ".join(advice(knee, rough))


# Traps -------------------------------------------------------------------------------------------------


def shields_as_the_field_does(share: float) -> bool:
    """Against the field across a sheet, by differences: d2H/dx2 = j w s mu H, 1 at both faces."""
    d, rho, mu, f = 0.5e-3, 50e-8, 4000.0, 400.0
    n = 401
    x = np.linspace(0.0, d, n)
    k = 2j * np.pi * f * mu * 4e-7 * np.pi / rho
    step = x[1]
    main = np.full(n - 2, -2.0 - k * step**2)
    field = np.ones(n, dtype=complex)
    matrix = np.diag(main) + np.diag(np.ones(n - 3), 1) + np.diag(np.ones(n - 3), -1)
    right = np.zeros(n - 2, dtype=complex)
    right[[0, -1]] = -1.0
    field[1:-1] = np.linalg.solve(matrix, right)
    mean = ((field[1:] + field[:-1]) / 2).mean().real
    return bool(abs(share / mean - 1.0) < 1e-3)


def test_a_sheet_shields_itself_as_its_field_says() -> None:
    assert shields_as_the_field_does(shielded_share(0.5e-3, 50e-8, 4000.0, 400.0))
    assert not shields_as_the_field_does(shielded_share(0.35e-3, 50e-8, 4000.0, 400.0))


def test_solid_and_thick_parts_are_cautioned() -> None:
    wheel = load_machine("geometries/pottery_wheel.toml")
    rig = load_machine("geometries/rotational_rig.toml")
    drawn = prediction()
    low = " ".join(meter_sentences(wheel, 50.0, drawn, 0.3))
    high = " ".join(meter_sentences(wheel, 10e3, drawn, 0.3))
    assert "keeps" not in low and "measure at a lower frequency" in high
    assert "The rotor is solid: at 1000 Hz a field reaches" in " ".join(
        meter_sentences(rig, 1000.0, drawn, 0.3)
    )


def test_the_first_mark_and_readings_both_ways() -> None:
    drawn = prediction()
    said = " ".join(mark_sentences(drawn, points()))
    assert "A mark that is off by 0.5 deg moves the torque at" in said
    up, down = points().with_values(np.full(63, 1.2)), points().with_values(np.full(63, 1.0))
    both = both_ways(up, down)
    assert both.readings.values == pytest.approx(1.1) and both.halves == pytest.approx(0.1)
    assert both.readings.deviations == pytest.approx(points().deviations / np.sqrt(2))
    assert both.readings.places[0] == "inductance 0 and inductance 0"
    with pytest.raises(InvalidValue, match="readings both ways are of the same points"):
        both_ways(up, points(("torque",)))


def test_friction_and_remanence_are_told_from_noise_and_leave_the_means() -> None:
    """Of a lever that rubs with 0.1 N m: up reads more, down less; their means find the gap, one way alone does not."""
    torques = points(("torque",))
    true = {"air_gap": 0.52 * mm}
    rubs = np.full(len(torques), 0.1)
    up, down = (measured(torques, true, seed) for seed in (1, 2))
    up, down = up.with_values(up.values + rubs), down.with_values(down.values - rubs)
    both = both_ways(up, down)
    (said,) = both.sentences
    assert "half of the difference is 0.1 N m on average" in said and "friction of the lever" in said

    def off(found: Readings) -> float:
        left = (found.values - truth(torques, true)) / found.deviations
        return float((left**2).mean())

    assert off(both.readings) < 1.6 < 3.0 < off(up)
    quiet = both_ways(*(measured(torques, true, seed) for seed in (1, 2)))
    assert "no more than the stated deviations" in quiet.sentences[0]


def test_a_warm_coil_spoils_the_integral_as_computed() -> None:
    t = np.linspace(0.0, 0.5, 5001)
    ohms = 1.0 * (1 + 0.00393 * 10.0 * t / 0.5)
    missed = float(np.sum((ohms[1:] + ohms[:-1]) / 2 - 1.0) * 5.0 * (t[1] - t[0]))
    assert resistance_error(1.0, 5.0, 0.5, 10.0) == pytest.approx(missed, rel=1e-3)
    assert 2 * resistance_error(1.0, 5.0, 0.5, 10.0) != pytest.approx(missed, rel=1e-3)
