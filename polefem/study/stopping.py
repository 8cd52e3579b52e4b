"""Being stopped: what a batch queue, a container or a closed terminal sends ends a run as Ctrl-C does."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

_Handler = Callable[[int, FrameType | None], Any] | int

__all__ = ["Stopped", "stoppable", "undisturbed"]


class Stopped(KeyboardInterrupt):
    """A signal asked this process to end. name: of the signal. status: what the process is to exit with."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.name = signal.Signals(number).name
        self.status = 128 + number


@contextmanager
def stoppable() -> Iterator[None]:
    """SIGTERM and SIGHUP raise Stopped where they would end the process at once, its workers left behind.

    One that is ignored (`nohup`) or handled by another stays so; so do both away from the main thread.
    """
    with _handled(_stop, lambda before: before is signal.SIG_DFL, signal.SIGTERM, signal.SIGHUP):
        yield


@contextmanager
def undisturbed() -> Iterator[None]:
    """No signal that stops a process cuts the block short: for the end of the work itself, which is brief."""
    with _handled(signal.SIG_IGN, lambda before: True, signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        yield


def _stop(number: int, _: FrameType | None) -> None:
    raise Stopped(number)


@contextmanager
def _handled(
    handler: _Handler, where: Callable[[_Handler], bool], *numbers: signal.Signals
) -> Iterator[None]:
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {number: signal.getsignal(number) for number in numbers}
    taken = {number: was for number, was in before.items() if was is not None and where(was)}
    for number in taken:
        signal.signal(number, handler)
    try:
        yield
    finally:
        for number, was in taken.items():
            signal.signal(number, was)
