"""Runs of whole studies: in order, through any executor, and through kills."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from fake_solver import DIES, FAKE, HANGS, MACHINE, PLAN, RAISES, UNMESHED

from polefem.errors import InvalidValue
from polefem.study import (
    Design,
    InProcess,
    Outcome,
    Record,
    Status,
    Store,
    Study,
    Variant,
    WorkerPool,
    pipeline,
    run_designs,
    running,
)
from polefem.study import design as design_module
from polefem.units import deg
from polefem.version import numerics


def designs(*arcs: float) -> list[Design]:
    return [Design(f"{arc / deg:.6g} deg", MACHINE, {"rotor_pole.arc": arc}, PLAN) for arc in arcs]


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], list[str]]:
    """What the solver was asked for so far."""
    path = tmp_path / "log"
    path.touch()
    monkeypatch.setenv("FAKE_SOLVER_LOG", str(path))
    return lambda: path.read_text().split()


def run(folder: Path, some: list[Design], executor: Executor | None = None, **options: Any) -> list[Record]:
    with Store(folder) as store:
        return run_designs("a study", some, store, executor or InProcess(), solver=FAKE, **options)


class Seen:
    """A watcher that remembers."""

    def __init__(self) -> None:
        self.total, self.records, self.ended = 0, list[tuple[str, bool]](), False
        self.remarks = list[str]()

    def begin(self, total: int) -> None:
        self.total = total

    def record(self, record: Record, computed: bool) -> None:
        self.records.append((record.name, computed))

    def remark(self, said: str) -> None:
        self.remarks.append(said)

    def still(self) -> None:
        pass

    def end(self) -> None:
        self.ended = True


def test_records_are_in_order_and_the_fallen_have_reasons(tmp_path: Path) -> None:
    seen = Seen()
    some = designs(33 * deg, 95 * deg, UNMESHED, RAISES, 34 * deg)
    records = run(tmp_path, some, watcher=seen)
    assert [record.name for record in records] == [design.name for design in some]
    statuses = [Status.SOLVED, Status.REFUSED, Status.FAILED, Status.FAILED, Status.SOLVED]
    assert [record.status for record in records] == statuses
    assert all(bool(record.reason) != bool(record.figures) for record in records)
    assert (seen.total, len(seen.records), seen.ended) == (5, 5, True)


def test_what_is_in_the_store_is_not_computed_again(tmp_path: Path, log: Callable[[], list[str]]) -> None:
    first = run(tmp_path / "store", designs(33 * deg, 34 * deg))
    assert len(log()) == 2
    seen = Seen()
    again = run(tmp_path / "store", designs(34 * deg, 35 * deg, 33 * deg), watcher=seen)
    assert log() == ["33.000000", "34.000000", "35.000000"]
    assert dict(seen.records) == {"34 deg": False, "35 deg": True, "33 deg": False}
    assert again[2].figures == first[0].figures
    assert again[2].outcome.flux_map is not None


def test_a_damaged_map_is_computed_again(tmp_path: Path, log: Callable[[], list[str]]) -> None:
    (first,) = run(tmp_path / "store", designs(33 * deg))
    (path,) = (tmp_path / "store" / "maps").iterdir()
    path.write_bytes(path.read_bytes()[:-50])
    (again,) = run(tmp_path / "store", designs(33 * deg))
    assert len(log()) == 2
    assert again.figures == first.figures


def test_equal_designs_are_computed_once(tmp_path: Path, log: Callable[[], list[str]]) -> None:
    twins = [Design(name, MACHINE, {}, PLAN) for name in ("one", "other")]
    records = run(tmp_path / "store", twins)
    assert [record.name for record in records] == ["one", "other"]
    assert records[0].figures == records[1].figures and len(log()) == 1


def test_coils_joined_otherwise_take_no_fields_where_the_map_before_says_all(
    tmp_path: Path, log: Callable[[], list[str]]
) -> None:
    usual, otherwise, split = (1, 1, 1, -1, -1, -1), (1, -1, 1, -1, 1, -1), (1, 1, 1, 1, -1, -1)

    def joined(polarity: tuple[int, ...]) -> Design:
        return Design(str(polarity), MACHINE, {"winding.polarity": polarity}, PLAN)

    run(tmp_path, designs(MACHINE.rotor_pole.arc))  # coils joined as usual, with no word said of it
    assert len(log()) == 1
    run(tmp_path, [joined(otherwise), joined(usual)])
    assert len(log()) == 1
    run(tmp_path, [joined(split)])
    assert len(log()) == 2


def figures(outcome: Outcome) -> Any:
    assert outcome.figures is not None and outcome.flux_map is not None
    return outcome.figures.values(), outcome.flux_map.torque.tobytes()


def test_every_executor_gives_the_same(tmp_path: Path) -> None:
    some = designs(*(k * deg for k in range(32, 38)))
    plan_with_overlap = [Design(d.name, d.base, {**d.changes, "all_currents": True}, PLAN) for d in some]
    executors: list[Callable[[], Executor]] = [
        InProcess,
        lambda: WorkerPool(1),
        lambda: WorkerPool(2),
        lambda: ThreadPoolExecutor(3),
    ]
    found = []
    for at, executor in enumerate(executors):
        with executor() as open_executor:
            records = run(tmp_path / str(at), plan_with_overlap, open_executor, at_once=4)
        found.append([repr(figures(record.outcome)) for record in records])
    assert all(one == found[0] for one in found)


def test_a_design_that_kills_its_worker_is_tried_twice_then_lost(
    tmp_path: Path, log: Callable[[], list[str]]
) -> None:
    with WorkerPool(2) as pool:
        records = run(tmp_path / "store", designs(33 * deg, DIES, 34 * deg, 35 * deg), pool, at_once=4)
    assert [r.status for r in records] == [Status.SOLVED, Status.LOST, Status.SOLVED, Status.SOLVED]
    assert records[1].reason.startswith("the worker process was ended by signal SIGKILL")
    assert log().count("31.000000") == 2
    with WorkerPool(1) as pool:  # starting again tries the lost one, and no other
        run(tmp_path / "store", designs(33 * deg, DIES, 34 * deg), pool)
    assert log().count("31.000000") == 4 and log().count("33.000000") == 1


def test_a_design_that_hangs_is_stopped_and_lost(tmp_path: Path) -> None:
    with WorkerPool(2, patience=1.0) as pool:
        records = run(tmp_path, designs(HANGS, 33 * deg), pool, at_once=4)
    assert [r.status for r in records] == [Status.LOST, Status.SOLVED]
    assert "stopped: it had no answer after 1 s" in records[0].reason


PROGRAM = """
    import sys
    sys.path[:0] = {path!r}
    from pathlib import Path
    from test_running import *
    if __name__ == "__main__":
        some = designs(*(k / 10 * deg for k in range(320, 336)))
        with WorkerPool(2) as pool, Store(Path({folder!r})) as store:
            run_designs("a study", some, store, pool, at_once=4, solver=FAKE)
"""


def start(tmp_path: Path, seconds: float) -> subprocess.Popen[bytes]:
    program = tmp_path / "program.py"
    program.write_text(textwrap.dedent(PROGRAM.format(path=sys.path, folder=str(tmp_path / "store"))))
    environment = {
        **os.environ,
        "FAKE_SOLVER_LOG": str(tmp_path / "log"),
        "FAKE_SOLVER_SECONDS": str(seconds),
    }
    return subprocess.Popen([sys.executable, str(program)], env=environment)


def kept(tmp_path: Path) -> int:
    if not (tmp_path / "store" / "designs.sqlite").exists():
        return 0
    with Store(tmp_path / "store") as store:
        return len(store.statuses(member.key for member in store.members("a study")))


def test_killed_at_any_moment_it_loses_at_most_what_was_in_flight(tmp_path: Path) -> None:
    log = tmp_path / "log"
    kills = 0
    for target in (1, 9):
        process = start(tmp_path, 0.05)
        while process.poll() is None and kept(tmp_path) < target:
            time.sleep(0.01)
        before = kept(tmp_path)
        process.send_signal(signal.SIGKILL)
        process.wait()
        kills += 1
        assert before <= kept(tmp_path) < 16
    process = start(tmp_path, 0.0)
    assert process.wait(timeout=60) == 0
    assert kept(tmp_path) == 16
    asked = log.read_text().split()
    assert len(set(asked)) == 16
    # Each kill loses at most the four with the executor; nothing that was kept was asked for again.
    assert len(asked) <= 16 + 4 * kills
    with Store(tmp_path / "store") as store:
        assert set(store.statuses(m.key for m in store.members("a study")).values()) == {Status.SOLVED}
        assert all(store.outcome(member.key) is not None for member in store.members("a study"))


def test_two_processes_on_one_store_share_the_work(tmp_path: Path) -> None:
    both = [start(tmp_path, 0.2), start(tmp_path, 0.2)]
    assert [process.wait(timeout=120) for process in both] == [0, 0]
    assert kept(tmp_path) == 16
    asked = (tmp_path / "log").read_text().split()
    assert len(asked) == len(set(asked)) == 16, "a design is computed by one of them"
    with Store(tmp_path / "store") as store:
        assert all(store.outcome(member.key) is not None for member in store.members("a study"))


def test_a_row_that_was_damaged_is_computed_again_and_said(
    tmp_path: Path, log: Callable[[], list[str]]
) -> None:
    (first, _) = run(tmp_path / "store", designs(33 * deg, 34 * deg))
    with closing(sqlite3.connect(tmp_path / "store" / "designs.sqlite")) as db:
        db.execute("UPDATE designs SET ripple = ripple / 4 WHERE key = ?", (first.key,))
        db.commit()
    seen = Seen()
    (again, _) = run(tmp_path / "store", designs(33 * deg, 34 * deg), watcher=seen)
    assert again.figures == first.figures and len(log()) == 3
    assert seen.remarks == ["what was kept of '33 deg' is damaged: it is computed again"]


@pytest.mark.parametrize("moved", ["results", "gmsh", "scipy"])
def test_what_older_code_or_other_libraries_computed_is_computed_again(
    moved: str, tmp_path: Path, log: Callable[[], list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    (before,) = run(tmp_path / "store", designs(33 * deg))
    monkeypatch.setattr(design_module, "numerics", lambda: {**numerics(), moved: "0"})
    (after,) = run(tmp_path / "store", designs(33 * deg))
    assert before.key != after.key and len(log()) == 2


def test_a_map_of_other_libraries_is_not_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    (before,) = designs(33 * deg)
    assert before.map_key
    monkeypatch.setattr(design_module, "numerics", lambda: {**numerics(), "gmsh": "0"})
    (after,) = designs(33 * deg)
    assert before.map_key != after.map_key


def test_a_worker_of_other_versions_is_refused_before_it_computes(
    tmp_path: Path, log: Callable[[], list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(running, "numerics", lambda: {**numerics(), "scipy": "0.1"})
    rule = (
        "workers compute with the versions of the process that asks them: scipy is .* on .*, allowed is 0.1"
    )
    with pytest.raises(InvalidValue, match=rule):
        run(tmp_path / "store", designs(33 * deg))
    assert not log()


def test_the_versions_that_are_kept_are_the_worker_s(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pipeline, "versions", lambda: {"python": "3.99"})
    (record,) = run(tmp_path, designs(33 * deg))
    assert record.versions == {"python": "3.99"}


def test_a_study_needs_names_of_its_own() -> None:
    with pytest.raises(InvalidValue, match="each variant has a name of its own: variants is 'a' 2 times"):
        Study("s", MACHINE, PLAN, [Variant("a"), Variant("a", {"air_gap": 1e-3})])
    with pytest.raises(InvalidValue, match="a study needs something to compare"):
        Study("s", MACHINE, PLAN, [])
