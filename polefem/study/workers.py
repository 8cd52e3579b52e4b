"""Executors for designs: in this process, or in worker processes that may die or hang without loss.

Both are `concurrent.futures.Executor`s, so that any other executor of that kind can take their place.

A worker process has one thread of its own in this process, which hands it one call at a time and waits for the
answer. So the call that a worker died or hung over is known exactly, and no other is lost. Each worker computes
with one thread: designs run side by side, and the sums of a threaded library would depend on their number.
"""

from __future__ import annotations

import multiprocessing
import os
import pickle
import queue
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any, ParamSpec, TypeVar

from polefem.errors import InvalidValue, PolefemError
from polefem.params.checks import positive, whole

__all__ = ["Executor", "InProcess", "WorkerLost", "WorkerPool"]

P = ParamSpec("P")
T = TypeVar("T")

# What numpy, scipy and their linear algebra read at import: one thread each.
_ONE_THREAD = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"), "1"
)
_STARTING = threading.Lock()
_NO_MORE, _BEGUN = b"", b"begun"
_TO_BEGIN = (
    300.0  # s for a worker to start and import what a call needs, where calls have their time measured
)


class WorkerLost(PolefemError, RuntimeError):
    """The process that computed a call ended or was stopped before it answered."""


class InProcess(Executor):
    """Runs each call at once, here: for a debugger, and to compare the others with."""

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """The finished future of `fn(*args, **kwargs)`."""
        future: Future[T] = Future()
        future.set_running_or_notify_cancel()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


class WorkerPool(Executor):
    """Worker processes, one call each at a time, replaced when they die or take longer than `patience`.

    workers: how many processes. patience: seconds that a call may take, None for as long as it likes. A call
    whose worker died or hung gets the exception WorkerLost; the worker is replaced and the others go on.

    Raises InvalidValue for less than one worker or for no patience at all.
    """

    def __init__(self, workers: int, patience: float | None = None) -> None:
        whole("a pool must have workers", "workers", workers)
        self._patience = (
            None if patience is None else positive("a worker needs time", "patience", patience, "s")
        )
        self._calls: queue.SimpleQueue[_Call | None] = queue.SimpleQueue()
        self._closed = False
        self._busy: dict[int, _Worker] = {}
        self._threads = [
            threading.Thread(target=self._serve, args=(at,), daemon=True, name=f"worker {at}")
            for at in range(workers)
        ]
        for thread in self._threads:
            thread.start()

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """The future of `fn(*args, **kwargs)`, run by the next free worker; all must be picklable."""
        if self._closed:
            raise InvalidValue("a pool that was shut down takes no more calls: open a new one")
        future: Future[T] = Future()
        self._calls.put(_Call(future, (fn, args, kwargs)))
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the workers once their calls are done; with `cancel_futures` drop the calls not yet begun."""
        self._closed = True
        if cancel_futures:
            with suppress(queue.Empty):
                while (call := self._calls.get_nowait()) is not None:
                    call.future.cancel()
        for _ in self._threads:
            self._calls.put(None)
        if wait:
            for thread in self._threads:
                thread.join()

    def stop(self) -> None:
        """End now: calls not begun are cancelled, those under way get WorkerLost."""
        self._closed = True
        self.shutdown(wait=False, cancel_futures=True)
        for worker in list(self._busy.values()):
            worker.process.kill()
        for thread in self._threads:
            thread.join()

    def _serve(self, at: int) -> None:
        worker: _Worker | None = None
        while (call := self._calls.get()) is not None:
            if not call.future.set_running_or_notify_cancel():
                continue
            worker = worker or _Worker.start()
            self._busy[at] = worker
            try:
                answer, value = worker.ask(call.work, self._patience)
            except WorkerLost as lost:
                worker = None
                call.future.set_exception(lost)
            except Exception as error:  # the call or its arguments could not be sent
                call.future.set_exception(error)
            else:
                call.future.set_result(value) if answer else call.future.set_exception(value)
            self._busy.pop(at, None)
        if worker is not None:
            worker.finish()


@dataclass(frozen=True, eq=False)
class _Call:
    future: Future[Any]
    work: tuple[Callable[..., Any], tuple[Any, ...], dict[str, Any]]


@dataclass(frozen=True, eq=False)
class _Worker:
    process: SpawnProcess
    line: Connection

    @classmethod
    def start(cls) -> _Worker:
        context = multiprocessing.get_context("spawn")
        here, there = context.Pipe()
        process = context.Process(target=_work, args=(there,), daemon=True, name="polefem worker")
        with _STARTING, _environment(_ONE_THREAD):
            process.start()
        there.close()  # so that the end of the worker is the end of the line
        return cls(process, here)

    def ask(self, work: Any, patience: float | None) -> tuple[bool, Any]:
        try:
            self.line.send_bytes(pickle.dumps(work))
            if patience is not None:
                self._wait(_TO_BEGIN, "did not begin in")
            self.line.recv_bytes()
            if patience is not None:
                self._wait(patience, "had no answer after")
            answer: tuple[bool, Any] = self.line.recv()
        except (EOFError, OSError) as error:
            self.process.join()
            raise WorkerLost(_ending(self.process.exitcode)) from error
        return answer

    def _wait(self, seconds: float, said: str) -> None:
        if not self.line.poll(seconds):
            self.process.kill()
            self.process.join()
            raise WorkerLost(f"the worker was stopped: it {said} {seconds:.6g} s")

    def finish(self) -> None:
        with suppress(OSError):
            self.line.send_bytes(_NO_MORE)
        self.process.join()


def _ending(code: int | None) -> str:
    if code is not None and code < 0:
        return f"the worker process was ended by signal {signal.Signals(-code).name}"
    return f"the worker process ended by itself with status {code}"


def _work(line: Connection) -> None:
    signal.signal(
        signal.SIGINT, signal.SIG_IGN
    )  # Ctrl-C reaches every process; this one is stopped by its parent
    with suppress(EOFError, OSError):  # the parent is gone: so is the work
        while (work := line.recv_bytes()) != _NO_MORE:
            answer = _answer(work, line)
            try:
                line.send(answer)
            except OSError:
                raise
            except Exception as error:  # the answer cannot travel: its error can
                line.send((False, TypeError(f"the answer of a worker must be picklable: {error}")))


def _answer(work: bytes, line: Connection) -> tuple[bool, Any]:
    try:
        try:
            fn, args, kwargs = pickle.loads(work)
        finally:
            line.send_bytes(_BEGUN)  # what the call needs is imported: from here on patience is measured
        return True, fn(*args, **kwargs)
    except Exception as error:
        return False, error


@contextmanager
def _environment(changes: dict[str, str]) -> Iterator[None]:
    before = {name: os.environ.get(name) for name in changes}
    os.environ.update(changes)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
