"""The search along slopes: on functions whose least is known, on a machine, and resumed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem import Pole
from polefem.errors import InvalidValue
from polefem.outline import outline_of
from polefem.params import FreeFace, RectangularCurrent, SuitedSwitching
from polefem.study import (
    Constraint,
    Copper,
    Design,
    EqualCurrent,
    InProcess,
    Limit,
    Plan,
    Range,
    Record,
    Search,
    Status,
    Store,
    Variant,
    run_designs,
    run_search,
)
from polefem.study.gradient import FIRST, Computed, descend, face_rows
from polefem.study.linear_model import Model
from polefem.study.searching import _Known, _Path
from polefem.study.study_file import study_in
from polefem.units import deg, mm
from tests.field.built_machines import ROUGH, half_turn
from tests.study.made_up import run_of

Floats = NDArray[np.float64]
ROOT = Path(__file__).parents[2]


# On formulas -----------------------------------------------------------------------------------------

#: Torques at some angles, over the mean, as parabolas of the point: their spread is least where all are alike.
CENTRE = np.array([0.4, 0.7, 0.55])


def torques(x: Floats) -> tuple[Floats, Floats]:
    """Shape (12,), and slopes, shape (12, 3): 1 + a wave of the offset, bent by its square."""
    phase = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    waves = np.stack([np.cos(phase), np.sin(phase), np.cos(2 * phase)], axis=1)
    off = x - CENTRE
    bent = 0.3 * np.sin(3 * phase)
    return 1 + waves @ off + bent * (off @ off), waves + 2 * bent[:, None] * off


def path(
    start: Floats, least: float | None = None, sign: float = 1.0, rows: Any = None, most: int = 40
) -> tuple[Floats, float]:
    """The best point of a descent, and its spread; least: of the first coordinate."""
    seen: list[tuple[float, Floats]] = []

    def compute(x: Any) -> Computed | None:
        return None if len(seen) >= most else Computed(x, x)

    def model(x: Any, record: Any) -> Model:
        torque, slopes = torques(x)
        oversteps = np.array([] if least is None else [least - x[0]])
        bounds = np.zeros((len(oversteps), 3))
        bounds[:, 0] = -1.0
        found = Model(float(np.ptp(torque)), np.zeros(3), torque, sign * slopes, oversteps, bounds)
        seen.append((found.merit, x))
        return found

    descend(start, compute, model, rows)
    merit, best = min(seen, key=lambda pair: pair[0])
    return best, merit


START = np.array([0.9, 0.1, 0.2])


def test_the_least_spread_is_found() -> None:
    best, spread = path(START)
    assert np.abs(best - CENTRE).max() < 1e-3 and spread < 2e-3
    # The twin: slopes of the wrong sign lead nowhere.
    assert path(START, sign=-1.0)[1] > 0.5


def test_a_limit_holds_the_search_back() -> None:
    best, _ = path(START, least=0.6)
    assert best[0] == pytest.approx(0.6, abs=2e-3)


def test_the_search_stays_in_its_ranges() -> None:
    """The least along each coordinate lies outside of the cube: the nearest corner is the best that there is."""
    outside = np.array([1.3, -0.2, 1.1])
    seen: list[Floats] = []

    def model(x: Any, record: Any) -> Model:
        seen.append(x)
        return Model(
            float(np.abs(x - outside).sum()), np.sign(x - outside), *EMPTY, np.zeros(0), np.zeros((0, 3))
        )

    descend(START, lambda x: None if len(seen) > 40 else Computed(x, x), model)
    assert all(((x >= 0.0) & (x <= 1.0)).all() for x in seen)
    np.testing.assert_allclose(seen[-1], [1.0, 0.0, 1.0], atol=2e-3)
    steps = np.diff([x[2] for x in seen[:4]])
    assert (
        np.diff(steps) > 0.0
    ).all()  # all straight, so each comes out as foretold and the next may go further


EMPTY = np.zeros(0), np.zeros((0, 3))


def test_a_limit_that_bends_is_followed_and_not_overstepped_each_time() -> None:
    """The furthest along (2, 1) within a circle of the square of radius 0.5: sqrt(0.5) times the length of (2, 1). What
    the last step missed is allowed for in the next: by shrinking alone, fifteen designs come within 0.02."""
    seen: list[float] = []

    def model(x: Any, record: Any) -> Model:
        none, missed = (np.zeros(0), np.zeros((0, 2))), np.array([x @ x - 0.5])
        found = Model(float(2.0 - x @ [1.0, 0.5]), np.array([-1.0, -0.5]), *none, missed, 2 * x[None])
        seen.append(found.merit)
        return found

    descend(np.array([0.3, 0.3]), lambda x: None if len(seen) == 15 else Computed(x, x), model)
    assert min(seen) == pytest.approx(2.0 - np.sqrt(0.5 * 1.25), abs=1e-3)


def foretold(slope: float, bend: float = 0.0) -> float:
    """What a model says of a step of 0.1 where a limit is missed by 0.2 and has a slope; the objective is flat."""
    none, flat = np.zeros(0), np.zeros((0, 1))
    model = Model(1.0, np.zeros(1), none, flat, np.array([0.2]), np.array([[slope]]))
    return model.merit_after(np.array([0.1]), np.array([bend]))


def test_a_step_that_misses_a_limit_by_less_is_foretold_as_the_better() -> None:
    """In straight lines: the miss of 0.2 is halved by a slope of -1, gone by one of -3, half as large again by 1."""
    missed = (foretold(0.0) - 1.0) / 0.2
    assert missed > 0.0
    for slope, miss in ((-1.0, 0.1), (-3.0, 0.0), (1.0, 0.3)):
        assert foretold(slope) == pytest.approx(1.0 + missed * miss, rel=1e-12)
    assert foretold(-1.0, bend=0.05) == pytest.approx(1.0 + missed * 0.15, rel=1e-12)


def test_rows_are_kept() -> None:
    rows = np.array([[0.0, 1.0, 1.0]]), np.array([0.9])
    best, _ = path(START, rows=rows)
    assert best[1] + best[2] <= 0.9 + 1e-9 and best[1] + best[2] > 0.89


def test_the_bend_of_a_face_is_its_second_difference() -> None:
    """Of an arc's rise x^2 / 2 r over the way x, whose bend is one over r."""
    stations = (-1.0, -0.4, 0.1, 0.5, 1.0)
    base = replace(half_turn(), rotor_pole=Pole(arc=32 * deg, face=FreeFace(stations, (0.0,) * 5)))
    ranges = {f"rotor_pole.face.rises.{k}": Range(0.0, 2 * mm) for k in range(5)}
    way = np.array(stations) * 16 * deg * base.rotor_outer_radius

    def kept(radius: float, least: float) -> bool:
        found = face_rows(base, ranges, least)
        assert found is not None
        point = way**2 / (2 * radius) / (2 * mm)
        return bool((found[0] @ point <= found[1] + 1e-9).all())

    assert kept(50 * mm, 49.9 * mm) and not kept(50 * mm, 50.1 * mm)
    assert face_rows(base, {"rotor_pole.arc": Range(0.5, 0.6)}, 10 * mm) is None


# On a machine ----------------------------------------------------------------------------------------


def search(**changes: Any) -> Search:
    base = replace(
        half_turn(), rotor_pole=Pole(arc=34 * deg), stator_pole=Pole(arc=31 * deg), must_start=False
    )
    plan = Plan(
        RectangularCurrent(-34 * deg, -4 * deg),
        EqualCurrent(8.0),
        Copper(fill_factor=0.45),
        ROUGH,
        angle_points=10,
        current_points=1,
        coupling="summed",
    )
    ranges = {
        "rotor_pole.arc": Range(31 * deg, 40 * deg),
        "rotor_pole.taper": Range(0 * deg, 8 * deg),
        "drive.turn_on": Range(-42 * deg, -30 * deg),
    }
    asked: dict[str, Any] = {
        "linked": {"drive.turn_off": lambda v: v["drive.turn_on"] + 30 * deg},
        "evaluations": 5,
        "method": "gradient",
        **changes,
    }
    return Search("smooth", base, plan, ranges, **asked)


def run_in(folder: Path, computed: list[str]) -> Callable[[str, list[Design]], list[Record]]:
    class Watch:
        def begin(self, total: int) -> None: ...
        def end(self) -> None: ...
        def still(self) -> None: ...
        def remark(self, said: str) -> None: ...
        def record(self, record: Record, now: bool) -> None:
            if now:
                computed.append(record.name)

    def run(study: str, designs: list[Design]) -> list[Record]:
        with Store(folder) as store:
            return run_designs(study, designs, store, InProcess(), watcher=Watch())

    return run


def test_a_search_goes_down_and_is_resumed_without_a_solution(tmp_path: Path) -> None:
    computed: list[str] = []
    first = run_search(search(), run_in(tmp_path, computed))
    ripples = [record.figures.ripple for record in first if record.figures]
    count = len(computed)
    assert len(first) == 5 <= count
    assert min(ripples[1:4]) < 0.95 * ripples[0]
    assert first[-1].name.endswith("| finer mesh") and not first[-1].outcome.slopes
    (rebuilt,) = search().study([Variant(first[-1].name, first[-1].changes)]).designs()
    assert rebuilt.key == first[-1].key
    again = run_search(search(), run_in(tmp_path, computed))
    assert len(computed) == count
    assert [record.key for record in again] == [record.key for record in first]


def test_a_path_keeps_its_mesh_until_it_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """Moved from the first; where that fails, the step is taken on a mesh of its own, which is moved from then on."""

    def far(design: Design) -> bool:
        start = design.plan.meshed_as
        return start is not None and abs(start.rotor_pole.arc - design.machine.rotor_pole.arc) > 2 * deg

    run, _ = run_of(lambda value: {}, far)
    known = _Known(search(evaluations=20), run, [], [])
    path, arcs = _Path(known, 1), []
    for at in (0.0, 0.1, 0.5, 0.4):
        found = path.compute(np.array([at, 0.0, 0.5]))
        assert found is not None and found.record.figures is not None
        start = found.design.plan.meshed_as
        arcs.append((found.meshed, None if start is None else round(start.rotor_pole.arc / deg, 3)))
    assert arcs == [(True, None), (False, 31.0), (True, None), (False, 35.5)]
    assert [record.status for record in known.records] == [Status.SOLVED] * 4 and known.left == 16
    # A shape that cannot be built is not tried again on another mesh.
    monkeypatch.setattr(Search, "can_be_built", lambda self, point: False)
    refused = path.compute(np.array([1.0, 0.0, 0.5]))
    assert refused is not None and refused.record.figures is None and len(known.records) == 5


def test_what_another_mesh_does_is_no_step() -> None:
    """From the third design on all is rougher by the mesh alone: what the search came from is looked at again there."""
    seen: list[Floats] = []

    def compute(x: Any) -> Computed | None:
        return None if len(seen) >= 40 else Computed(x, x, meshed=len(seen) == 2)

    def model(x: Any, record: Any) -> Model:
        torque, slopes = torques(x)
        torque[0] += 5.0 if len(seen) >= 2 else 0.0
        seen.append(x)
        return Model(float(np.ptp(torque)), np.zeros(3), torque, slopes, np.zeros(0), np.zeros((0, 3)))

    descend(START, compute, model)
    assert np.array_equal(seen[3], seen[1])
    # It goes on from there: without it, no later design would be better than the first ones.
    assert len(seen) > 10 and np.abs(seen[-1] - seen[1]).max() > 0.1


def test_shapes_that_cannot_be_are_a_boundary(tmp_path: Path) -> None:
    """A rule that stands in the way of the first step: smaller ones are taken."""
    near = 0.3 * deg
    wide = Constraint("the arc stays near", lambda v: abs(v["rotor_pole.arc"] - 34 * deg) <= near)
    found = run_search(search(constraints=(wide,), evaluations=6), run_in(tmp_path, []))
    statuses = [record.status for record in found]
    assert statuses[0] is Status.SOLVED and Status.REFUSED in statuses
    assert any(record.status is Status.SOLVED for record in found[statuses.index(Status.REFUSED) :])


def test_what_a_gradient_search_is_asked() -> None:
    with pytest.raises(InvalidValue, match="a search starts somewhere: starts is 0"):
        search(starts=0)
    with pytest.raises(InvalidValue, match="a bend has a radius: least_radius is -1000 mm"):
        search(least_radius=-1.0)
    with pytest.raises(InvalidValue, match=r"slopes are known at given switching .*: coupling is 'joint'"):
        replace(search(), plan=replace(search().plan, coupling="joint", map_current=12.0))
    suited = SuitedSwitching(least_torque=1.0)
    with pytest.raises(
        InvalidValue, match=r"slopes are known at given switching angles, .*: coupling is 'summed' with"
    ):
        replace(search(), plan=replace(search().plan, drive=suited, current_points=3))
    assert search(limits=(Limit("mean_torque", least=1.0),)).method == "gradient"


def test_a_front_goes_on_from_limit_to_limit() -> None:
    limits = (Limit("mean_torque", least=2.0), Limit("mean_torque", least=1.0))
    asked = search(limits=(Limit("copper_mass", most=2.0),), front=limits, evaluations=20)
    parts = list(asked.parts.values())
    assert [part.limits for part in parts] == [(*asked.limits, limit) for limit in limits]
    assert [(part.evaluations, part.front) for part in parts] == [(10, ())] * 2
    assert list(asked.parts) == ["mean torque of at least 2 N m", "mean torque of at least 1 N m"]
    point = np.array([1.0, 0.3, 0.0])
    (last,) = parts[0].designs(point[None], 3)
    onward = parts[1].onward(last, asked.base)
    assert onward.start == pytest.approx(point, abs=1e-9) and onward.base == last.machine
    assert onward.designs(onward.start[None], 0)[0].machine == last.machine
    assert onward.plan.meshed_as == asked.base
    with pytest.raises(InvalidValue, match=r"a front is had along slopes, .*: front is with 'surrogate'"):
        search(method="surrogate", front=limits)


def test_a_step_on_another_mesh_is_taken_where_it_is_better_there() -> None:
    """The second design is on another mesh, where all is rougher: less so there than what the search came from."""
    seen: list[tuple[Floats, float]] = []

    def compute(x: Any) -> Computed | None:
        return None if len(seen) >= 12 else Computed(x, x, meshed=len(seen) == 1)

    def model(x: Any, record: Any) -> Model:
        torque, slopes = torques(x)
        torque[0] += 5.0 if seen else 0.0
        found = Model(float(np.ptp(torque)), np.zeros(3), torque, slopes, np.zeros(0), np.zeros((0, 3)))
        seen.append((x, found.merit))
        return found

    descend(START, compute, model)
    assert seen[1][1] > seen[0][1] and seen[1][1] < seen[2][1]  # rougher than before, smoother than it there
    assert np.array_equal(seen[2][0], seen[0][0])
    # It is taken: the next is a step from it, within a box that has not shrunk.
    assert np.abs(seen[3][0] - seen[1][0]).max() <= FIRST + 1e-12 < np.abs(seen[3][0] - seen[0][0]).max()


# The project's own ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "fields"), [("slopes", 13), ("strong", 24), ("both_ways", 13), ("ramped", 25)]
)
def test_the_wheels_that_are_searched_can_be_built_where_the_search_begins(name: str, fields: int) -> None:
    search = study_in(ROOT / "studies" / f"wheel_{name}.py")
    assert isinstance(search, Search) and len(search.ranges) == fields and search.can_be_built(search.start)
    nearby = np.clip(search.start + np.linspace(0.02, 0.08, fields), 0.0, 1.0)
    (design,) = search.designs(nearby[None], 0)
    assert not outline_of(design.machine).mirror  # a lean is among what is searched
    if name == "both_ways":  # the point's angles are the plan's
        (point,) = design.plan.operating_points
        assert point.drive == design.plan.drive and point.both_ways
