"""Worker processes: what they answer, and that one that dies or hangs takes nothing with it."""

import os
import signal
import threading
import time
from concurrent.futures import CancelledError, Executor, wait
from typing import Any

import pytest

from polefem.errors import InvalidValue
from polefem.study import InProcess, WorkerLost, WorkerPool


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


@pytest.mark.parametrize(("workers", "patience"), [(0, None), (1.5, None), (1, 0.0), (1, -1.0)])
def test_a_pool_without_workers_or_time_is_refused(workers: Any, patience: float | None) -> None:
    with pytest.raises(InvalidValue, match="allowed is"):
        WorkerPool(workers, patience)
