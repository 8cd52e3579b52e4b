"""The effect of tolerances on a figure, against the derivative by hand, and the error of the mesh."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from fake_solver import MACHINE, PLAN
from made_up import run_of

from polefem import Steel
from polefem.errors import InvalidValue
from polefem.maps import linear_map, summed
from polefem.study import (
    Design,
    EccentricityTolerance,
    Effect,
    FieldTolerance,
    Record,
    SteelTolerance,
    effects_of,
)
from polefem.units import deg, mm

DESIGN = Design("one", MACHINE, {"rotor_pole.arc": 33 * deg}, PLAN)
GAP = FieldTolerance("air_gap", 0.05 * mm)
OTHER = SteelTolerance(Steel.linear(500.0, "soft"))


def formula(value: Any) -> dict[str, float]:
    gap, soft, off = value("air_gap") / mm, value("steel").name == "soft", value("rotor_offset") / mm
    return {"ripple": 0.2 + gap**2 + 0.1 * soft + 0.3 * off + value("mesh.corner")}


def effects(*tolerances: Any, refused: Any = lambda design: False) -> tuple[Effect, ...]:
    run, _ = run_of(formula, refused)
    return effects_of("s", [DESIGN], tolerances, "ripple", run)["one"]


def test_a_field_has_a_slope_and_a_bend() -> None:
    gap, mesh = effects(GAP)
    assert gap.linear == pytest.approx(2 * 0.4 * 0.05)
    assert gap.curved == pytest.approx(0.05**2)
    assert (gap.source, gap.shared, gap.sides) == ("air_gap +-0.05 mm", False, 2)
    assert mesh.source == "mesh"
    assert mesh.linear == pytest.approx(PLAN.mesh.corner / 2)  # twice as coarse adds it once; half counts


def test_an_eccentricity_is_the_offset_of_the_plan_and_has_no_sign() -> None:
    eccentricity, _ = effects(EccentricityTolerance(0.1 * mm))
    assert eccentricity.linear == 0.0
    assert eccentricity.curved == pytest.approx(0.3 * 0.1)


def test_a_steel_is_shared_by_all() -> None:
    steel, _ = effects(OTHER)
    assert (steel.linear, steel.shared) == (pytest.approx(0.1), True)


def test_one_side_that_cannot_be_built_is_said() -> None:
    gap, _ = effects(GAP, refused=lambda design: design.machine.air_gap < 0.39 * mm)
    assert (gap.sides, gap.asked) == (1, 2) and gap.linear == pytest.approx(0.45**2 - 0.4**2)
    lost, _ = effects(GAP, refused=lambda design: abs(design.machine.air_gap - 0.4 * mm) > 1e-9)
    assert (lost.sides, lost.linear) == (0, 0.0)


def test_a_field_the_design_does_not_have_is_unknown() -> None:
    lip, _ = effects(FieldTolerance("rotor_pole.shoe.tip", 0.1 * mm))
    assert lip.sides == 0


def test_the_map_s_own_estimate_comes_first() -> None:
    run, _ = run_of(formula)
    sound = linear_map(60e-3, 6e-3, full=1 * deg, apart=31 * deg, current=10.0)

    def with_map(name: str, designs: Any) -> list[Record]:
        known = replace(sound, torque_error=0.01)
        return [replace(r, outcome=replace(r.outcome, machine_map=summed(known))) for r in run(name, designs)]

    (mesh,) = effects_of("s", [DESIGN], (), "ripple", with_map)["one"]
    ripple = 0.2 + 0.4**2 + PLAN.mesh.corner
    # In parts of the peak torque, which is that of 10 A in the map and the record's 1 A here.
    assert mesh.linear == pytest.approx(0.3 * (2 + ripple) * 0.01 * 0.1**2 / 2)


@pytest.mark.parametrize(
    "make", [lambda: FieldTolerance("air_gap", 0.0), lambda: EccentricityTolerance(-1.0)]
)
def test_a_spread_has_a_size(make: Any) -> None:
    with pytest.raises(InvalidValue, match="a tolerance has a size"):
        make()
