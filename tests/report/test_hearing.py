"""What a page says of the pull in the gap, and its pictures: numbers first, made-up pressures."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from polefem.forces import pressure_waves
from polefem.params import RectangularCurrent
from polefem.ranking import rank
from polefem.report import Findings, findings_of
from polefem.report.hearing import draw_pressure, draw_speeds, draw_waves, shown_speeds
from polefem.report.page.hearing import _meetings, forces_of, sound_table, to_hear
from polefem.report.pictures import shape_drawings
from polefem.ring import Hearing, RingWaves
from polefem.study import (
    EqualCopperLoss,
    InProcess,
    RectangularOperatingPoint,
    Store,
    Study,
    Variant,
    run_designs,
)
from polefem.units import deg, mm, rpm
from tests.field.built_machines import ROUGH
from tests.forces.test_pressure import made_of
from tests.study.fake_solver import MACHINE, PLAN
from tests.study.test_sound import SOLVER

POINT = RectangularOperatingPoint(
    "ideal", RectangularCurrent(-30 * deg, 0.0), EqualCopperLoss(5.0), 300 * rpm
)
STUDY = Study(
    name="heard",
    base=MACHINE,
    plan=replace(PLAN, operating_points=(POINT,), hearing=Hearing(angles=32, offset=0.1 * mm), mesh=ROUGH),
    variants=[
        Variant("plain"),
        Variant("thick", {"stator_outer_radius": 66 * mm, "stator_yoke_thickness": 17 * mm}),
    ],
)


@pytest.fixture(scope="module")
def findings(tmp_path_factory: pytest.TempPathFactory) -> Findings:
    folder: Path = tmp_path_factory.mktemp("heard")
    with Store(folder) as store:

        def run(name: str, designs: list) -> list:
            return run_designs(name, designs, store, InProcess(), solver=SOLVER)

        ranking = rank(run(STUDY.name, list(STUDY.designs())), STUDY.plan.terms, "ripple", STUDY.limits)
        return findings_of(STUDY, ranking, run, store.outcome)


def test_a_thicker_yoke_is_quieter(findings: Findings) -> None:
    table = sound_table(findings)
    assert table is not None
    levels = {row[0].text: row[3].value for row in table.rows}
    assert [row[3].error.startswith("± ") for row in table.rows] == [False, True]
    assert all(row[1].error.startswith("± ") for row in table.rows)
    first = findings.shapes[0].name
    assert levels[first] == 0.0
    apart = levels["thick"] - levels["plain"]  # type: ignore[operator]

    def quieter(level: float) -> bool:
        """Below its own frequency a ring gives as a spring: by the cube of its thickness, 11 dB, a little less as it
        is wider."""
        return -20.0 < level < -5.0

    assert quieter(apart) and not quieter(-apart) and not quieter(0.0)
    deaf = replace(
        findings, study=replace(STUDY, plan=replace(STUDY.plan, operating_points=(), hearing=None))
    )
    assert sound_table(deaf) is None


def test_the_winner_s_page_names_speeds_and_what_is_left_out(findings: Findings) -> None:
    shape = findings.shapes[0]
    said = " ".join(to_hear(shape))
    assert "With the currents of ideal (300 rpm), " in said and "meets the yoke at" in said
    assert "An estimate; not in it: feet" in said and "2 % of the critical" in said
    (caution,) = forces_of(shape)
    side = shape.figures.value("ideal.side_pull")
    assert side is not None and f"goes to one side with up to {float(f'{side:.3g}'):g} N" in caution
    assert "0.1 mm off its axis" in caution and "a pole is pulled with up to" in caution
    assert any(drawing.name.endswith("speeds-ideal") for drawing in shape_drawings(shape))


def test_what_lies_far_beyond_the_speed_is_not_told_as_if_it_were_met() -> None:
    slow = RingWaves("stator", 4, 10.0, ((2, 1000.0),), ((-2, 4, 5.0), (2, 5, 4.0)), 11)
    said = _meetings(slow)
    assert said.startswith(
        "no wave of note up to harmonic 11 of the electrical frequency meets the yoke below 191 rpm"
    )
    assert said.endswith(
        "twice that speed. First beyond it, order 2 meets the yoke at 3000 rpm (harmonic 5 of the "
        "electrical frequency, 1000 Hz)"
    )
    met = _meetings(replace(slow, speed=300.0))
    assert met.startswith("order 2 meets the yoke at 3750 rpm") and "beyond" not in met
    assert "beyond" not in _meetings(replace(slow, waves=()))


def test_a_chart_reaches_the_first_crossing() -> None:
    near = RingWaves("stator", 4, 100.0, ((2, 1000.0),), ((-2, 4, 5.0), (2, 5, 4.0)), 11)
    highest, found = shown_speeds(near)
    assert highest == pytest.approx(1.1 * found[0].speed) and [one.harmonic for one in found] == [5]
    fast = replace(near, speed=300.0)
    assert shown_speeds(fast)[0] == 600.0 and len(shown_speeds(fast)[1]) == 2
    silent = replace(near, waves=())
    assert shown_speeds(silent) == (200.0, ())


def test_pictures_hold_what_they_show() -> None:
    pressure = made_of([(2, 3, 5e4, 0.0), (0, 0, 2e5, 0.0)])
    axes = draw_pressure(pressure).axes[0]
    shown = axes.collections[0].get_array()
    assert np.allclose(np.ravel(shown), (pressure.pull.T * 1e-3).ravel())
    assert "(deg)" in axes.get_xlabel() and "(deg)" in axes.get_ylabel()
    waves = draw_waves(pressure_waves(pressure, most=6)).axes[0].collections[0].get_array()
    assert np.max(waves) == pytest.approx(np.log10(50.0))
    met = RingWaves("stator", 4, 300.0, ((2, 1000.0),), ((-2, 4, 5.0), (2, 5, 4.0)), 11)
    chart = draw_speeds(met).axes[0]
    marks = np.sort(np.concatenate([c.get_offsets()[:, 0] for c in chart.collections]))
    assert np.allclose(marks, np.sort([one.speed / rpm for one in met.crossings(0.0, 600.0)]))
    assert "(rpm)" in chart.get_xlabel() and "(Hz)" in chart.get_ylabel()
