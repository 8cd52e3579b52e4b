"""Searches on formulas whose best is known, and that they go on from where they were."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fake_solver import FAKE, MACHINE, PLAN
from made_up import run_of

from polefem.errors import InvalidValue
from polefem.ranking import rank
from polefem.study import (
    Constraint,
    Design,
    InProcess,
    LatinHypercube,
    Limit,
    Range,
    Record,
    Search,
    Store,
    Study,
    run_designs,
    run_search,
)
from polefem.units import deg, mm

RANGES = {
    "rotor_pole.arc": Range(30 * deg, 40 * deg),
    "stator_pole.arc": Range(28 * deg, 36 * deg),
    "air_gap": Range(0.3 * mm, 0.6 * mm),
}
BEST = {"rotor_pole.arc": 36.5 * deg, "stator_pole.arc": 31 * deg, "air_gap": 0.35 * mm}


def bowl(value: Any) -> dict[str, float]:
    """Ripple is lowest at BEST; mean torque falls with the air gap."""
    away = sum(((value(n) - BEST[n]) / (s.high - s.low)) ** 2 for n, s in RANGES.items())
    return {
        "ripple": 0.1 + away + 0.02 * np.sin(40 * away),
        "mean_torque": 6.0 - value("air_gap") / (0.1 * mm),
    }


def search(**options: Any) -> Search:
    return Search("bowl", MACHINE, PLAN, RANGES, **{"evaluations": 40, **options})


def best_of(records: list[Record], limits: tuple[Limit, ...] = ()) -> float:
    first = rank(records, "", limits=limits).ordered[0]
    assert first.figures is not None
    return first.figures.ripple


@pytest.mark.parametrize(
    ("method", "evaluations", "within"), [("surrogate", 40, 0.005), ("evolution", 160, 0.03)]
)
def test_it_finds_the_best_with_fewer_designs_than_a_hypercube(
    method: Any, evaluations: int, within: float
) -> None:
    run, asked = run_of(bowl)
    records = run_search(search(method=method, evaluations=evaluations), run)
    assert len(records) == len(asked) == evaluations
    assert best_of(records) < 0.1 + within
    sample = run("lh", Study("lh", MACHINE, PLAN, LatinHypercube(RANGES, 200)).designs())
    assert best_of(records) < best_of(sample)


def test_the_start_shape_is_the_first_design() -> None:
    run, _ = run_of(bowl)
    records = run_search(search(evaluations=8), run)
    start = [MACHINE.rotor_pole.arc, MACHINE.stator_pole.arc, MACHINE.air_gap]
    assert list(records[0].changes.values()) == pytest.approx(start)


@pytest.mark.parametrize(("method", "evaluations"), [("surrogate", 40), ("evolution", 160)])
def test_the_best_is_within_the_limits(method: Any, evaluations: int) -> None:
    limits = (Limit("mean_torque", most=1.5),)  # an air gap of 0.45 mm or more
    run, _ = run_of(bowl)
    records = run_search(search(method=method, evaluations=evaluations, limits=limits), run)
    free = 0.1 + (0.1 / 0.3) ** 2  # the bowl's value at the limit, but for its waves
    assert best_of(records, limits) == pytest.approx(free, abs=0.05)
    first = rank(records, "", limits=limits).ordered[0]
    assert first.changes["air_gap"] >= 0.45 * mm * (1 - 1e-9)
    assert best_of(records) < best_of(records, limits)


def test_refused_designs_do_not_stop_it_and_few_are_proposed() -> None:
    wide = Constraint(
        "the rotor pole is the wider by 2 degrees",
        lambda v: v["rotor_pole.arc"] > v["stator_pole.arc"] + 2 * deg,
    )
    run, _ = run_of(bowl)
    records = run_search(search(constraints=(wide,)), run)
    assert best_of(records) < 0.11
    proposed = records[10:]
    assert sum(record.figures is None for record in proposed) <= 4


def test_a_search_where_all_is_refused_ends() -> None:
    run, asked = run_of(bowl, refused=lambda design: True)
    assert all(r.figures is None for r in run_search(search(evaluations=12), run))
    assert len(asked) == 120


@pytest.mark.parametrize("method", ["surrogate", "evolution"])
def test_it_goes_on_from_the_store(tmp_path: Path, method: Any) -> None:
    small = Search(
        "s", MACHINE, PLAN, {"rotor_pole.arc": Range(30.5 * deg, 38 * deg)}, evaluations=14, method=method
    )
    counted: list[int] = []

    def run_until(limit: int | None) -> list[Record]:
        with Store(tmp_path) as store:
            computed = 0

            class Counter:
                def begin(self, total: int) -> None: ...
                def record(self, record: Record, fresh: bool) -> None:
                    nonlocal computed
                    computed += fresh
                    if limit is not None and computed >= limit:
                        raise KeyboardInterrupt

                def remark(self, said: str) -> None: ...
                def still(self) -> None: ...
                def end(self) -> None: ...

            def run(name: str, designs: Any) -> list[Record]:
                return run_designs(name, designs, store, InProcess(), solver=FAKE, watcher=Counter())

            try:
                return run_search(small, run)
            finally:
                counted.append(computed)

    with pytest.raises(KeyboardInterrupt):
        run_until(6)
    stopped = run_until(None)
    assert counted[0] == 6 and counted[0] + counted[1] <= 14
    whole = run_until(None)
    assert counted[2] == 0
    assert [r.key for r in whole] == [r.key for r in stopped]


def test_several_are_proposed_at_a_time_and_differ() -> None:
    batches: list[int] = []
    run, _ = run_of(bowl)

    def watched(name: str, designs: list[Design]) -> list[Record]:
        batches.append(len(designs))
        return run(name, designs)

    records = run_search(search(evaluations=22, batch=4), watched)
    assert batches == [8, 4, 4, 4, 2]
    assert len({tuple(r.changes.values()) for r in records}) == 22


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"objective": "beauty"}, "designs are ranked by a figure: objective is 'beauty'"),
        ({"evaluations": 2}, "a search computes designs"),
        ({"method": "luck"}, "a search goes one of three ways"),
        ({"batch": 0}, "designs are proposed one at a time or more"),
        (
            {"ranges": {"air_gap": Range(0.5 * mm, 0.6 * mm)}},
            "a search starts within its ranges: air_gap is 0.0004",
        ),
        ({"ranges": {"air_gaps": Range(0.5 * mm, 0.6 * mm)}}, "a field is called by its dotted name"),
    ],
)
def test_mistakes_are_told_before_anything_is_computed(options: Any, sentence: str) -> None:
    with pytest.raises(InvalidValue, match=sentence):
        Search(**{"name": "s", "base": MACHINE, "plan": PLAN, "ranges": RANGES, **options})
