"""A machine that turns both ways: the other way's torque is that of its mirror image, and a search holds both."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from polefem.drive import RectangularTorque, rectangular_torque
from polefem.maps import CoupledMap, FluxMap, summed
from polefem.params import RectangularCurrent
from polefem.study import (
    EqualCurrent,
    InProcess,
    Limit,
    Plan,
    Range,
    Record,
    RectangularOperatingPoint,
    Search,
    Solver,
    Store,
    run_designs,
    run_search,
)
from polefem.study.gradient import Computed, descend
from polefem.study.linear_model import Model
from polefem.study.solver import KnownMap
from polefem.study.spread import NOMINAL
from polefem.units import deg, rpm
from tests.maps.saturating import PITCH, exact
from tests.study.fake_solver import FAKE, MACHINE

DRIVE = RectangularCurrent(-34 * deg, -1 * deg, ramp=4 * deg)
BENT = 0.1


def leaning(sign: float = 1.0) -> CoupledMap:
    """Saturating phases that rise otherwise than they fall; sign -1: the same in a mirror. By hand: W(g(angle))."""
    angles = np.linspace(-PITCH / 2, PITCH / 2, 121)
    currents = np.linspace(2.0, 20.0, 10)
    bent = angles + sign * BENT * (1 - np.cos(4 * angles)) / 2
    flux, torque, coenergy = exact(bent, currents[:, None])
    slope = 1 + sign * BENT * 2 * np.sin(4 * angles)
    return summed(
        FluxMap(angles, currents, flux, torque * slope, coenergy, phases=3, rotor_poles=4, mirror=False)
    )


def mirrored(back: RectangularTorque, mirror: RectangularTorque) -> bool:
    """Whether one is the other's torque, counted the other way."""
    found = [back.mean, back.highest, back.lowest, back.ripple]
    return bool(np.allclose(found, [-mirror.mean, -mirror.lowest, -mirror.highest, mirror.ripple], rtol=2e-3))


def test_the_other_way_is_that_of_the_mirror_image() -> None:
    m, mirror = leaning(), rectangular_torque(leaning(-1.0), DRIVE, 12.0)
    assert mirrored(rectangular_torque(m, DRIVE.turned_back, 12.0), mirror)
    assert DRIVE.turned_back.turned_back.turn_on == pytest.approx(DRIVE.turn_on)
    # Twins: angles turned over but not the ramps; and the same way.
    assert not mirrored(rectangular_torque(m, RectangularCurrent(1 * deg, 34 * deg, 4 * deg), 12.0), mirror)
    assert not mirrored(rectangular_torque(m, DRIVE, 12.0), mirror)


def point(both_ways: bool) -> RectangularOperatingPoint:
    return RectangularOperatingPoint("turning", DRIVE, EqualCurrent(12.0), 100 * rpm, both_ways)


def test_figures_are_of_the_worse_way() -> None:
    m = leaning()
    forth, back = (rectangular_torque(m, drive, 12.0) for drive in (DRIVE, DRIVE.turned_back))
    found, one = (point(both).figures(m, 1.0) for both in (True, False))
    assert (found.ripple, found.mean_torque) == (max(forth.ripple, back.ripple), min(forth.mean, -back.mean))
    assert found.lowest_torque == min(forth.lowest, -back.highest)
    assert found.highest_torque == max(forth.highest, -back.lowest)
    assert (one.ripple, one.mean_torque) == (forth.ripple, forth.mean)
    assert found.ripple > 1.02 * min(forth.ripple, back.ripple)


def searched(folder: Path, both_ways: bool) -> list[Record]:
    """Turn-on and turn-off of least ripple, found along slopes with no field."""
    plan = Plan(
        DRIVE,
        EqualCurrent(12.0),
        angle_points=121,
        current_points=10,
        coupling="summed",
        operating_points=(point(both_ways),),
    )
    ranges = {
        "operating_points.0.drive.turn_on": Range(-44 * deg, -26 * deg),
        "operating_points.0.drive.turn_off": Range(-10 * deg, 6 * deg),
    }
    limits = (Limit("turning.mean_torque", least=1.0),)
    asked = Search(
        "turning", MACHINE, plan, ranges, "turning.ripple", limits, evaluations=14, method="gradient"
    )
    known = leaning()
    solver = Solver(KnownMap(known.single), KnownMap(known), FAKE.fields)
    with Store(folder) as store:
        return run_search(asked, lambda name, ds: run_designs(name, ds, store, InProcess(), solver=solver))


def worse(record: Record) -> float:
    """The larger ripple of both ways of what a search found."""
    drive = replace(
        DRIVE,
        turn_on=record.changes["operating_points.0.drive.turn_on"],
        turn_off=record.changes["operating_points.0.drive.turn_off"],
    )
    return max(rectangular_torque(leaning(), one, 12.0).ripple for one in (drive, drive.turned_back))


def test_a_search_holds_both_ways(tmp_path: Path) -> None:
    found = {both: searched(tmp_path / str(both), both) for both in (True, False)}
    best = {
        both: min(records, key=lambda r: r.figures.value("turning.ripple")) for both, records in found.items()
    }
    told = {both: record.figures.value("turning.ripple") for both, record in best.items()}
    assert told[True] == pytest.approx(worse(best[True]), rel=1e-6)
    assert worse(best[True]) < 0.97 * worse(found[True][0])
    assert told[False] < 0.95 * worse(best[False]), "one way alone says nothing of the other"


def descended(ways: int) -> float:
    """The larger of two spreads where a descent ends: of torques that are flat at two points, one for each way."""
    phase = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    waves = np.stack([np.cos(phase), np.sin(phase), np.cos(2 * phase)], axis=1)
    seen: list[tuple[float, float]] = []

    def compute(x: Any) -> Computed | None:
        return None if len(seen) >= 40 else Computed(x, x)

    def model(x: Any, record: Any) -> Model:
        both = np.concatenate([1 + waves @ (x - flat) for flat in FLAT[:ways]])
        worst = max(float(np.ptp(waves @ (x - flat))) for flat in FLAT)
        spread = replace(NOMINAL, ways=ways)
        seen.append((spread.value(both), worst))
        slopes = np.tile(waves, (ways, 1))
        return Model(spread.value(both), np.zeros(3), both, slopes, np.zeros(0), np.zeros((0, 3)), spread)

    descend(np.array([0.9, 0.1, 0.2]), compute, model)
    return min(seen)[1]


FLAT = (np.array([0.3, 0.5, 0.6]), np.array([0.6, 0.4, 0.5]))


def test_the_best_of_both_ways_lies_between() -> None:
    """By symmetry the larger of both spreads is least half way, where each is half of what the other way's best has."""
    whole = descended(1)
    assert descended(2) == pytest.approx(whole / 2, rel=1e-3)
    assert whole > 0.5
