"""How far a study is: a bar in a terminal, a line a minute in a log."""

from __future__ import annotations

import time
from collections import Counter
from typing import TextIO

from tqdm import tqdm

from polefem.study.record import Record, Status

__all__ = ["ProgressBar"]

_EVERY = 60.0  # s between lines where the output is not a terminal


class ProgressBar:
    """Shows designs done, refused and failed, and the time left, on a stream that need not be a terminal.

    total: where designs come in several lots, how many are expected in all; then call `close` after the last.
    """

    def __init__(self, stream: TextIO, label: str, total: int | None = None) -> None:
        self._stream = stream
        self._expected = total
        self._label = label
        self._bar: tqdm | None = None
        self._counts: Counter[str] = Counter()
        self._total = 0
        self._begun = self._said = 0.0

    def begin(self, total: int) -> None:
        """There are so many designs."""
        if self._expected is not None and self._begun:
            return
        self._total, self._begun = self._expected or total, time.monotonic()
        self._said = self._begun
        if self._stream.isatty():
            self._bar = tqdm(
                total=self._total, desc=self._label, file=self._stream, unit="design", dynamic_ncols=True
            )

    def record(self, record: Record, computed: bool) -> None:
        """A design is done: computed now, or found in the store."""
        self._counts.update([record.status.value, "computed" if computed else "found"])
        done = self._counts["computed"] + self._counts["found"]
        if self._bar is not None:
            self._bar.set_postfix_str(self._said_of_statuses(), refresh=False)
            self._bar.update()
        elif done == self._total:
            self._line()
        else:
            self.still()

    def remark(self, said: str) -> None:
        """Something that a person should know, on a line of its own."""
        if self._bar is not None:
            self._bar.clear()
        self._stream.write(f"{self._label}: {said}\n")
        self._stream.flush()

    def still(self) -> None:
        """The run goes on: the bar's clock too, and in a log a line where the last is a minute old."""
        if self._bar is not None:
            if time.monotonic() - self._said >= 1.0:
                self._said = time.monotonic()
                self._bar.refresh()
        elif time.monotonic() - self._said >= _EVERY:
            self._line()

    def end(self) -> None:
        """No more will come of this lot."""
        if self._expected is None:
            self.close()

    def close(self) -> None:
        """No more will come at all."""
        if self._bar is not None:
            self._bar.close()

    def _line(self) -> None:
        self._said = time.monotonic()
        done = self._counts["computed"] + self._counts["found"]
        more = done - self._total  # a search tries some designs once more, in another way
        counted = (
            f"{done} designs, {more} more than planned" if more > 0 else f"{done} of {self._total} designs"
        )
        said = f"{counted}, {self._said_of_statuses()}, {self._time_left(done)}"
        self._stream.write(f"{self._label}: {said}\n")
        self._stream.flush()

    def _said_of_statuses(self) -> str:
        failed = self._counts[Status.FAILED.value] + self._counts[Status.LOST.value]
        parts = [f"{self._counts[Status.REFUSED.value]} refused", f"{failed} failed"]
        if self._counts["found"]:
            parts.append(f"{self._counts['found']} from the store")
        return ", ".join(parts)

    def _time_left(self, done: int) -> str:
        spent = time.monotonic() - self._begun
        computed = self._counts["computed"]
        if done > self._total or (not computed and done < self._total):
            return f"{spent:.0f} s spent"
        left = (self._total - done) * spent / computed if computed else 0.0
        return f"{spent:.0f} s spent, about {left:.0f} s left"
