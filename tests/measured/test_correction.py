"""Hidden causes are found again within their stated deviations, and what cannot be told is said not to be.

The machine is a closed form (`closed_machine`), measured with noise; `test_correction_of_fields` does it with fields.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from polefem.errors import InvalidValue
from polefem.measured.causes import Tolerances, bounds_of, changed_machine, drawn_values
from polefem.measured.comparing import compared
from polefem.measured.correction import Correction, fitted
from polefem.measured.prediction import Prediction
from polefem.measured.readings import Readings
from polefem.measured.words import confused, told
from polefem.params.toml import load_machine
from polefem.units import deg, mm
from tests.measured.closed_machine import DRAWN, closed, measured, points, prediction, truth

TOLERANCES = Tolerances(
    angle_offset=0.5 * deg, air_gap=0.03 * mm, stacking_factor=0.01, ends=0.3, knee=0.5, saturation=0.0
)
NAMES = TOLERANCES.free
DRAWS = 40


@cache
def drawn() -> Prediction:
    return prediction()


def hidden(seed: int) -> dict[str, float]:
    """A machine as the tolerances make them."""
    random = np.random.default_rng(1000 + seed)
    return {name: DRAWN[name] + getattr(TOLERANCES, name) * random.uniform(-1.5, 1.5) for name in NAMES}


def found(readings: Readings, tolerances: Tolerances = TOLERANCES) -> Correction:
    return fitted(drawn(), readings, tolerances, again=prediction, mesh_error=False)


@cache
def draws() -> np.ndarray:
    """Found less hidden in stated deviations, shape (n_draws, n_causes), and the reduced chi-square of each."""
    rows = []
    for seed in range(DRAWS):
        own = hidden(seed)
        correction = found(measured(points(), own, seed))
        off = (correction.values - [own[name] for name in NAMES]) / correction.deviations
        rows.append([*off, correction.after.reduced_chi_square])
    return np.array(rows)


def covers(off: np.ndarray) -> bool:
    """95 % within two deviations, and these neither half nor twice as large as they ought to be."""
    inside = float(np.mean(np.abs(off) < 2.0))
    return inside >= 0.93 and 0.7 < float(np.sqrt(np.mean(off**2))) < 1.4


def test_hidden_causes_lie_within_two_deviations() -> None:
    off = draws()[:, :-1]
    assert covers(off)
    for column in off.T:
        assert np.mean(np.abs(column) < 2.0) >= 0.9
    assert draws()[:, -1].mean() == pytest.approx(1.0, abs=0.15)


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_deviations_half_or_twice_as_large_are_noticed(factor: float) -> None:
    assert not covers(draws()[:, :-1] / factor)


def test_one_round_of_slopes_does_not_carry_as_far_as_predicting_anew() -> None:
    far = {**hidden(0), "air_gap": 0.7 * mm, "knee": 1.5}
    loose = replace(TOLERANCES, air_gap=0.1 * mm, knee=1.0)
    exact = points(share=0.002).with_values(truth(points(), far))
    once = fitted(drawn(), exact, loose, mesh_error=False)
    again = fitted(drawn(), exact, loose, again=prediction, mesh_error=False)
    assert once.rounds == 1 < again.rounds
    assert again.found["air_gap"] == pytest.approx(0.7 * mm, rel=0.01)
    assert once.found["air_gap"] != pytest.approx(0.7 * mm, rel=0.01)


def test_a_correlated_pair_is_what_the_closed_inverse_says() -> None:
    """Saturation and stacking factor enter as a product alone: of two priors of 1 % the data know the sum."""
    both = replace(TOLERANCES, saturation=0.01)
    correction = found(measured(points(share=1e-3), {"stacking_factor": 0.9696}, 3), both)
    at = correction.names.index("stacking_factor"), correction.names.index("saturation")
    assert correction.correlations[at] < -0.98
    assert correction.deviations[at[0]] == pytest.approx(0.01 * 0.96 / np.hypot(0.96, 1.0), rel=0.05)
    assert any("stacking factor" in said and "saturation" in said for said in confused(correction))
    apart = found(measured(points(share=1e-3), {}, 3))
    assert not any("saturation" in said for said in confused(apart))


def test_what_readings_cannot_tell_is_said() -> None:
    """Unaligned inductance alone knows nothing of gap and knee."""
    one = points(("inductance",))
    unaligned = one.taken(np.abs(one.angles) > 35 * deg)
    correction = found(measured(unaligned, {}, 1))
    silent = " ".join(told(correction))
    assert "nothing of the knee" in silent and "nothing of the air gap" in silent
    all_of_it = " ".join(told(found(measured(points(share=2e-3), {}, 1))))
    assert "nothing of" not in all_of_it


def test_miscounted_turns_are_found_as_a_whole_number() -> None:
    held = replace(TOLERANCES, stacking_factor=0.0)
    readings = measured(points(share=1e-3), {"air_gap": 0.52 * mm}, 2, turns=119)
    correction = found(readings, replace(held, turns=2))
    assert correction.turns == 119 and correction.chances[119] > 0.95
    assert correction.found["air_gap"] == pytest.approx(0.52 * mm, abs=3 * correction.deviations[1])
    # A stack that may be 1 % fuller explains as much as one turn of 120.
    assert max(found(readings, replace(TOLERANCES, stacking_factor=0.02, turns=2)).chances.values()) < 0.8
    # Taken for sure, the wrong number is paid for elsewhere.
    wrong = found(readings, held)
    assert wrong.after.reduced_chi_square > 1.3 * correction.after.reduced_chi_square


def test_a_missing_cause_is_noticed_and_stated_ones_are_not() -> None:
    readings = measured(points(), {}, 4)
    good = compared(drawn(), readings, tolerances=TOLERANCES, mesh_error=False)
    assert good.chance > 0.01 and "explain the differences" in good.sentences[0]
    doubled = readings.with_values(readings.values * np.where(readings.of("torque"), 1.3, 1.0))
    bad = compared(drawn(), doubled, tolerances=TOLERANCES, mesh_error=False)
    assert "do not explain" in bad.sentences[0] and bad.reduced_chi_square > 2 * good.reduced_chi_square


def test_the_reduced_chi_square_counts_correlations() -> None:
    """All machines off alike by their tolerances: about 1, where counting each point alone is far off."""
    whole, alone = [], []
    for seed in range(30):
        random = np.random.default_rng(seed)
        own = {
            name: DRAWN[name] + getattr(TOLERANCES, name) * random.standard_normal()
            for name in ("air_gap", "ends")
        }
        held = Tolerances(0.0, 0.03 * mm, 0.0, 0.3, 0.0, 0.0)
        comparison = compared(
            drawn(), measured(points(share=0.003), own, seed), tolerances=held, mesh_error=False
        )
        whole.append(comparison.reduced_chi_square)
        alone.append(comparison.of_meter_alone)
    assert np.mean(whole) == pytest.approx(1.0, abs=0.15)
    assert np.mean(alone) > 2.0


def test_a_slip_of_the_pen_stands_out() -> None:
    readings = measured(points(), {}, 5)
    values = readings.values.copy()
    values[7] *= 1.5
    assert not compared(drawn(), readings, tolerances=TOLERANCES, mesh_error=False).outliers.any()
    slipped = compared(drawn(), readings.with_values(values), tolerances=TOLERANCES, mesh_error=False)
    assert np.flatnonzero(slipped.outliers).tolist() == [7]
    assert f"Standing out: {readings.places[7]}" in slipped.sentences[-1]


def test_slopes_of_readings_are_those_of_the_closed_form() -> None:
    readings = points()
    own = drawn().jacobian(readings, {}, NAMES)
    for at, name in enumerate(NAMES):
        step = 1e-3 * TOLERANCES.__getattribute__(name)
        sides = [truth(readings, {name: DRAWN[name] + sign * step / 2}) for sign in (1, -1)]
        slope = (sides[0] - sides[1]) / step
        off = np.abs(own[:, at] - slope).max() / np.abs(slope).max()
        assert off < 0.03, name
        assert np.abs(0.9 * own[:, at] - slope).max() / np.abs(slope).max() > 0.03


def test_a_correction_needs_readings_and_a_free_cause() -> None:
    with pytest.raises(InvalidValue, match="a correction has readings and a cause that is free"):
        found(points(), Tolerances(0.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    with pytest.raises(InvalidValue, match=r"a tolerance has a size: tolerances.knee is -1"):
        Tolerances(knee=-1.0)


def test_values_become_a_machine() -> None:
    wheel = load_machine("geometries/pottery_wheel.toml")
    same = changed_machine(wheel, drawn_values(wheel))
    assert same == wheel
    other = changed_machine(
        wheel, {"air_gap": 0.52 * mm, "knee": 0.4, "saturation": 0.99, "ends": 1.2}, turns=119
    )
    assert (other.air_gap, other.winding.turns_per_pole) == (0.52 * mm, 119)
    assert drawn_values(other)["knee"] == 0.4 and drawn_values(other)["saturation"] == 0.99
    assert bounds_of("stacking_factor", 0.96)[1] == 1.0
    psi, torque, _ = closed(np.array(0.2), np.array(3.0), {})
    assert torque < 0 < psi
