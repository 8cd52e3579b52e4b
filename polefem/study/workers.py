"""Executors for designs: in this process, or in worker processes that may die or hang without loss.

Both are `concurrent.futures.Executor`s, so that any other executor of that kind can take their place.

A worker process has one thread of its own in this process, which hands it one call at a time and waits for the
answer. So the call that a worker died or hung over is known exactly, and no other is lost. Each worker computes
with one thread: designs run side by side, and the sums of a threaded library would depend on their number.

A worker lives no longer than this process: stopped, it kills its workers; killed, they see its end of the line close.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import pickle
import queue
import signal
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
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
_NO_MORE, _WORD = b"", b"word"
_TO_BEGIN = 300.0  # s for a worker to start, and then to import what a call needs
_AT_FIRST = 3600.0  # s that a call may take while it is not known how long such calls take
_OBJECTS = 50_000  # as many as a picture holds
_FIRST = 3  # calls, after which that is known
_LONGER, _LEAST = 30.0, 600.0  # then a call may take so many times the longest, but at least so many seconds


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

    workers: how many processes. patience: seconds that a call may take. If None, thirty times as long as the longest
    call of the same function before it, at least ten minutes, and an hour until three are done: no design is worth
    holding up all others. to_begin: seconds in which a worker must start, and import what a call needs. A call
    whose worker died or hung gets the exception WorkerLost; the worker is replaced and the others go on.

    Raises InvalidValue for less than one worker or for no patience at all.
    """

    def __init__(self, workers: int, patience: float | None = None, to_begin: float = _TO_BEGIN) -> None:
        whole("a pool must have workers", "workers", workers)
        if patience is not None:
            positive("a worker needs time", "patience", patience, "s")
        self._patience = _Patience(patience, positive("a worker needs time", "to_begin", to_begin, "s"))
        self._calls: queue.SimpleQueue[_Call | None] = queue.SimpleQueue()
        self._closed = self._stopped = False
        self._living: set[_Worker] = set()
        self._threads = [
            threading.Thread(target=self._serve, daemon=True, name=f"worker {at}") for at in range(workers)
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
        with _STARTING:  # a worker that starts at this moment is among the living, or will not start
            self._closed = self._stopped = True
            living = list(self._living)
        self.shutdown(wait=False, cancel_futures=True)
        for worker in living:
            worker.process.kill()
        for thread in self._threads:
            thread.join()
        for worker in living:
            worker.process.join()  # gone, not only told to go

    def _serve(self) -> None:
        # Ctrl-C reaches every process of a terminal. It is not for workers, not even while they import: they inherit
        # from this thread that it is blocked. They are stopped by this process.
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        worker: _Worker | None = None
        while (call := self._calls.get()) is not None:
            if not call.future.set_running_or_notify_cancel():
                continue
            try:
                worker = worker or self._started()
                answer, value = worker.ask(call.work, self._patience)
            except WorkerLost as lost:
                self._living.discard(worker) if worker else None
                worker = None
                call.future.set_exception(lost)
            except Exception as error:  # the call or its arguments could not be sent
                call.future.set_exception(error)
            else:
                call.future.set_result(value) if answer else call.future.set_exception(value)
        if worker is not None:
            worker.finish()

    def _started(self) -> _Worker:
        with _STARTING:
            if self._stopped:
                raise WorkerLost("the workers were stopped")
            worker = _Worker.start()
            self._living.add(worker)
            return worker


@dataclass(frozen=True, eq=False)
class _Call:
    future: Future[Any]
    work: tuple[Callable[..., Any], tuple[Any, ...], dict[str, Any]]


@dataclass(eq=False)
class _Patience:
    """How long calls may take. stated: s, None where it follows from what others took. to_begin: s to import."""

    stated: float | None
    to_begin: float
    took: dict[Any, list[float]] = field(default_factory=dict)  # by function: number of calls, longest in s

    def note(self, function: Any, seconds: float) -> None:
        count, longest = self.took.get(function, [0, 0.0])
        self.took[function] = [count + 1, max(longest, seconds)]

    def of(self, function: Any) -> tuple[float, str]:
        """Seconds that a call of a function may take, as known now, and why, in words."""
        if self.stated is not None:
            return self.stated, ""
        count, longest = self.took.get(function, [0, 0.0])
        if count < _FIRST:
            return _AT_FIRST, "; a longer patience allows more"
        return max(
            _LEAST, _LONGER * longest
        ), f", where others took {longest:.3g} s; a longer patience allows more"


@dataclass(eq=False)
class _Worker:
    """greeted: whether it has said that it is there; before that a call would fill the line, and wait for ever."""

    process: SpawnProcess
    line: Connection
    greeted: bool = False

    @classmethod
    def start(cls) -> _Worker:
        """A new process; to be called with _STARTING held."""
        context = multiprocessing.get_context("spawn")
        here, there = context.Pipe()
        process = context.Process(target=_work, args=(there,), daemon=True, name="polefem worker")
        with _environment(_ONE_THREAD):
            process.start()
        there.close()  # so that the end of the worker is the end of the line
        return cls(process, here)

    def ask(self, work: Any, patience: _Patience) -> tuple[bool, Any]:
        """What a call answered, and whether that is a value or an error; raises WorkerLost where no answer comes."""
        function = work[0]
        sent = pickle.dumps(work)

        def imports() -> tuple[float, str]:
            return patience.to_begin, ""

        try:
            if not self.greeted:
                self._wait(imports, "did not start in")
                self.line.recv_bytes()
                self.greeted = True
            self.line.send_bytes(sent)
            self._wait(imports, "did not import what its work needs in")
            self.line.recv_bytes()
            begun = time.monotonic()
            self._wait(lambda: patience.of(function), "had no answer after")
            answer: tuple[bool, Any] = self.line.recv()
        except (EOFError, OSError) as error:
            self.process.join()
            raise WorkerLost(_ending(self.process.exitcode)) from error
        patience.note(function, time.monotonic() - begun)
        return answer

    def _wait(self, patience: Callable[[], tuple[float, str]], said: str) -> None:
        """Wait for word from the worker; how long one may wait can change meanwhile."""
        begun = time.monotonic()
        while not self.line.poll(min(1.0, max(0.0, begun + patience()[0] - time.monotonic()))):
            seconds, why = patience()
            if time.monotonic() - begun >= seconds:
                self.process.kill()
                self.process.join()
                raise WorkerLost(f"the worker was stopped: it {said} {seconds:.6g} s{why}")

    def finish(self) -> None:
        with suppress(OSError):
            self.line.send_bytes(_NO_MORE)
        self.process.join()


def _ending(code: int | None) -> str:
    if code == -signal.SIGKILL:
        return "the worker process was ended by signal SIGKILL, as a computer does that runs out of memory"
    if code is not None and code < 0:
        return f"the worker process was ended by signal {signal.Signals(-code).name}"
    return f"the worker process ended by itself with status {code}"


def _work(line: Connection) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # A picture's objects refer to each other and go together: looked for every 700, as Python does by itself, they are
    # all still there each time.
    gc.set_threshold(_OBJECTS)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with suppress(EOFError, OSError):  # the parent is gone: so is the work
        line.send_bytes(_WORD)
        while (work := line.recv_bytes()) != _NO_MORE:
            answer = _answer(work, line)
            try:
                line.send(answer)
            except OSError:
                raise
            except Exception as error:  # the answer cannot travel: its error can
                line.send((False, TypeError(f"the answer of a worker must be picklable: {error}")))


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _answer(work: bytes, line: Connection) -> tuple[bool, Any]:
    try:
        try:
            fn, args, kwargs = pickle.loads(work)
        finally:
            line.send_bytes(_WORD)  # what the call needs is imported: from here on patience is measured
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
