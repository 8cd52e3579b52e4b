"""Searches under currents with ramps, phases sharing a field, and turning both ways: against fields solved anew."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem import Pole
from polefem.drive import rectangular_currents
from polefem.errors import InvalidValue
from polefem.field import BuiltMachine, built, field_series
from polefem.maps import MapSlopes, summed
from polefem.maps.slopes import loaded
from polefem.params import FreeFace, RectangularCurrent
from polefem.params.fields import field_value, with_fields
from polefem.slopes import Following, map_with_slopes
from polefem.study import (
    Copper,
    EqualCurrent,
    Plan,
    RectangularOperatingPoint,
)
from polefem.sweep.joint import MET
from polefem.units import deg, mm, rpm
from tests.field.built_machines import ROUGH, half_turn

Floats = NDArray[np.float64]

ARC = "rotor_pole.arc"
CURRENT = 14.0
DRIVE = RectangularCurrent(-38 * deg, -5 * deg, ramp=5 * deg)
LEAN = "rotor_pole.face.rises.0"
FACE = FreeFace((-1.0, -0.5, 0.0, 0.5, 1.0), (0.05 * mm,) * 5)
BASE = replace(half_turn(), rotor_pole=Pole(arc=34 * deg, face=FACE), must_start=False)
#: Where one phase hands over to the next: both carry current.
ANGLES = np.array([-37.1, -35.6, -34.2, -32.3, -30.9]) * deg


class Solved(NamedTuple):
    whole: BuiltMachine
    slopes: MapSlopes


@cache
def solved(count: int = 19) -> Solved:
    whole = built(BASE, ROUGH)
    angles = np.linspace(0.0, 45 * deg, count)
    return Solved(whole, map_with_slopes(whole, angles, [5.0, 9.5, CURRENT], [ARC, LEAN], [DRIVE]))


def fields(whole: BuiltMachine) -> Floats:
    """Torque of all phases in one field at the angles, N m, with no map between."""
    currents = rectangular_currents(DRIVE, CURRENT, 3, BASE.rotor_pitch, ANGLES)
    assert ((currents > 0.0).sum(axis=1) == 2).all()
    return np.array([state.torque for state in field_series(whole, ANGLES, currents)])


def near(found: Floats, wanted: Floats, part: float) -> bool:
    return bool(np.abs(found - wanted).max() <= part * np.abs(wanted).max())


def test_phases_that_meet_are_those_of_one_field() -> None:
    whole, slopes = solved()
    torque, currents = fields(whole), rectangular_currents(DRIVE, CURRENT, 3, BASE.rotor_pitch, ANGLES)
    m = slopes.machine_map
    assert m.coupling == "joint" and near(m.torque(ANGLES, currents), torque, 0.03)
    # The twin: phases that do not know of each other.
    assert not near(summed(m.single).torque(ANGLES, currents), torque, 0.06)


def moved(field: str, step: float, angles: Floats, currents: Floats) -> Floats:
    """Slope of the joint torque by differences of fields on moved meshes, N m per unit of the field."""
    follow = Following(solved().whole)
    sides = []
    for sign in (1.0, -1.0):
        machine = with_fields(BASE, {field: field_value(BASE, field) + sign * step})
        states = field_series(follow.near(machine), angles, currents)
        sides.append(np.array([state.torque for state in states]))
    slope: Floats = (sides[0] - sides[1]) / (2 * step)
    return slope


def told(slopes: MapSlopes, field: str, step: float, angles: Floats, currents: Floats) -> Floats:
    sides = [slopes.changed_machine({field: sign * step}).torque(angles, currents) for sign in (1.0, -1.0)]
    return (sides[0] - sides[1]) / (2 * step)


@pytest.mark.parametrize(("field", "step"), [(ARC, 0.02 * deg), (LEAN, 1e-3 * mm)])
def test_slopes_of_phases_that_meet_are_exact_at_nodes(field: str, step: float) -> None:
    """Of each pair, at a node of its angle and at levels of its currents, where the map is what was solved."""
    slopes = solved().slopes
    low, middle, full = (level * CURRENT for level in MET)
    angles = np.array([-35.0, -5.0, 25.0]) * deg
    currents = np.array([[low, 0.0, full], [full, middle, 0.0], [0.0, middle, low]])
    exact = moved(field, step, angles, currents)
    assert near(told(slopes, field, step, angles, currents), exact, 2e-3)
    held = replace(slopes, together=())
    assert not near(told(held, field, step, angles, currents), exact, 0.05)


def test_slopes_between_nodes() -> None:
    currents = rectangular_currents(DRIVE, CURRENT, 3, BASE.rotor_pitch, ANGLES)
    step = 0.02 * deg
    exact = moved(ARC, step, ANGLES, currents)
    slopes = solved(31).slopes
    assert near(told(slopes, ARC, step, ANGLES, currents), exact, 0.2)
    held = replace(slopes, together=())
    assert not near(told(held, ARC, step, ANGLES, currents), exact, 0.6)


def test_a_map_keeps_its_slopes(tmp_path: Path) -> None:
    slopes = solved().slopes
    slopes.save(tmp_path / "map.npz")
    again = loaded(tmp_path / "map.npz")
    assert isinstance(again, MapSlopes) and again.fields == slopes.fields
    currents = rectangular_currents(DRIVE, CURRENT, 3, BASE.rotor_pitch, ANGLES)
    here, there = (one.changed_machine({ARC: 0.1 * deg}).torque(ANGLES, currents) for one in (slopes, again))
    assert np.array_equal(here, there)
    assert not np.array_equal(here, slopes.machine_map.torque(ANGLES, currents))


def plan(**changes: object) -> Plan:
    asked = {"coupling": "joint", "mesh": ROUGH, "copper": Copper(fill_factor=0.45), **changes}
    return Plan(DRIVE, EqualCurrent(CURRENT), current_points=3, angle_points=16, **asked)  # type: ignore[arg-type]


def test_phases_meet_under_given_currents_alone() -> None:
    assert plan(slopes=(ARC,)).meeting == (DRIVE,) and plan(slopes=(ARC,), coupling="summed").meeting == ()
    either = RectangularOperatingPoint("either", DRIVE, EqualCurrent(CURRENT), 100 * rpm, both_ways=True)
    assert plan(slopes=(ARC,), operating_points=(either,)).meeting == (DRIVE, DRIVE.turned_back)
    with pytest.raises(
        InvalidValue, match="of phases summed or of those that meet under them alone: coupling is 'joint'"
    ):
        plan(slopes=(ARC,), map_current=12.0)
    long = RectangularCurrent(-60 * deg, -2 * deg, ramp=5 * deg)
    whole = solved().whole
    with pytest.raises(
        InvalidValue, match="no more than two phases meet where slopes are asked for: dwell and ramp is 63"
    ):
        map_with_slopes(whole, np.linspace(0.0, 45 * deg, 7), [CURRENT], [ARC], [long])
