"""Shapes over each other and as bars, and the winner at a speed: held against formulas, each with a broken twin."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.path import Path

from polefem.drive import DriveRun, steady_state
from polefem.maps import linear_map, summed
from polefem.params import Pole
from polefem.params.drive_spec import Bridge, DriveSpec, SinglePulse, Tracking
from polefem.ranking import rank
from polefem.report import Findings, draw_bars, draw_outlines, figure_bars, outlines_at_gap, powers_of_run
from polefem.report.page.words import answer, end_share
from polefem.report.runs import draw_powers, draw_run, run_sentences, voltage_of_run
from polefem.units import deg, mm, rpm
from tests.report.test_drawings import AXIAL, RADIAL, unreadable

BRIDGE = Bridge(48.0, switch_drop=0.1, diode_drop=0.8, source_resistance=0.05)


def at(speed: float, control: Tracking | SinglePulse, on: float = -30.0, off: float = -5.0) -> DriveRun:
    drive = DriveSpec(BRIDGE, 0.4, on * deg, off * deg, control)
    phase_map = linear_map(60e-3, 6e-3, full=1 * deg, apart=31 * deg, current=20.0)
    return steady_state(summed(phase_map), drive, speed)


@pytest.fixture(scope="module")
def slow() -> DriveRun:
    """At which 5 A are reached."""
    return at(100 * rpm, Tracking.level(5.0))


@pytest.fixture(scope="module")
def fast() -> DriveRun:
    """At which they are not: 48 V drive 6 mH to 5 A in 0.6 ms, in which the rotor turns by 34 degrees."""
    return at(9000 * rpm, Tracking.level(5.0))


def adds_up(powers: dict[str, float], run: DriveRun) -> bool:
    """Whether the parts make up what goes in, within a thousandth."""
    taken = run.input_power if run.mean_torque > 0 else -run.shaft_power
    return math.isclose(sum(powers.values()), taken, rel_tol=1e-3)


def test_powers_add_up_to_what_goes_in(slow: DriveRun) -> None:
    powers = powers_of_run(slow)
    assert list(powers) == ["copper", "switches and diodes", "source resistance", "shaft"]
    assert powers["copper"] == pytest.approx(3 * 0.4 * slow.rms_current**2, rel=1e-3)
    assert powers["shaft"] == pytest.approx(slow.mean_torque * slow.speed, rel=1e-3)
    assert adds_up(powers, slow)
    for name in powers:
        assert not adds_up({other: power for other, power in powers.items() if other != name}, slow)


def test_a_generator_s_power_comes_from_the_shaft() -> None:
    run = at(400 * rpm, SinglePulse(), on=0.0, off=20.0)
    assert run.mean_torque < 0 < -run.input_power
    powers = powers_of_run(run)
    assert "back to the supply" in powers and "shaft" not in powers
    assert adds_up(powers, run) and not adds_up({**powers, "copper": 0.0}, run)
    assert (
        draw_powers(run).axes[0].get_title(loc="left").startswith(f"{-run.shaft_power:.4g} W from the shaft")
    )


def test_what_the_bridge_must_give_and_bear(slow: DriveRun, fast: DriveRun) -> None:
    reached, bears = run_sentences("throwing", slow)
    assert "reaches the 5 A" in reached and "100 rpm on 48 V" in reached
    most = 48.0 + 0.8 + 0.05 * slow.peak_current  # a diode's drop, and the source's while current flows back
    assert f"must bear {most:.3g} V and {slow.peak_current:.3g} A" in bears
    assert f"must bear {most + 0.8:.3g} V" not in bears  # the phase has both diodes, a switch one
    missed, _ = run_sentences("racing", fast)
    assert "does not reach the 5 A" in missed and fast.peak_current < 4.9
    free, _ = run_sentences("free", at(400 * rpm, SinglePulse()))
    assert "no level is set" in free


def test_the_voltage_is_what_changes_the_flux_linkage(slow: DriveRun) -> None:
    """Faraday: voltage less the resistance's, over the time, is the flux linkage's change."""

    def holds(voltage: np.ndarray) -> bool:
        time = np.diff(slow.angles) / slow.speed
        current = (slow.current[1:, 0] + slow.current[:-1, 0]) / 2
        change = (voltage - 0.4 * current) * time
        most = float(np.ptp(slow.flux_linkage[:, 0]))
        return bool(
            np.allclose(
                np.cumsum(change), slow.flux_linkage[1:, 0] - slow.flux_linkage[0, 0], atol=0.02 * most
            )
        )

    shown = voltage_of_run(slow).y["phase 1"][::2]
    assert holds(shown)
    assert not holds(1.1 * shown)


def test_pictures_of_a_run_can_be_read(slow: DriveRun) -> None:
    assert unreadable(draw_run(slow)) == []
    assert unreadable(draw_powers(slow)) == []


def faces(paths: tuple[Path, Path], radius: float) -> bool:
    """Whether the first of two paths reaches out to this radius, mm."""
    rotor = np.concatenate([curve(np.linspace(0.0, 1.0, 40)) for curve, _ in paths[0].iter_bezier()])
    return math.isclose(float(np.hypot(*rotor.T).max()), radius, abs_tol=1e-3)


def test_outlines_lie_where_the_shapes_have_them() -> None:
    other = replace(RADIAL, rotor_outer_radius=29 * mm, stator_pole=Pole(arc=25 * deg))
    found = outlines_at_gap({"as it is": RADIAL, "smaller": other})
    assert faces(found.paths["as it is"], 30.0) and faces(found.paths["smaller"], 29.0)
    assert not faces(found.paths["smaller"], 30.0)
    low, high = found.window
    assert low < 29.0 and high > 30.4
    axes = draw_outlines(found).axes[0]
    assert axes.get_ylim() == found.window and len(axes.patches) == 4
    assert "along the shaft" in outlines_at_gap({"axial": AXIAL}).upright


def test_bars_begin_at_nought(findings: Findings) -> None:
    bars = figure_bars(findings.ranking.ordered, ["ripple", "mean_torque"])
    figure = draw_bars(bars)
    for axes, (label, values) in zip(figure.axes, bars.figures.items(), strict=True):
        low, high = axes.get_xlim()
        assert low <= 0.0 <= high and axes.get_xlabel() == label
        widths = [patch.get_width() for patch in axes.patches]
        assert [patch.get_x() for patch in axes.patches] == [0.0] * len(widths)
        assert widths == pytest.approx(values[:, 0].tolist())


def test_shapes_are_compared_however_few_are_shown(findings: Findings) -> None:
    assert [shape.name for shape in findings.compared] == [record.name for record in findings.ranking.ordered]


def test_large_end_effects_stand_in_the_headline(findings: Findings) -> None:
    """The share is the estimates' sum over the field's unaligned inductance; above a tenth it is said first."""

    def said(share: float, counted: bool = False) -> str:
        first, *others = findings.ranking.ordered
        figures = first.figures
        assert figures is not None
        ends = dataclasses.replace(
            figures,
            end_winding_inductance=0.75 * share * figures.unaligned_inductance,
            unaligned_fringing=0.25 * share * figures.unaligned_inductance,
        )
        assert end_share(ends) == pytest.approx(share)
        outcome = dataclasses.replace(first.outcome, figures=ends)
        ordered = [dataclasses.replace(first, outcome=outcome), *others]
        plan = dataclasses.replace(findings.study.plan, end_effects=counted)
        study = dataclasses.replace(findings.study, plan=plan)
        ranking = rank(ordered, plan.terms, findings.ranking.by)
        return answer(dataclasses.replace(findings, ranking=ranking, study=study))

    assert "come to 50 % of the unaligned inductance" in said(0.5).replace("\xa0", " ")
    assert "they are not in torque and currents" in said(0.5)
    assert "these estimates are in torque and currents" in said(0.5, counted=True)
    assert "Mind the ends" not in said(0.09)
