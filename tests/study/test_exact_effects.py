"""What a workshop does to a figure, by the slopes of the map: against slopes of figures, and without more maps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from polefem.params import RectangularCurrent
from polefem.study import (
    Design,
    EccentricityTolerance,
    FieldTolerance,
    JointTolerance,
    Record,
    attempt,
    effects_by_slopes,
    effects_of,
)
from polefem.study.first_order import figure_slopes
from polefem.units import deg, mm
from tests.field.built_machines import ROUGH
from tests.study.test_first_order import DESIGN, MACHINE, PLAN, outcome

GAP, ARC = FieldTolerance("air_gap", 0.01 * mm), FieldTolerance("rotor_pole.arc", 0.05 * deg)
ELSEWHERE = FieldTolerance("rotor_pole.shoe.tip", 0.1 * mm)


def run_noting(asked: list[str]):  # type: ignore[no-untyped-def]
    def run(study: str, designs: Sequence[Design]) -> list[Record]:
        asked.extend(design.name for design in designs)
        return [Record(design.name, design.key, design.changes, outcome()) for design in designs]

    return run


def found(figure: str, asked: list[str]) -> dict[str, float]:
    given = ("s", [DESIGN], (GAP, ARC, ELSEWHERE), figure, run_noting(asked))
    effects = effects_of(*given, effects_by_slopes(*given))["base"]
    return {effect.source: effect.linear for effect in effects if effect.sides}


def test_two_fields_cost_no_map_but_the_one_with_slopes() -> None:
    asked: list[str] = []
    effects = found("mean_torque", asked)
    assert set(effects) == {GAP.name, ARC.name, "mesh"}
    assert asked == ["base | slopes", "base"]
    # Without slopes each field asks for two more.
    asked.clear()
    effects_of("s", [DESIGN], (GAP, ARC), "mean_torque", run_noting(asked))
    assert len(asked) == 5


@pytest.mark.parametrize("figure", ["mean_torque", "copper_mass"])
def test_effects_are_slopes_times_deviations(figure: str) -> None:
    effects = found(figure, [])
    for tolerance in (GAP, ARC):
        slope = figure_slopes(DESIGN, outcome().slopes, tolerance.field)[figure]  # type: ignore[arg-type]
        assert effects[tolerance.name] == pytest.approx(slope * tolerance.deviation, rel=0.02, abs=1e-9)
    if figure == "mean_torque":  # the twin: a deviation that is half as large
        halved = figure_slopes(DESIGN, outcome().slopes, "air_gap")[figure] * GAP.deviation / 2  # type: ignore[arg-type]
        assert effects[GAP.name] != pytest.approx(halved, rel=0.02)


def test_a_crease_bends_to_both_sides() -> None:
    """Ripple's effect is that at the ends of the deviation, which no slope at the middle tells."""
    given = ("s", [DESIGN], (ARC,), "ripple", run_noting([]))
    effect = effects_by_slopes(*given)["base"][ARC.name]
    assert effect.sides == effect.asked == 2 and effect.curved != 0.0


def test_effects_of_phases_that_meet_are_differences_of_what_they_do_together() -> None:
    """Against machines a little off, on moved meshes, whose overlapping phases share a field."""
    overlapping = RectangularCurrent(-37 * deg, -3 * deg)
    plan = replace(PLAN, drive=overlapping, coupling="joint", mesh=ROUGH, angle_points=7, slopes=())
    design = Design("joint", MACHINE, {}, plan)
    small = FieldTolerance("air_gap", 0.002 * mm)
    kept = {}

    def run(study: str, designs: Sequence[Design]) -> list[Record]:
        for one in designs:
            kept[one.name] = attempt(one)
        return [Record(one.name, one.key, {}, kept[one.name]) for one in designs]

    effect = effects_by_slopes("s", [design], (small, EccentricityTolerance(0.1 * mm)), "mean_torque", run)
    assert set(kept) == {"joint | slopes"} and list(effect["joint"]) == [small.name]
    sides = []
    for shift in small.shifts(design):
        near = replace(design, changes={**shift, "slopes": ("air_gap",), "meshed_as": MACHINE})
        sides.append(attempt(near).figures.mean_torque)

    def right(linear: float) -> bool:
        return linear == pytest.approx((sides[0] - sides[1]) / 2, rel=0.002)

    assert right(effect["joint"][small.name].linear)
    alone = replace(
        design, original_plan=replace(plan, coupling="summed")
    )  # the twin: phases that do not meet
    assert not right(
        effects_by_slopes("s", [alone], (small,), "mean_torque", run)["joint"][small.name].linear
    )


def test_fields_that_are_off_together_need_no_map_of_their_own() -> None:
    both = JointTolerance("both", ((GAP.field, GAP.deviation), (ARC.field, ARC.deviation)))
    hard = JointTolerance("and the steel", ((GAP.field, GAP.deviation),), built=(0.1, 0.0))
    effects = effects_by_slopes("s", [DESIGN], (GAP, ARC, both, hard), "copper_mass", run_noting([]))["base"]
    assert set(effects) == {GAP.name, ARC.name, both.name}
    effects = effects_by_slopes("s", [DESIGN], (GAP, ARC, both), "mean_torque", run_noting([]))["base"]
    apart = effects[GAP.name].linear + effects[ARC.name].linear
    assert effects[both.name].linear == pytest.approx(apart, rel=1e-2)
