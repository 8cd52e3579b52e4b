"""Slopes of figures from the slopes of a map, against designs computed anew on moved and on fresh meshes."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from polefem import MeshSpec, Pole
from polefem.errors import InvalidValue
from polefem.params import RectangularCurrent
from polefem.params.fields import field_value, with_fields
from polefem.slopes import sloped_map
from polefem.study import (
    Copper,
    Design,
    EqualCopperLoss,
    InProcess,
    Outcome,
    Plan,
    Range,
    Record,
    Sensitivities,
    Store,
    attempt,
    local_slopes,
    run_designs,
)
from polefem.study.first_order import figure_slopes
from polefem.study.pipeline import REACH
from polefem.study.solver import FIELD, KnownMap, Solver
from polefem.units import W, deg
from tests.field.built_machines import half_turn

FIELDS = ("air_gap", "winding.coil_width", "rotor_pole.arc")
MACHINE = replace(half_turn(), rotor_pole=Pole(arc=34 * deg), stator_pole=Pole(arc=31 * deg))
PLAN = Plan(
    RectangularCurrent(-33 * deg, -4 * deg),
    EqualCopperLoss(60 * W),
    Copper(fill_factor=0.45),
    MeshSpec.named("coarse"),
    angle_points=16,
    current_points=1,
    coupling="summed",
    slopes=FIELDS,
)
DESIGN = Design("base", MACHINE, {}, PLAN)
FIGURES = ("mean_torque", "lowest_torque", "current", "copper_mass", "steel_mass", "aligned_inductance")


@cache
def outcome() -> Outcome:
    found = attempt(DESIGN)
    assert found.slopes is not None, found.reason
    return found


@pytest.mark.parametrize(
    ("field", "step"), [("air_gap", 2e-6), ("winding.coil_width", 2e-5), ("rotor_pole.arc", 2e-4)]
)
def test_slopes_of_figures_are_those_of_near_machines(field: str, step: float) -> None:
    """Central differences of figures over machines on moved meshes; their currents, copper and masses are their own."""
    slopes = figure_slopes(DESIGN, outcome().slopes, field)
    base = outcome().slopes.flux_map
    _, start = sloped_map(MACHINE, base.angles, base.currents, (), PLAN.mesh)
    sides = []
    for sign in (1.0, -1.0):
        value = field_value(MACHINE, field) + sign * step
        near = start.near_map(with_fields(MACHINE, {field: value}), base.angles, base.currents)
        changed = replace(DESIGN, changes={field: value, "slopes": ()})
        sides.append(attempt(changed, Solver(KnownMap(near), FIELD.coupled_map, FIELD.fields)).figures)
    difference = np.array([(sides[0].value(f) - sides[1].value(f)) / (2 * step) for f in FIGURES])
    found = np.array([slopes[f] for f in FIGURES])

    def right(slopes: np.ndarray) -> bool:
        sizes = np.array([sides[0].value(f) for f in FIGURES]) / field_value(MACHINE, field)
        return bool((np.abs(slopes - difference) <= 2e-3 * np.abs(difference) + 1e-4 * sizes).all())

    assert right(found)
    assert not right(-found) and not right(1.01 * found)


def test_a_map_with_slopes_goes_on_to_where_near_machines_need_it() -> None:
    assert outcome().flux_map.currents[-1] == pytest.approx(REACH * outcome().figures.current)
    assert outcome().slopes.fields == FIELDS


def test_slopes_are_kept_and_found_again(tmp_path: Path) -> None:
    computed: list[bool] = []

    class Watch:
        def begin(self, total: int) -> None: ...
        def end(self) -> None: ...
        def still(self) -> None: ...
        def remark(self, said: str) -> None: ...
        def record(self, record: Record, computed_now: bool) -> None:
            computed.append(computed_now)

    for _ in range(2):
        with Store(tmp_path) as store:
            (record,) = run_designs("s", [DESIGN], store, InProcess(), watcher=Watch())
        assert record.outcome.slopes is not None
    assert computed == [True, False]
    assert np.array_equal(record.outcome.slopes.torque, outcome().slopes.torque)
    assert record.outcome.machine_map.coupling == "summed"
    assert np.array_equal(record.outcome.flux_map.torque, outcome().flux_map.torque)


def test_slopes_are_of_phases_that_are_summed_or_meet_under_given_angles() -> None:
    with pytest.raises(InvalidValue, match=r"slopes are known at given switching .*: coupling is 'joint'"):
        replace(PLAN, coupling="joint", all_currents=True)
    assert replace(PLAN, coupling="joint").meeting == (PLAN.drive,)
    assert replace(PLAN, coupling="joint", slopes=()).slopes == ()


def test_what_leaves_the_map_alone_finds_the_map_with_its_slopes(tmp_path: Path) -> None:
    later = replace(DESIGN, name="later", changes={"end_effects": True})
    unasked = replace(FIELD, sloped=None)
    with Store(tmp_path) as store:
        store.keep(DESIGN.key, outcome(), map_key=DESIGN.map_key)
        (record,) = run_designs("s", [later], store, InProcess(), solver=unasked)
    assert np.array_equal(record.outcome.slopes.torque, outcome().slopes.torque)
    assert record.figures.mean_torque != outcome().figures.mean_torque


def test_sensitivities_take_exact_slopes_with_one_design() -> None:
    asked: list[Design] = []

    def run(study: str, designs: list[Design]) -> list[Record]:
        asked.extend(designs)
        return [Record(d.name, d.key, {}, outcome()) for d in designs]

    ranges = {"air_gap": Range(0.3e-3, 0.5e-3), "drive.turn_on": Range(-40 * deg, -30 * deg)}
    found = local_slopes("s", DESIGN, Sensitivities(ranges, ("mean_torque", "current")), run)
    assert len(asked) == 1
    expected = figure_slopes(DESIGN, outcome().slopes, "air_gap")
    assert found.slopes[0].tolist() == [expected["mean_torque"], expected["current"]]
    # Current at equal loss goes with one over the root of the dwell, which falls as phases turn on later.
    dwell = PLAN.drive.dwell
    assert found.slopes[1, 1] == pytest.approx(outcome().figures.current / (2 * dwell), rel=1e-3)


def test_where_phases_meet_anywhere_or_three_of_them_do_differences_serve() -> None:
    asked: list[Design] = []

    def run(study: str, designs: list[Design]) -> list[Record]:
        asked.extend(designs)
        return [Record(d.name, d.key, {}, outcome()) for d in designs]

    def designs_of(plan: Plan) -> int:
        asked.clear()
        joint = replace(DESIGN, original_plan=replace(plan, coupling="joint", slopes=()))
        local_slopes("s", joint, Sensitivities({"air_gap": Range(0.3e-3, 0.5e-3)}, ("mean_torque",)), run)
        return len(asked)

    assert designs_of(PLAN) == 1  # they meet under given angles alone
    assert designs_of(replace(PLAN, all_currents=True)) == 3
    three = RectangularCurrent(-44 * deg, 20 * deg)
    assert designs_of(replace(PLAN, drive=three)) == 3


def test_where_the_outline_does_not_keep_its_pieces_differences_serve() -> None:
    asked: list[Design] = []

    def run(study: str, designs: list[Design]) -> list[Record]:
        asked.extend(designs)
        return [Record(d.name, d.key, {}, replace(outcome(), slopes=None)) for d in designs]

    local_slopes("s", DESIGN, Sensitivities({"air_gap": Range(0.3e-3, 0.5e-3)}, ("mean_torque",)), run)
    assert len(asked) == 4
    refused = attempt(replace(DESIGN, changes={"slopes": ("rotor_pole.tip_fillet",)}))
    assert "a slope is taken where machines near by can be built" in refused.reason
