"""What a workshop does to a figure, by the slopes of the map: against slopes of figures, and without more maps."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from polefem.study import Design, FieldTolerance, Record, effects_by_slopes, effects_of
from polefem.study.first_order import figure_slopes
from polefem.units import deg, mm
from tests.study.test_first_order import DESIGN, outcome

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
