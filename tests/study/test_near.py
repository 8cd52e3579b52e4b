"""Designs on the mesh of a near one, moved: what they are computed on, what that leaves of the mesh in differences, and
that neither workers nor order nor a stop decides a figure."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fake_solver import PLAN as SHARED
from made_up import run_of

import polefem.slopes.fields
from polefem.study import (
    Design,
    FieldTolerance,
    InProcess,
    Range,
    Record,
    Sensitivities,
    SteelTolerance,
    Store,
    WorkerPool,
    attempt,
    effects_of,
    error_from_map,
    local_slopes,
    run_designs,
)
from polefem.study.near import near, near_records
from polefem.units import deg, mm
from tests.field.built_machines import ROUGH
from tests.study.test_first_order import MACHINE, PLAN

SUMMED = replace(PLAN, mesh=ROUGH, angle_points=7, slopes=())
MIDDLE = Design("middle", MACHINE, {}, SUMMED)


def off(name: str, **changes: float) -> Design:
    named = {field.replace("__", "."): value for field, value in changes.items()}
    return near(MIDDLE, replace(MIDDLE, name=name, changes=named))


def own(design: Design) -> Design:
    """The same on a mesh of its own."""
    return replace(design, changes={n: v for n, v in design.changes.items() if n != "meshed_as"})


def figures_of(design: Design) -> np.ndarray:
    figures = attempt(design).figures
    assert figures is not None
    return np.array([figures.mean_torque, figures.ripple])


def test_what_is_computed_on_a_moved_mesh_says_so_and_is_no_other_s_result() -> None:
    design = off("gap", air_gap=0.41 * mm)
    assert design.plan.meshed_as == MACHINE and "meshed_as" in design.plain_changes
    assert design.key != own(design).key and design.map_key != own(design).map_key
    for same in (replace(MIDDLE, name="as it is"), replace(MIDDLE, changes={"rotor_offset": 0.1 * mm})):
        assert near(MIDDLE, same) is same  # its map is there
    impossible = replace(MIDDLE, changes={"air_gap": -1.0})
    assert near(MIDDLE, impossible) is impossible
    further = replace(design, changes={**design.changes, "air_gap": 0.42 * mm})
    assert near(design, further).plan.meshed_as == MACHINE  # no mesh is moved twice


def test_where_a_moved_mesh_does_not_serve_the_design_gets_its_own() -> None:
    far, close = off("far", rotor_pole__tip_chamfer=0.5 * mm), off("close", rotor_pole__arc=34.1 * deg)
    refused = replace(MIDDLE, name="refused", changes={"air_gap": -1.0})

    def run(study: str, designs: list[Design]) -> list[Record]:
        return [Record(d.name, d.key, d.plain_changes, attempt(d)) for d in designs]

    found = near_records("s", [far, close, refused], run)
    assert [record.name for record in found] == ["far", "close", "refused"]
    assert [record.figures is not None for record in found] == [True, True, False]
    assert ["meshed_as" in record.changes for record in found] == [False, True, False]
    assert (found[0].key, found[1].key) == (own(far).key, close.key)


def test_tolerances_and_differences_are_over_one_mesh() -> None:
    """All that shifts a machine; not where slopes are known, which these plans lack."""
    asked: dict[str, Any] = {}

    def formula(value: Any) -> dict[str, float]:
        return {"ripple": value("air_gap") / mm}

    inner, _ = run_of(formula)

    def run(study: str, designs: list[Design]) -> list[Record]:
        asked.update({design.name: design.plan.meshed_as for design in designs})
        return inner(study, designs)

    gap = FieldTolerance("air_gap", 0.01 * mm)
    design = Design("one", MACHINE, {"rotor_pole.arc": 33 * deg}, replace(SHARED, all_currents=True))
    effects_of("s", [design], (gap, SteelTolerance(MACHINE.steel)), "ripple", run)
    assert asked.pop("one | mesh") is None and asked.pop("one") is None
    assert {name for name, mesh in asked.items() if mesh is None} == {f"one | steel {MACHINE.steel.name} | 0"}
    assert {mesh.rotor_pole.arc for mesh in asked.values() if mesh is not None} == {33 * deg}
    asked.clear()
    ranges = {"air_gap": Range(0.3 * mm, 0.5 * mm), "drive.turn_on": Range(-40 * deg, -30 * deg)}
    local_slopes("s", design, Sensitivities(ranges, ("ripple",)), run)
    assert [mesh is not None for mesh in asked.values()] == [False, True, True, False, False]


def test_workers_order_and_a_stop_leave_every_figure_as_it_is(tmp_path: Path) -> None:
    designs = [
        MIDDLE,
        off("gap up", air_gap=0.41 * mm),
        off("arc up", rotor_pole__arc=34.1 * deg),
        off("far", rotor_pole__tip_chamfer=0.5 * mm),
    ]

    def rows(folder: str, some: list[Design], workers: int) -> dict[str, Any]:
        pool = InProcess() if workers == 1 else WorkerPool(workers)
        with Store(tmp_path / folder) as store, pool:
            found = near_records("s", some, lambda s, d: run_designs(s, d, store, pool, 2 * workers))
        return {r.name: (r.key, r.changes, r.figures.values() if r.figures else None) for r in found}

    one = rows("one", designs, 1)
    assert all(figures is not None for _, _, figures in one.values())
    rows("stopped", designs[1:2], 1)
    assert rows("stopped", designs[::-1], 2) == one


def test_a_moved_mesh_is_within_the_stated_error_of_a_fresh_fine_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """The torque's error by the middle's own estimate; the twin's stator stays where it was."""
    plan = replace(SUMMED, angle_points=9)
    middle = replace(MIDDLE, original_plan=plan)
    outcome = attempt(middle)
    stated = error_from_map(Record("middle", "", {}, outcome), "mean_torque")
    shifted = replace(middle, changes={"air_gap": 0.44 * mm, "rotor_pole.arc": 34.2 * deg})
    fine = figures_of(replace(shifted, changes={**shifted.changes, "mesh": ROUGH.coarser(0.4)}))[0]
    assert stated is not None and outcome.figures is not None
    assert abs(outcome.figures.mean_torque - fine) > 3 * stated  # the shift is one that is seen

    def right() -> bool:
        return bool(abs(figures_of(near(middle, shifted))[0] - fine) <= stated)

    assert right()
    moved = polefem.slopes.fields.moved_system

    def stuck(system: Any, moves: Any, *others: Any) -> Any:
        count = len(system.model.rotor_mesh.points)
        return moved(system, np.where(np.arange(len(moves)) < count, moves, 0.0), *others)

    monkeypatch.setattr("polefem.slopes.fields.moved_system", stuck)
    assert not right()


@pytest.mark.slow
def test_figures_on_one_mesh_scatter_less_than_on_fresh_ones() -> None:
    """About a parabola over gaps that a workshop delivers. (The fresh ones are the twin.)"""
    gaps = np.linspace(0.38, 0.42, 6) * mm

    def scatter(values: list[float]) -> float:
        u = np.linspace(-1.0, 1.0, len(values))
        return float(np.std(np.array(values) - np.polyval(np.polyfit(u, values, 2), u)))

    designs = [off(f"{gap}", air_gap=float(gap)) for gap in gaps]
    moved = scatter([figures_of(design)[0] for design in designs])
    fresh = scatter([figures_of(own(design))[0] for design in designs])
    assert 5 * moved < fresh
