"""Estimates among a study's figures: told apart from the field, on or off, and iron loss where it is asked for."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from polefem import Steel
from polefem.copper import THERMAL_CAUTION, envelope
from polefem.errors import InvalidValue
from polefem.estimates import Turning, end_winding_inductance, gap_shear_stress
from polefem.field import FieldState
from polefem.params.fields import with_fields
from polefem.ranking import rank, table_text
from polefem.study import Design, EqualCopperLoss, Figures, Outcome, Plan, Record, Solver, Status, attempt
from polefem.units import deg, rpm
from tests.estimates.test_loss_over_cycle import made_up
from tests.study.fake_solver import FAKE, MACHINE, PLAN

LAMINATED = with_fields(MACHINE, {"steel": Steel.named("M330-50A")})
SLOW = Turning(100 * rpm, 5 * deg)


def swinging(machine: Any, angles: Any, phase_currents: Any) -> Iterator[FieldState]:
    """A stator sine of 1 T once a rotor pitch, and a rotor whose field turns with it."""
    for angle in np.asarray(angles):
        b = math.sin(4 * angle)
        at = [angle + copy * math.pi / 2 for copy in range(4)]
        yield made_up(float(angle), (b, 0.0), [(math.cos(place), math.sin(place)) for place in at])


def outcome(plan: Plan = PLAN) -> Outcome:
    found = attempt(Design("one", LAMINATED, {}, plan), Solver(FAKE.flux_map, FAKE.coupled_map, swinging))
    assert found.status is Status.SOLVED, found.reason
    return found


def figures(plan: Plan = PLAN) -> Figures:
    found = outcome(plan).figures
    assert found is not None
    return found


def test_estimates_stand_beside_the_field() -> None:
    plain = figures()
    assert plain.end_winding_inductance == pytest.approx(end_winding_inductance(LAMINATED))
    assert plain.shear_stress == pytest.approx(gap_shear_stress(LAMINATED, plain.mean_torque))
    assert plain.torque_per_mass == pytest.approx(plain.mean_torque / (plain.copper_mass + plain.steel_mass))
    assert plain.aligned_fringing > plain.unaligned_fringing > 0.0
    assert plain.iron_loss is None
    hull = envelope(LAMINATED)
    assert plain.most_rise == pytest.approx(plain.copper_loss / (10.0 * hull.surface))


def test_end_effects_change_torque_and_never_the_field() -> None:
    plan = with_fields(PLAN, {"end_effects": True})
    plain, ends = figures(), figures(plan)
    slope = (plain.aligned_fringing - plain.unaligned_fringing) / 54e-3
    assert ends.mean_torque / plain.mean_torque == pytest.approx(1 + slope, rel=1e-3)
    assert ends.aligned_inductance == plain.aligned_inductance
    flat, same = outcome().flux_map, outcome(plan).flux_map
    assert np.array_equal(flat.coenergy, same.coenergy) and same.remarks == flat.remarks
    assert plan.terms == f"{plan.basis}, with estimates of end effects" and PLAN.terms == str(PLAN.basis)


def test_ends_count_so_many_times() -> None:
    """As a machine on the bench asks for: what they add is in proportion."""
    plain, once, more = (
        figures(with_fields(PLAN, {"end_effects": times})).mean_torque for times in (False, True, 1.5)
    )

    def right(found: float) -> bool:
        return abs((found - plain) / (1.5 * (once - plain)) - 1) < 1e-3

    assert right(more) and not right(once)
    assert figures(with_fields(PLAN, {"end_effects": 1.0})).mean_torque == once
    with pytest.raises(InvalidValue, match="estimates of ends are taken some times"):
        with_fields(PLAN, {"end_effects": -0.5})
    assert with_fields(PLAN, {"end_effects": 1.5}).terms.endswith(
        "with 1.5 times the estimates of end effects"
    )


def test_iron_loss_is_a_column_where_it_is_asked_for() -> None:
    plan = with_fields(PLAN, {"turning": SLOW})
    asked = figures(plan)
    assert asked.iron_loss is not None and asked.iron_loss > 0.0
    twice = figures(with_fields(plan, {"turning.speed": 200 * rpm}))
    assert 2.0 < twice.iron_loss / asked.iron_loss < 4.0
    assert f"{asked.copper_loss:.1f} + {asked.iron_loss:.2f}" in table_text(
        rank([record(plan)], "", "iron_loss")
    )
    assert "copper + iron" not in table_text(rank([record(PLAN)], ""))


def record(plan: Plan) -> Record:
    return Record("one", "", {}, outcome(plan))


def test_the_table_tells_estimates_apart() -> None:
    text = " ".join(table_text(rank([record(PLAN)], "equal current")).split())
    assert "Estimates for one, no field solution: end turns" in text
    assert THERMAL_CAUTION in text
    assert "Left out, unless estimates of end effects are named above" in text


def test_steel_without_loss_figures_is_a_reason() -> None:
    plan = with_fields(PLAN, {"turning": SLOW, "basis": EqualCopperLoss(20.0)})
    refused = attempt(Design("one", MACHINE, {}, plan), Solver(FAKE.flux_map, FAKE.coupled_map, swinging))
    assert refused.status is Status.REFUSED and refused.reason.startswith(
        "iron loss needs a grade: steel is linear"
    )
