"""Sharing, starting and reading as operating points of a study, on the straight inductance's closed answers."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fake_solver import FAKE, MACHINE, PLAN

from polefem.bench import Result, run
from polefem.drive import angle_reading, rest_torque
from polefem.errors import InvalidValue
from polefem.maps import linear_map, summed
from polefem.params.drive_spec import Bridge, DriveSpec, Load, Tracking
from polefem.params.fields import with_fields
from polefem.ranking import csv_text, rank
from polefem.study import (
    Design,
    InProcess,
    Limit,
    OperatingPointFigures,
    PointFigures,
    ReadingFigures,
    ReadingOperatingPoint,
    SharedTorqueOperatingPoint,
    StartFigures,
    StartOperatingPoint,
    Study,
    Variant,
    attempt,
    more_is_better,
    quantity_of_figure,
)
from polefem.units import deg, rpm

OHMS, LAST = 0.5, 20.0
RISE = 54e-3 / (38 * deg)
WIDE = summed(linear_map(60e-3, 6e-3, full=2 * deg, apart=40 * deg, current=LAST))
STIFF = Bridge(400.0)
SHARED = SharedTorqueOperatingPoint("flat", 60 * rpm, Bridge(48.0), 3.0)
START = StartOperatingPoint(
    "start", 100 * rpm, STIFF, -35 * deg, -5 * deg, 10.0, Load(friction=0.6), 0.12, 1.0
)
READING = ReadingOperatingPoint("angle", 2.0, 0.03)


def shared_loss_fits(figures: OperatingPointFigures, pull: float) -> bool:
    """While phases change over on the flank, T = pull RISE (i1^2 + i2^2): the loss is R T / (pull RISE) at any share
    (torque i^2 / 2 dL/dangle: T. J. E. Miller 1993, from memory)."""
    return figures.copper_loss == pytest.approx(OHMS * 3.0 / (pull * RISE), rel=5e-3)


@pytest.fixture(scope="module")
def shared() -> OperatingPointFigures:
    """The figures of the shared torque."""
    return SHARED.figures(WIDE, OHMS)


def test_a_shared_torque_is_flat_and_costs_what_the_flank_asks_for(shared: OperatingPointFigures) -> None:
    figures = shared
    assert figures.mean_torque == pytest.approx(3.0, rel=1e-3) and figures.ripple < 0.01
    assert shared_loss_fits(figures, 0.5)


def test_a_torque_without_the_half_would_be_noticed(shared: OperatingPointFigures) -> None:
    assert not shared_loss_fits(shared, 1.0)


def brakes_as_asked(figures: OperatingPointFigures) -> bool:
    """The weakest braking is the lowest; what goes in and comes not out is lost in copper and bridge (first law)."""
    assert figures.bridge_loss is not None
    lost = figures.power_in - figures.power_out
    return (
        figures.highest_torque <= figures.mean_torque <= figures.lowest_torque < 0.0
        and lost == pytest.approx(figures.copper_loss + figures.bridge_loss, rel=0.01)
    )


def test_a_shared_torque_that_brakes_is_that_of_a_generator() -> None:
    point = replace(SHARED, torque=-3.0)
    figures = point.figures(WIDE, OHMS)
    assert str(point).endswith("a flat braking torque of 3 N m")
    assert figures.mean_torque == pytest.approx(-3.0, rel=1e-3) and brakes_as_asked(figures)
    assert not brakes_as_asked(replace(figures, power_in=figures.power_in - 3.0 * SHARED.speed))


def time_fits(figures: StartFigures, net: float) -> bool:
    """The flank's torque is constant, and so is the acceleration: t = speed inertia / net torque (Newton)."""
    return figures.time_to_speed == pytest.approx(100 * rpm * 0.12 / net, rel=0.03)


def test_a_start_takes_the_time_of_a_constant_torque() -> None:
    figures = START.figures(WIDE, OHMS)
    pull = 10.0**2 / 2 * RISE
    assert figures.starting_torque == pytest.approx(pull, rel=1e-6)
    assert figures.peak_current == pytest.approx(10.0, rel=1e-3)
    assert figures.end_speed >= 100 * rpm
    assert time_fits(figures, pull - 0.6)


def test_a_start_that_friction_helps_would_be_noticed() -> None:
    assert not time_fits(START.figures(WIDE, OHMS), 10.0**2 / 2 * RISE + 0.6)


def test_a_load_above_the_torque_at_rest_is_not_started() -> None:
    heavy = replace(START, load=Load(friction=5.0), duration=0.1).figures(WIDE, OHMS)
    assert heavy.time_to_speed is None and heavy.end_speed == 0.0
    assert heavy.starting_torque == pytest.approx(10.0**2 / 2 * RISE, rel=1e-6)


def test_the_weakest_rest_angle_is_where_no_phase_pulls() -> None:
    """Switched off only when aligned, each phase has two degrees of full overlap in which it pulls nothing."""
    late = replace(START, turn_on=-30 * deg, turn_off=0.0, duration=0.1)
    figures = late.figures(WIDE, OHMS)
    assert -2 * deg <= math.remainder(figures.weakest_angle, WIDE.stroke) <= 0.0
    assert figures.starting_torque == pytest.approx(0.0, abs=1e-9) and figures.time_to_speed is None


def test_the_torque_at_rest_is_what_a_stalled_shaft_settles_at() -> None:
    stalled = replace(START, load=Load(friction=9.0), duration=0.2)
    for angle in (0.1, 0.5):
        run_ = stalled.run(WIDE, OHMS, angle)
        drive = DriveSpec(STIFF, OHMS, START.turn_on, START.turn_off, Tracking.level(10.0))
        assert run_.torque[-1] == pytest.approx(
            rest_torque(WIDE, drive, 10.0, np.array([angle]))[0], rel=1e-3
        )
    weak = DriveSpec(Bridge(2.0), OHMS, START.turn_on, START.turn_off, Tracking.level(10.0))
    ratio = rest_torque(WIDE, weak, 10.0, np.array([0.1])) / rest_torque(WIDE, drive, 10.0, np.array([0.1]))
    assert ratio[0] == pytest.approx((2.0 / OHMS / 10.0) ** 2, rel=1e-6)  # 4 A are all that 2 V drive
    behind = replace(weak, bridge=Bridge(2.0, switch_drop=0.1, source_resistance=0.1))
    ratio = rest_torque(WIDE, behind, 10.0, np.array([0.1])) / rest_torque(WIDE, drive, 10.0, np.array([0.1]))
    assert ratio[0] == pytest.approx(
        (1.8 / (OHMS + 0.1) / 10.0) ** 2, rel=1e-6
    )  # two switches, then Ohm's law


def reading_fits(share: float) -> bool:
    """On the flank L = L0 + slope x, so that an error of a share e of L is one of e L / slope of the angle."""
    reading = angle_reading(WIDE, 2.0, 0.03)
    own = np.mod(reading.angles + 45 * deg, 90 * deg) - 45 * deg
    flank = (own > -38 * deg) & (own < -6 * deg)
    inductance = 6e-3 + RISE * (own[flank] + 40 * deg)
    return bool(np.allclose(reading.of_phase[0, flank], share * inductance / RISE, rtol=2e-3))


def test_an_angle_is_read_as_well_as_the_flank_is_steep() -> None:
    assert reading_fits(0.03)
    # The phase that reads best gives way to the next at 40 degrees before aligned, where that one is at 10.
    worst = 0.03 * (6e-3 + RISE * 30 * deg) / RISE
    figures = READING.figures(WIDE, OHMS)
    assert figures.worst_error == pytest.approx(worst, rel=0.01)
    assert figures.worst_angle == pytest.approx(20 * deg, abs=0.3 * deg)
    assert figures.mean_error < figures.worst_error


def test_what_a_point_says_of_itself() -> None:
    assert str(READING) == "the angle read off idle phases at 2 A, inductance within 3 %"
    assert str(START).startswith(
        "a start to 100 rpm within 1 s from the weakest rest angle, 10 A on 400 V, 0.12 kg m"
    )
    assert "60 rpm" in str(SHARED) and "a flat torque of 3 N m" in str(SHARED)
    assert "a flat braking torque of 3 N m" in str(replace(SHARED, torque=-3.0))


def test_half_the_error_would_be_noticed() -> None:
    assert not reading_fits(0.015)


def test_figures_of_all_kinds_are_shown_ranked_and_limited() -> None:
    assert quantity_of_figure("start.time_to_speed").unit == "s"
    assert more_is_better("start.starting_torque") and not more_is_better("angle.worst_error")
    kinds: tuple[type[PointFigures], ...] = (OperatingPointFigures, StartFigures, ReadingFigures)
    shown: dict[str, object] = {}
    for kind in kinds:
        for name in kind.names():
            how = quantity_of_figure(f"point.{name}")
            assert shown.setdefault(name, how) == how
    with pytest.raises(InvalidValue, match=r"designs are ranked by a figure: objectives is 'angle\.ripple'"):
        plan = with_fields(PLAN, {"operating_points": (READING,)})
        Study("s", MACHINE, plan, [Variant("a")], objectives=("angle.ripple",))


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: replace(SHARED, speed=-1.0), "turns forwards"),
        (lambda: replace(SHARED, torque=0.0), "a torque is shared"),
        (lambda: replace(START, inertia=0.0), "has an inertia"),
        (lambda: replace(START, duration=0.0), "is given time"),
        (lambda: replace(START, name="a.b"), "name without dots"),
        (lambda: replace(READING, error=1.0), "off by a share of it"),
        (lambda: angle_reading(WIDE, 2.0, 0.0), "off by a share of it"),
    ],
)
def test_what_cannot_be_asked_is_refused(wrong: Callable[[], object], said: str) -> None:
    with pytest.raises(InvalidValue, match=said):
        wrong()


def test_a_study_ranks_by_a_start_keeps_it_and_shows_it(tmp_path: Path) -> None:
    points = (replace(START, turn_on=-30 * deg, turn_off=-2 * deg, duration=0.6), READING)
    plan = with_fields(PLAN, {"operating_points": points, "map_current": LAST})
    variants = [Variant("plain"), Variant("wide", {"rotor_pole.arc": 40 * deg})]
    study = Study("bench", MACHINE, plan, variants, objectives=("angle.worst_error", "start.starting_torque"))

    def found(pages: bool) -> Result:
        given: dict[str, Any] = {
            "folder": tmp_path,
            "executor": InProcess(),
            "at_once": 1,
            "progress": False,
            "solver": FAKE,
        }
        return run(study, drawn=1, pages=pages, **given)

    result = found(pages=True)
    assert {"plain-point-1", "plain-point-2"} <= {picture.name for picture in result.pictures}
    said, table = str(result), csv_text(result.ranking)
    again = found(pages=False)  # as the store tells it
    assert (str(again), csv_text(again.ranking)) == (said, table)
    assert "Ranked by worst error under angle" in said
    assert "start: a start to 100 rpm within 0.6 s from the weakest rest angle" in said
    assert "angle.worst_error" in table and "start.time_to_speed" in table
    page = (tmp_path / "report.html").read_text("utf-8")
    assert "At the shaft" in page and "Speed from rest of plain under start" in page
    assert "plain at the shaft" in (tmp_path / "report.md").read_text("utf-8")


def test_a_design_that_does_not_start_is_set_aside_by_a_limit() -> None:
    heavy = replace(START, load=Load(friction=30.0), duration=0.02)
    plan = with_fields(PLAN, {"operating_points": (heavy,), "map_current": LAST})
    outcome = attempt(Design("one", MACHINE, {}, plan), FAKE)
    assert outcome.figures is not None and outcome.figures.value("start.time_to_speed") is None
    assert Limit("start.time_to_speed", most=1.0).excess(outcome.figures) == 1.0
    assert Limit("start.starting_torque", most=1e3).excess(outcome.figures) == 0.0
    assert rank([], "", "start.time_to_speed").ordered == ()
