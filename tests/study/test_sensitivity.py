"""Slopes and shares against formulas whose derivatives and Sobol's indices are known in closed form."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from fake_solver import MACHINE, PLAN
from made_up import run_of

from polefem.errors import InvalidValue
from polefem.study import Design, Range, Sensitivities, global_sensitivity, local_slopes
from polefem.units import deg, mm

RANGES = {
    "rotor_pole.arc": Range(30 * deg, 36 * deg),
    "air_gap": Range(0.3 * mm, 0.6 * mm),
    "drive.turn_on": Range(-40 * deg, -30 * deg),
}
BASE = Design("base", MACHINE, {"drive.turn_on": -35 * deg}, PLAN)
ASKED = Sensitivities(RANGES)


def unit(value: Any, name: str) -> float:
    span = RANGES[name]
    return (value(name) - span.low) / (span.high - span.low)


def formula(value: Any) -> dict[str, float]:
    a, g, t = (unit(value, name) for name in RANGES)
    return {"ripple": 1.0 + 2.0 * a + g, "mean_torque": 2.0 + 3.0 * a * t}


def test_slopes_are_the_derivatives() -> None:
    run, _ = run_of(formula)
    found = local_slopes("s", BASE, ASKED, run)
    a = (32 - 30) / 6
    by_hand = np.array([[2.0, 3.0 * 0.5], [1.0, 0.0], [0.0, 3.0 * a]])
    spans = np.array([s.high - s.low for s in RANGES.values()])
    assert found.slopes == pytest.approx(by_hand / spans[:, None], abs=1e-9)
    ripple = 1.0 + 2.0 * a + 1 / 3
    assert found.per_cent[0, 0] == pytest.approx(2.0 / (6 * deg) * 32 * deg / ripple)


def test_a_slope_that_cannot_be_had_is_not_made_up() -> None:
    away = 1e-6 * mm
    run, _ = run_of(formula, refused=lambda design: abs(design.machine.air_gap - MACHINE.air_gap) > away)
    found = local_slopes("s", BASE, ASKED, run)
    assert np.isnan(found.slopes[1]).all() and np.isfinite(found.slopes[0]).all()


def test_a_slope_is_had_from_one_side_where_the_other_cannot_be_built() -> None:
    run, _ = run_of(formula, refused=lambda design: design.machine.air_gap > MACHINE.air_gap + 1e-6 * mm)
    whole, _ = run_of(formula)
    one, both = (local_slopes("s", BASE, ASKED, r).slopes for r in (run, whole))
    assert one == pytest.approx(both, abs=1e-9)  # the made-up ripple is a straight line in the gap


def test_shares_are_sobol_s_indices() -> None:
    # Of 2 a + g the parts of variance are 4 : 1. Of a t (each uniform on 0 to 1): variance 7/144, of it 3/144 each
    # alone and 1/144 together.
    run, asked = run_of(formula)
    found = global_sensitivity("s", BASE, ASKED, run)
    assert len(asked) == found.designs == 64
    assert found.q_squared.min() > 0.99
    assert found.first[:, 0] == pytest.approx([0.8, 0.2, 0.0], abs=0.03)
    assert found.total[:, 0] == pytest.approx([0.8, 0.2, 0.0], abs=0.03)
    assert found.first[:, 1] == pytest.approx([3 / 7, 0.0, 3 / 7], abs=0.03)
    assert found.total[:, 1] == pytest.approx([4 / 7, 0.0, 4 / 7], abs=0.03)


def test_a_field_by_itself_has_the_whole_share_of_every_figure() -> None:
    alone = Sensitivities({"rotor_pole.arc": RANGES["rotor_pole.arc"]}, points=16)
    found = global_sensitivity("s", BASE, alone, run_of(formula)[0])
    assert found.first.shape == found.total.shape == (1, 2)
    assert found.first == pytest.approx(1.0, abs=0.02)


def test_a_sample_too_small_to_be_smoothed_is_refused() -> None:
    run, _ = run_of(formula)
    with pytest.raises(
        InvalidValue, match="a sample must be large enough to be smoothed: solved designs is 8"
    ):
        global_sensitivity("s", BASE, Sensitivities(RANGES, points=8), run)


def test_an_unknown_figure_is_refused() -> None:
    with pytest.raises(InvalidValue, match="designs are ranked by a figure: figures is 'beauty'"):
        Sensitivities(RANGES, ("beauty",))
