"""Worker processes: what they answer, and that one that dies or hangs takes nothing with it."""

import importlib
import multiprocessing
import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
from concurrent.futures import CancelledError, Executor, wait
from pathlib import Path
from typing import Any

import pytest

from polefem.errors import InvalidValue
from polefem.files import running
from polefem.study import InProcess, WorkerLost, WorkerPool, workers
from polefem.study.workers import _Patience


def square(x: float) -> float:
    return x * x


def divide(x: float, by: float) -> float:
    return x / by


def die(how: int) -> None:
    os.kill(os.getpid(), how)


def leave(status: int) -> None:
    os._exit(status)


def sleep(seconds: float) -> float:
    time.sleep(seconds)
    return seconds


def threads_allowed() -> tuple[str | None, str | None]:
    return os.environ.get("OMP_NUM_THREADS"), os.environ.get("OPENBLAS_NUM_THREADS")


def process() -> int:
    return os.getpid()


def a_lock() -> Any:
    return threading.Lock()


@pytest.fixture(scope="module")
def pool() -> Any:
    with WorkerPool(2, patience=20.0) as pool:
        yield pool


@pytest.mark.parametrize("kind", ["in process", "pool"])
def test_answers_are_those_of_the_calls(kind: str, pool: WorkerPool) -> None:
    executor: Executor = InProcess() if kind == "in process" else pool
    futures = [executor.submit(square, x) for x in range(10)]
    assert [future.result() for future in futures] == [x * x for x in range(10)]
    with pytest.raises(ZeroDivisionError, match="division by zero"):
        executor.submit(divide, 1.0, by=0.0).result()


def test_calls_run_elsewhere_on_one_thread_each(pool: WorkerPool) -> None:
    before = os.environ.get("OMP_NUM_THREADS")
    assert pool.submit(process).result() != os.getpid()
    assert pool.submit(threads_allowed).result() == ("1", "1")
    assert os.environ.get("OMP_NUM_THREADS") == before


def test_what_cannot_travel_is_an_error_of_its_call_alone(pool: WorkerPool) -> None:
    with pytest.raises(Exception, match="pickle"):
        pool.submit(a_lock).result()
    with pytest.raises(Exception, match="pickle"):
        pool.submit(lambda: 1).result()
    assert pool.submit(square, 3).result() == 9


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        ((die, signal.SIGKILL), "ended by signal SIGKILL"),
        ((die, signal.SIGSEGV), "SIGSEGV"),
        ((leave, 3), "status 3"),
    ],
)
def test_a_worker_that_dies_loses_its_own_call_alone(call: Any, sentence: str, pool: WorkerPool) -> None:
    around = [pool.submit(square, x) for x in range(4)]
    lost = pool.submit(*call)
    around += [pool.submit(square, x) for x in range(4, 8)]
    with pytest.raises(WorkerLost, match=sentence):
        lost.result()
    assert [future.result() for future in around] == [x * x for x in range(8)]


def test_a_worker_that_hangs_is_stopped() -> None:
    with WorkerPool(1, patience=1.0) as pool:
        assert pool.submit(square, 2).result() == 4
        hung, after = pool.submit(sleep, 600), pool.submit(square, 5)
        with pytest.raises(WorkerLost, match="stopped: it had no answer after 1 s"):
            hung.result()
        assert after.result() == 25


def test_a_worker_that_hangs_while_it_imports_is_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "never_there.py").write_text(
        "import multiprocessing, time\n"
        "if multiprocessing.parent_process(): time.sleep(600)\n"
        "def work(x=b''): pass\n"
    )
    monkeypatch.syspath_prepend(tmp_path)
    never_there = importlib.import_module("never_there")
    with WorkerPool(1) as pool:
        assert pool.submit(square, 2).result() == 4
        pool._patience.to_begin = 1.0
        hung = pool.submit(never_there.work, b"more than the line holds" * 100_000)
        with pytest.raises(WorkerLost, match="stopped: it did not import what its work needs in 1 s"):
            hung.result()
        with pytest.raises(WorkerLost, match="stopped: it did not start in"):
            pool._patience.to_begin = 1e-3
            pool.submit(square, 5).result()
        pool._patience.to_begin = 300.0
        assert pool.submit(square, 5).result() == 25


def test_how_long_a_call_may_take_follows_from_others() -> None:
    patience = _Patience(None, 1.0)
    assert patience.of(square)[0] == 3600.0
    for seconds in (50.0, 10.0, 20.0):
        patience.note(square, seconds)
        patience.note(divide, 0.1)
    assert patience.of(square)[0] == 1500.0 and patience.of(divide)[0] == 600.0
    assert "others took 50 s; a longer patience allows more" in patience.of(square)[1]
    assert patience.of(sleep)[0] == 3600.0
    assert _Patience(7.0, 1.0).of(square) == (7.0, "")


def test_without_patience_stated_a_call_far_longer_than_others_is_stopped(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(workers, "_LEAST", 1.0)
    with WorkerPool(2) as pool:
        hung = pool.submit(sleep, 600.0)
        assert [pool.submit(sleep, 0.01).result() for _ in range(3)]
        with pytest.raises(WorkerLost, match=r"stopped: it had no answer after .* s, where others took"):
            hung.result()


PARENT = """
    import sys, time
    sys.path[:0] = {path!r}
    from test_workers import WorkerPool, process, sleep
    if __name__ == "__main__":
        pool = WorkerPool(2)
        print(*(pool.submit(process).result() for _ in range(2)), flush=True)
        pool.submit(sleep, 600), pool.submit(sleep, 600)
        time.sleep(600)
"""


def test_workers_whose_parent_is_gone_end_by_themselves(tmp_path: Path) -> None:
    (tmp_path / "parent.py").write_text(textwrap.dedent(PARENT.format(path=sys.path)))
    parent = subprocess.Popen(
        [sys.executable, str(tmp_path / "parent.py")], stdout=subprocess.PIPE, text=True
    )
    assert parent.stdout is not None
    parent.stdout.readline()
    time.sleep(1.0)  # both are at work, or one still imports
    living = children(parent.pid)
    assert len(living) >= 2
    parent.kill()
    parent.wait()
    parent.stdout.close()
    end = time.monotonic() + 30.0
    while any(map(running, living)) and time.monotonic() < end:
        time.sleep(0.05)
    assert not any(map(running, living))


def children(parent: int) -> list[int]:
    """Processes that the threads of another began."""
    tasks = Path(f"/proc/{parent}/task").iterdir()
    return [int(number) for task in tasks for number in (task / "children").read_text().split()]


def test_stop_ends_a_worker_that_is_just_starting() -> None:
    others = set(multiprocessing.active_children())  # those of the pool that tests of this file share
    pool = WorkerPool(4)
    futures = [pool.submit(sleep, 600) for _ in range(4)]
    pool.stop()
    assert all(future.done() for future in futures)
    assert not [child for child in set(multiprocessing.active_children()) - others if child.is_alive()]


def test_stop_ends_what_is_under_way_and_cancels_the_rest() -> None:
    pool = WorkerPool(1)
    assert pool.submit(square, 2).result() == 4
    under_way, waiting = pool.submit(sleep, 600), pool.submit(square, 5)
    time.sleep(0.2)
    pool.stop()
    with pytest.raises(WorkerLost, match="SIGKILL"):
        under_way.result()
    with pytest.raises(CancelledError):
        waiting.result()
    with pytest.raises(InvalidValue, match="takes no more calls"):
        pool.submit(square, 1)


def test_shutdown_lets_calls_finish() -> None:
    pool = WorkerPool(1)
    futures = [pool.submit(square, x) for x in range(3)]
    pool.shutdown()
    assert not wait(futures, timeout=0).not_done


@pytest.mark.parametrize(("count", "patience"), [(0, None), (1.5, None), (1, 0.0), (1, -1.0)])
def test_a_pool_without_workers_or_time_is_refused(count: Any, patience: float | None) -> None:
    with pytest.raises(InvalidValue, match="allowed is"):
        WorkerPool(count, patience)
