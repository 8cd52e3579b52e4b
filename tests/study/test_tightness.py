"""How tightly fields must be held: on lines whose crossing is known, and on a machine against its own figures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem.study import RISE, run_search, tightness_of
from polefem.study.first_order import near_outcome, shifted
from polefem.study.tightness import ripple_sides, rooms
from tests.study.test_gradient import run_in, search

Floats = NDArray[np.float64]


def spread(torque: Floats, slope: Floats, step: float) -> float:
    return float(np.ptp(torque + step * slope))


def test_the_room_ends_where_the_spread_has_risen() -> None:
    random = np.random.default_rng(3)
    for _ in range(50):
        torque, slope = 1 + 0.05 * random.standard_normal(30), random.standard_normal(30)
        room = rooms(torque, slope)
        assert spread(torque, slope, room) == pytest.approx(np.ptp(torque) + RISE)
        assert spread(torque, slope, 0.99 * room) < np.ptp(torque) + RISE
    assert rooms(np.array([1.0, 2.0]), np.zeros(2)) == np.inf


def test_at_a_crease_ripple_rises_to_both_sides() -> None:
    """The twin: a central difference, which is the mean of both sides, says that the field does nothing."""
    torque, slope = np.array([1.1, 1.1, 0.9, 0.9]), np.array([2.0, -2.0, 1.0, -1.0])
    assert ripple_sides(torque, slope) == (3.0, 3.0)
    central = (spread(torque, slope, 1e-4) - spread(torque, slope, -1e-4)) / 2e-4
    assert abs(central) < 1e-9


def test_a_machine_gets_that_much_rougher_at_the_end_of_its_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the figures of its own map changed to first order, whose highest and lowest torque are exact."""
    asked = search(evaluations=4)
    found = run_search(asked, run_in(tmp_path, []))[0]
    assert found.outcome.slopes is not None and found.figures is not None
    (design,) = asked.designs(asked.start[None], 0)

    def rises() -> list[float]:
        tightness = tightness_of(asked, design, found)
        assert tightness is not None and tightness.fields[0] == "rotor_pole.arc"
        ends = [tightness.values[0] + sign * tightness.room[0, at] for at, sign in enumerate((-1, 1))]
        near = [
            near_outcome(design, found.outcome.slopes, shifted(design, {"rotor_pole.arc": end}))
            for end in ends
        ]
        return [one.figures.ripple - found.figures.ripple for one in near]

    assert rises() == pytest.approx([RISE, RISE], rel=0.1)
    # The twin: without the torque where one phase hands over to the next.
    monkeypatch.setattr("polefem.study.linear_model.BESIDE", 0.5 / 60)
    assert rises() != pytest.approx([RISE, RISE], rel=0.1)
