"""A rotor off its axis in the figures of a design: what fields say of it, and nothing else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import ArrayLike

from polefem.errors import InvalidValue
from polefem.field import BuiltMachine
from polefem.forces import OffsetPull
from polefem.params import RectangularCurrent
from polefem.study import (
    Design,
    EccentricityTolerance,
    EqualCurrent,
    Figures,
    InProcess,
    RectangularOperatingPoint,
    Status,
    Store,
    attempt,
    effects_of,
    run_designs,
)
from polefem.units import deg, mm, rpm
from tests.study.fake_solver import FAKE, MACHINE, PLAN

OFFSET = 0.1 * mm
POINT = RectangularOperatingPoint(
    "short", RectangularCurrent(-28 * deg, -4 * deg), EqualCurrent(8.0), 300 * rpm
)
PLAN_ASIDE = replace(PLAN, operating_points=(POINT,), rotor_offset=OFFSET)
#: Of the fake fields: by how much the torque of each phase is more, for each metre and ampere squared.
MORE = np.array([20.0, -5.0, -5.0])


def fake_side_pull(whole: BuiltMachine, offset: float, angles: ArrayLike, currents: ArrayLike) -> OffsetPull:
    """The torque of a mesh that is off by 0.3 N m wherever the rotor is, and what the offset adds to it."""
    turned, flowing = np.asarray(angles), np.asarray(currents)
    torque = 0.3 + offset * (flowing**2 @ MORE)
    return OffsetPull(offset, 0.0, "static", turned, np.zeros(len(turned), dtype=complex), torque)


SOLVER = replace(FAKE, side_pulls=fake_side_pull)


def figures(plan: object, solver: object = SOLVER) -> Figures:
    outcome = attempt(Design("one", MACHINE, {}, plan), solver)  # type: ignore[arg-type]
    assert outcome.figures is not None, outcome.reason
    return outcome.figures


def test_the_change_of_the_torque_is_that_of_the_fields() -> None:
    """One phase at a time, each for a third of the pitch: a step of the torque in each stroke, by hand."""
    centred, aside = figures(replace(PLAN_ASIDE, rotor_offset=0.0)), figures(PLAN_ASIDE)
    steps = OFFSET * centred.current**2 * MORE

    def right(found: Figures, steps: np.ndarray) -> bool:
        torque = centred.mean_torque, centred.lowest_torque, centred.highest_torque
        mean, low, high = np.add(torque, (steps.mean(), steps.min(), steps.max()))
        ripple = (high - low) / mean
        own = found.mean_torque, found.lowest_torque, found.highest_torque, found.ripple
        return bool(np.allclose(own, (mean, low, high, ripple), rtol=1e-9))

    assert right(aside, steps)
    assert not right(aside, -steps) and not right(aside, 1.1 * steps) and not right(centred, steps)
    assert aside.torque_per_loss / centred.torque_per_loss == pytest.approx(
        aside.mean_torque / centred.mean_torque
    )
    assert aside.copper_loss == centred.copper_loss
    short = [one.operating_points["short"] for one in (centred, aside)]
    # 24 of 30 degrees of each stroke carry current, and so do six of the eight angles at which a stroke is seen.
    gained = OFFSET * 8.0**2 * MORE.mean() * 6 / 8
    assert short[1].mean_torque - short[0].mean_torque == pytest.approx(gained)  # type: ignore[attr-defined]


def test_a_tolerance_asks_for_fields_and_for_no_other_map(tmp_path: object) -> None:
    design, tolerance = Design("one", MACHINE, {}, PLAN), EccentricityTolerance(OFFSET)
    with Store(tmp_path) as store:  # type: ignore[arg-type]

        def run(name: str, designs: list[Design]) -> list:
            return run_designs(name, designs, store, InProcess(), solver=SOLVER)

        eccentric, _ = effects_of("s", [design], [tolerance], "mean_torque", run)["one"]
        (shift,) = tolerance.shifts(design)
        shifted = replace(design, changes=shift)
        assert shifted.map_key == design.map_key and shifted.key != design.key
    gained = OFFSET * figures(PLAN).current ** 2 * MORE.mean()
    assert (eccentric.linear, eccentric.curved) == (0.0, pytest.approx(gained))


def test_what_has_no_such_fields_is_refused() -> None:
    alone = attempt(Design("one", MACHINE, {}, PLAN_ASIDE), FAKE)
    assert alone.status is Status.REFUSED and "a rotor off its axis is solved as a field" in alone.reason
    with pytest.raises(InvalidValue, match="a rotor is off its axis by a length"):
        replace(PLAN, rotor_offset=-OFFSET)
