"""Designs that are listened to: figures at operating points, waves that a store keeps, and what is refused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import ArrayLike

from polefem.errors import InvalidValue
from polefem.field import COARSER, BuiltMachine
from polefem.forces import GapPressure, OffsetPull
from polefem.maps import linear_map, summed
from polefem.params import RectangularCurrent
from polefem.params.drive_spec import Bridge, Tracking
from polefem.report.page.point_tables import operating_point_tables
from polefem.ring import Hearing, outer_ring, ring_frequencies
from polefem.ring.listening import COVER
from polefem.study import (
    BestOperatingPoint,
    Design,
    DriveOperatingPoint,
    EqualCopperLoss,
    InProcess,
    LevelOperatingPoint,
    Record,
    RectangularOperatingPoint,
    Status,
    Store,
    WaveformOperatingPoint,
    attempt,
    effects_of,
    error_from_map,
    quantity_of_figure,
    run_designs,
)
from polefem.study.sound import COVER_ASIDE
from polefem.units import deg, mm, rpm
from tests.field.built_machines import ROUGH
from tests.study.fake_solver import FAKE, MACHINE, PLAN

SPEED, OHMS = 300 * rpm, 0.5
MAP = summed(linear_map(60e-3, 6e-3, full=3 * deg, apart=30 * deg, current=40.0))
BASIS = EqualCopperLoss(5.0)
BRIDGE = Bridge(200.0)
POINTS = (
    WaveformOperatingPoint("given", Tracking([-28 * deg, -6 * deg], [1.0, 1.0]), BASIS, SPEED),
    RectangularOperatingPoint("ideal", RectangularCurrent(-30 * deg, 0.0), BASIS, SPEED),
    LevelOperatingPoint("level", SPEED, BRIDGE, -28 * deg, -6 * deg, BASIS),
    BestOperatingPoint("best", SPEED, BRIDGE, BASIS),
    DriveOperatingPoint("bridge", SPEED, BRIDGE, -28 * deg, -12 * deg),
)


def off_by(whole: BuiltMachine) -> float:
    """What a mesh makes of 1: a part in ten thousand more on the one asked for, twice that on one twice as coarse."""
    return 1.0 + 1e-4 * whole.mesh.corner / ROUGH.corner


def fake_pressures(
    meshed: Sequence[BuiltMachine], angles: ArrayLike, currents: ArrayLike
) -> list[GapPressure]:
    return [fake_pressure(whole, angles, currents) for whole in meshed]


def fake_pressure(whole: BuiltMachine, angles: ArrayLike, currents: ArrayLike) -> GapPressure:
    """Each phase squeezes its two poles with the square of its current."""
    turned, flowing = np.asarray(angles), np.asarray(currents)
    machine, per = whole.machine, 40
    poles = machine.stator_poles
    places = (np.arange(poles * per) + 0.5) / (poles * per) * 2 * np.pi - np.pi / poles
    of_place = np.repeat(np.asarray(machine.phases.of_pole), per)
    pull = 1e3 * flowing[:, of_place] ** 2 * off_by(whole)
    area, none = 0.06 * 0.03, np.zeros(len(turned))
    return GapPressure(
        turned, flowing, places, pull, 0 * pull, area, area * 0.03, none, poles, 2, 4, False, False
    )


def fake_side_pull(whole: BuiltMachine, offset: float, angles: ArrayLike, currents: ArrayLike) -> OffsetPull:
    """A spring of 1 N/um and ampere squared of all phases."""
    turned, flowing = np.asarray(angles), np.asarray(currents)
    force = 1e6 * offset * (flowing**2).sum(axis=1) * off_by(whole) + 0j
    return OffsetPull(offset, 0.0, "static", turned, force, np.zeros(len(turned)))


SOLVER = replace(FAKE, pressures=fake_pressures, side_pulls=fake_side_pull)
PLAN_HEARD = replace(
    PLAN, operating_points=POINTS[1:2], hearing=Hearing(angles=24, offset=0.1 * mm), mesh=ROUGH
)


@pytest.mark.parametrize("point", POINTS, ids=lambda point: point.name)
def test_every_operating_point_knows_its_currents(point: DriveOperatingPoint) -> None:
    """The map's torque under them has the mean that the point's figures say."""

    angles = (np.arange(2000) + 0.5) / 2000 * MAP.pitch
    mean = point.figures(MAP, OHMS).mean_torque

    def same(currents: np.ndarray) -> bool:
        return abs(MAP.at(angles, currents).torque.mean() / mean - 1) < 2e-3

    currents = point.currents(MAP, OHMS, angles)
    assert same(currents)
    assert not same(1.01 * currents) and not same(np.roll(currents, 150, axis=0))


def test_the_pull_is_among_the_figures_of_an_operating_point() -> None:
    outcome = attempt(Design("one", MACHINE, {}, PLAN_HEARD), SOLVER)
    assert outcome.status is Status.SOLVED, outcome.reason
    assert outcome.figures is not None
    figures = outcome.figures.operating_points["ideal"]
    current = figures.peak_current
    # A pole is pulled along its axis by its sixth of the circle: 2 sin(30 deg) of its radius.
    one = 1e3 * current**2 * 0.06 * 0.03

    def right(swing: float | None) -> bool:
        return swing is not None and abs(swing / one - 1) < 1e-3

    assert right(figures.pull_swing) and not right(figures.wave_swing)
    assert not right(attempt(Design("one", MACHINE, {}, PLAN), SOLVER).figures.value("ideal.pull_swing"))
    assert outcome.figures.value("ideal.pull_swing") == figures.pull_swing
    assert figures.surface_velocity is not None and figures.surface_velocity > 0.0
    assert figures.side_pull == pytest.approx(100.0 * current**2 * (1 + 1e-4))
    other = replace(PLAN_HEARD, hearing=Hearing(angles=24, order=4))
    fourth = attempt(Design("one", MACHINE, {}, other), SOLVER).figures
    assert fourth is not None and fourth.value("ideal.wave_swing") != figures.wave_swing
    assert fourth.value("ideal.pull_swing") == figures.pull_swing
    centred = replace(PLAN_HEARD, hearing=Hearing(angles=24))
    alone = attempt(Design("one", MACHINE, {}, centred), SOLVER).figures
    assert alone is not None and alone.value("ideal.side_pull") is None
    assert quantity_of_figure("ideal.wave_swing").unit == "N"
    met = outcome.sound["ideal"]
    assert {order for order, _, _ in met.waves} <= {0, 2, -2, 4, -4, 8, -8, 6, -6}
    ring = ring_frequencies(outer_ring(MACHINE))
    assert dict(met.frequencies)[2] == pytest.approx(ring[2], rel=0.1)
    assert met.sentence(1e5).startswith("order") and met.harmonics == 11


def test_figures_of_the_pull_have_their_error() -> None:
    """A coarser mesh makes of everything as much more as it is coarser: that is the difference, and so the error; and
    nothing lies between the angles where each phase's current is the same at all of its own."""
    design = Design("one", MACHINE, {}, PLAN_HEARD)
    outcome = attempt(design, SOLVER)
    record = Record("one", "key", {}, outcome)
    apart = 1e-4 * (COARSER - 1.0) / (1.0 + 1e-4)

    def right(name: str, cover: float) -> bool:
        value, error = outcome.figures.value(name), error_from_map(record, name)  # type: ignore[union-attr]
        return value is not None and error is not None and abs(error / (cover * apart * value) - 1) < 1e-6

    for name in ("pull_swing", "wave_swing"):
        assert right(f"ideal.{name}", COVER) and not right(f"ideal.{name}", 2 * COVER)
    assert outcome.errors["ideal.surface_velocity"] > 0.0
    assert right("ideal.side_pull", COVER_ASIDE)
    assert error_from_map(record, "ideal.copper_loss") is None
    asked: list[str] = []

    def run(name: str, designs: Sequence[Design]) -> list[Record]:
        asked.append(name)
        return [record for _ in designs]

    (mesh,) = effects_of("s", [design], (), "ideal.wave_swing", run)["one"]
    assert mesh.linear == pytest.approx(outcome.errors["ideal.wave_swing"] / 2)
    assert not any("coarser" in name for name in asked)


def test_a_store_keeps_what_was_heard_and_pages_show_it(tmp_path: Path) -> None:
    designs = [
        Design("one", MACHINE, {}, PLAN_HEARD),
        Design("deaf", MACHINE, {}, replace(PLAN_HEARD, hearing=None)),
    ]
    with Store(tmp_path) as store:
        records = run_designs("s", designs, store, InProcess(), solver=SOLVER)
    with Store(tmp_path) as store:
        again = store.outcome(designs[0].key)
    heard, deaf = records
    assert again is not None and again.sound == heard.outcome.sound and again.sound["ideal"].waves
    assert again.figures == heard.figures and again.errors == heard.outcome.errors and again.errors
    assert deaf.figures is not None and deaf.figures.value("ideal.pull_swing") is None
    shown = [str(operating_point_tables(one, one.figures)) for one in (heard, deaf)]
    assert "pull swing (N)" in shown[0] and "pull swing (N)" not in shown[1]


def test_nothing_is_heard_where_nothing_turns() -> None:
    with pytest.raises(InvalidValue, match="a machine is heard at an operating point"):
        replace(PLAN, hearing=Hearing())
    with pytest.raises(InvalidValue, match="a pitch is looked at in steps"):
        Hearing(angles=4)
    with pytest.raises(InvalidValue, match="a wave goes so often round the turn"):
        Hearing(order=-1)
    with pytest.raises(InvalidValue, match="a ring that rings comes to rest"):
        Hearing(damping=0.0)
    with pytest.raises(InvalidValue, match="off by a length"):
        Hearing(offset=0.0)
