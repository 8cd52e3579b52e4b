"""Flux linkage from a recording: against a closed circuit of R and L, and a saturating one integrated by scipy."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from polefem.errors import InvalidValue
from polefem.measured import both_ways
from polefem.measured import recording as room
from polefem.measured.recording import LinkageCurve, Recording, flux_linkage_of, read_recording

VOLTS, OHMS, HENRY = 12.0, 2.4, 60e-3
QUIET, LENGTH, SAMPLES = 20e-3, 0.40, 8001
Linkage = Callable[[np.ndarray], np.ndarray]


def straight(i: np.ndarray) -> np.ndarray:
    return HENRY * i


def saturating(i: np.ndarray) -> np.ndarray:
    return 0.15 * np.arctan(i / 1.5) + 5e-3 * i


def recorded(
    linkage: Linkage,
    *,
    offset: tuple[float, float] = (0.0, 0.0),
    noise: tuple[float, float] = (0.0, 0.0),
    warming: float = 0.0,
    volts: Callable[[float], float] = lambda t: VOLTS,
    sign: float = 1.0,
) -> tuple[Recording, np.ndarray]:
    """A step after 20 ms and the true flux linkage: closed for a straight one with constant voltage, else by scipy.

    warming: how much the resistance has grown by the end, as a share, with the integral of i^2.
    """
    t = np.linspace(0.0, LENGTH, SAMPLES)
    on = t > QUIET
    since = np.where(on, t - QUIET, 0.0)
    currents = np.linspace(-1.0, 8.0, 9001)
    table = linkage(currents)
    heat = 5.0 if warming else 1.0

    def slope(time: float, y: np.ndarray) -> list[float]:
        i = float(np.interp(y[0], table, currents))
        return [volts(time) - OHMS * (1 + warming * y[1] / heat) * i, i**2]

    if linkage is straight and not warming and volts(0.0) == volts(1.0):
        i = VOLTS / OHMS * (1 - np.exp(-OHMS * since / HENRY))
        psi = HENRY * i
    else:
        times = np.unique(since)
        run = solve_ivp(slope, (0.0, LENGTH), [0.0, 0.0], t_eval=times, max_step=1e-3, rtol=1e-8, atol=1e-10)
        psi = np.interp(since, times, run.y[0])
        i = np.interp(psi, table, currents)
    v = np.where(on, [volts(s) for s in since], 0.0)
    random = np.random.default_rng(5)
    v = v + offset[0] + noise[0] * random.standard_normal(SAMPLES)
    i = i + offset[1] + noise[1] * random.standard_normal(SAMPLES)
    return Recording(t, v, sign * i, "step.csv"), psi


#: When between two samples the step came, nobody knows: half a sample of 12 V is a thousandth of what is linked.
def furthest(curve: LinkageCurve, psi: np.ndarray) -> float:
    """From the true flux linkage, as a part of its largest."""
    return float(np.abs(curve.flux_linkages - psi).max() / psi.max())


def test_a_closed_circuit_of_resistance_and_inductance() -> None:
    taken, psi = recorded(straight)
    assert furthest(flux_linkage_of(taken, 19e-3, 20e-3, resistance=OHMS), psi) < 2e-3


def test_a_saturating_circuit_integrated_independently() -> None:
    taken, psi = recorded(saturating)
    assert furthest(flux_linkage_of(taken, 19e-3, 20e-3, resistance=OHMS), psi) < 2e-3
    # The resistance may be left to the end of the recording.
    assert furthest(flux_linkage_of(taken, 19e-3, 20e-3), psi) < 2e-3


def test_forgetting_the_resistance_s_sign_does_not_pass(monkeypatch: pytest.MonkeyPatch) -> None:
    taken, psi = recorded(straight)
    monkeypatch.setattr(room, "_warming", lambda t, i, resistances, last: np.full(t.shape, -OHMS))
    assert furthest(flux_linkage_of(taken, 19e-3, 20e-3), psi) > 1.0


@pytest.mark.parametrize("resistance", [-OHMS, 0.0])
def test_a_resistance_that_gives_power_is_refused(resistance: float) -> None:
    taken, _ = recorded(straight)
    with pytest.raises(
        InvalidValue, match=r"a winding's resistance takes power: step.csv, resistance is -?[02]"
    ):
        flux_linkage_of(taken, 19e-3, 20e-3, resistance=resistance)


def test_a_probe_the_wrong_way_round_is_refused() -> None:
    taken, _ = recorded(straight, sign=-1.0)
    with pytest.raises(InvalidValue, match=r"takes power: step.csv at the end, resistance is -2.4 ohm"):
        flux_linkage_of(taken, 19e-3, 20e-3)


def test_offsets_are_taken_out_and_one_left_in_is_seen() -> None:
    taken, psi = recorded(saturating, offset=(0.15, -0.04))
    assert furthest(flux_linkage_of(taken, 19e-3, 20e-3), psi) < 2e-3
    # An offset that comes after the quiet window is one that nothing takes out.
    late = Recording(taken.times, taken.voltages + 0.15 * (taken.times > QUIET), taken.currents)
    assert furthest(flux_linkage_of(late, 19e-3, 20e-3, resistance=OHMS), psi) > 0.02


def covered(deviation: float) -> float:
    """How many of the readings of noisy recordings lie within two of their deviations, these scaled by a factor."""
    hits = []
    truth = {2.0: float(saturating(np.array(2.0))), 4.0: float(saturating(np.array(4.0)))}
    clean, _ = recorded(saturating)
    for seed in range(40):
        random = np.random.default_rng(seed)
        v = clean.voltages + 0.1 * random.standard_normal(SAMPLES)
        i = clean.currents + 0.02 * random.standard_normal(SAMPLES)
        found = flux_linkage_of(Recording(clean.times, v, i), 19e-3, 60e-3).readings(0.0, list(truth))
        off = np.abs(found.values - list(truth.values())) / found.deviations
        hits += (off < 2.0 * deviation).tolist()
    return float(np.mean(hits))


def test_noise_lies_within_the_stated_deviation() -> None:
    assert covered(1.0) >= 0.9
    assert covered(0.2) < 0.8 and covered(0.5) < 0.85  # nor is more than that stated


def test_copper_that_warms_is_followed_and_the_cold_resistance_alone_is_off() -> None:
    taken, psi = recorded(saturating, warming=0.10)
    warm = flux_linkage_of(taken, 19e-3, 10e-3, resistance=OHMS)
    assert warm.resistances[1] > 1.05 * warm.resistances[0]
    assert furthest(warm, psi) < 0.02
    hot = flux_linkage_of(taken, 19e-3, 10e-3)  # the end's resistance all along
    assert furthest(hot, psi) > 2 * furthest(warm, psi)


def test_a_pulse_that_returns_to_no_current_closes_its_drift() -> None:
    def pulse(t: float) -> float:
        return VOLTS if t < 0.05 else 0.0

    taken, psi = recorded(saturating, volts=pulse, offset=(0.1, 0.0))
    drifting = Recording(taken.times, taken.voltages + 0.05 * (taken.times > 19e-3), taken.currents)
    closed = flux_linkage_of(drifting, 19e-3, 10e-3, ends="no current", resistance=OHMS)
    assert furthest(closed, psi) < 0.01
    ohms = np.full(taken.times.shape, OHMS)
    left = room._integral(taken.times, drifting.voltages - 0.1 - ohms * drifting.currents)
    assert np.abs(left - psi).max() / psi.max() > 0.05


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"before": 1e-5}, "a window of a recording holds samples: step.csv, before is 1 samples"),
        ({"end": 0.36}, "the end of a recording is settled: step.csv, current at the end is changing by"),
        (
            {"resistance": 1.5},
            "is the stated one, warmed: step.csv, voltage over current is 2.4 ohm, allowed is 1.35 to 2.1 ohm",
        ),
        ({"ends": "no current", "resistance": OHMS}, "the recording ends without current: step.csv"),
        (
            {"ends": "no current"},
            "a recording that does not settle needs a resistance: resistance is left out",
        ),
    ],
)
def test_what_a_recording_cannot_tell_is_refused(change: dict[str, object], sentence: str) -> None:
    taken, _ = recorded(straight)
    with pytest.raises(InvalidValue, match=sentence):
        flux_linkage_of(taken, **{"before": 19e-3, "end": 20e-3, **change})


def test_a_window_may_hold_as_few_samples_as_the_sentence_allows() -> None:
    taken, psi = recorded(straight)
    step = LENGTH / (SAMPLES - 1)
    assert furthest(flux_linkage_of(taken, 7.5 * step, 20e-3, resistance=OHMS), psi) < 2e-3
    with pytest.raises(InvalidValue, match="before is 7 samples, allowed is 8 or more"):
        flux_linkage_of(taken, 6.5 * step, 20e-3, resistance=OHMS)


def test_steps_both_ways_leave_out_what_stayed_magnetised() -> None:
    """A core that keeps 8 mWb: a step along it begins that much higher on its curve, one against it that much lower."""
    kept = 8e-3

    def from_kept(way: float) -> Recording:
        taken, _ = recorded(lambda i: saturating(i) - way * kept * np.tanh(i / 0.2))
        return taken if way > 0 else taken.reversed()

    along, against = (
        flux_linkage_of(one, 19e-3, 20e-3) for one in (from_kept(1.0), from_kept(-1.0).reversed())
    )
    currents = [2.0, 4.0]
    both = both_ways(along.readings(0.0, currents), against.readings(0.0, currents))
    true = saturating(np.array(currents))
    assert both.readings.values == pytest.approx(true, rel=4e-3)
    assert -both.halves == pytest.approx(kept, rel=0.05)
    assert along.readings(0.0, currents).values != pytest.approx(true, rel=4e-3)
    with pytest.raises(InvalidValue, match="a winding's resistance takes power"):
        one = from_kept(1.0)
        flux_linkage_of(Recording(one.times, one.voltages, one.reversed().currents), 19e-3, 20e-3)
    (said,) = both.sentences
    assert said.startswith("flux linkage both ways: half of the difference is 8") and "remanence" in said


def test_readings_are_taken_where_the_recording_went() -> None:
    taken, _ = recorded(saturating)
    curve = flux_linkage_of(taken, 19e-3, 20e-3)
    found = curve.readings(0.1, [1.0, 3.0])
    assert found.values == pytest.approx(saturating(np.array([1.0, 3.0])), rel=4e-3)
    assert set(found.angles) == {0.1} and found.kinds == ("flux linkage",) * 2
    with pytest.raises(InvalidValue, match=r"a recording is read where it went: step.csv, current is 6 A"):
        curve.readings(0.1, [6.0])


def test_a_recorder_s_file_is_read_with_its_units(tmp_path: Path) -> None:
    path = tmp_path / "scope.csv"
    path.write_text("time [ms]; voltage [V]; current [mA]\n0; 0,0; 0\n1; 12,0; 10\n2,5; 12; 35\n")
    taken = read_recording(path)
    assert taken.times == pytest.approx([0, 1e-3, 2.5e-3]) and taken.currents[2] == pytest.approx(0.035)
    path.write_text("time [ms]; voltage [V]; current [mA]\n0; ; 0\n1; 12,0; 10\n")
    with pytest.raises(InvalidValue, match=r"a recording has no gaps: scope.csv is no voltage"):
        read_recording(path)
    assert math.isclose(taken.voltages[1], 12.0)
