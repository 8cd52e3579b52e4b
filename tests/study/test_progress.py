"""Progress as it is read: a bar in a terminal, a line a minute elsewhere."""

from __future__ import annotations

import io

import pytest

from polefem.study import Outcome, ProgressBar, Record, Status, progress


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def record(status: Status) -> Record:
    return Record("one", "key", {}, Outcome(status, "a reason"))


def feed(bar: ProgressBar, statuses: list[Status], computed: bool = True) -> None:
    bar.begin(len(statuses))
    for status in statuses:
        bar.record(record(status), computed)
    bar.end()


def test_a_terminal_gets_a_bar_with_counts() -> None:
    stream = Terminal()
    feed(ProgressBar(stream, "wheel"), [Status.REFUSED, Status.LOST, Status.REFUSED])
    last = stream.getvalue().split("\r")[-1]
    assert "wheel" in last and "3/3" in last and "2 refused, 1 failed" in last


def test_elsewhere_it_is_one_line_a_minute(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [1000.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    stream = io.StringIO()
    bar = ProgressBar(stream, "wheel")
    bar.begin(10)
    for at in range(10):
        now[0] += 25.0
        bar.record(record(Status.FAILED), computed=at > 1)
    lines = stream.getvalue().splitlines()
    assert len(lines) == 4  # at 75, 150, 225 s, and when done
    assert (
        lines[0]
        == "wheel: 3 of 10 designs, 0 refused, 3 failed, 2 from the store, 75 s spent, about 525 s left"
    )
    assert lines[-1].startswith("wheel: 10 of 10 designs")


def test_lots_of_one_search_are_one_bar() -> None:
    stream = io.StringIO()
    bar = ProgressBar(stream, "search", total=4)
    for _ in range(2):
        feed(bar, [Status.FAILED, Status.FAILED], computed=True)
    bar.close()
    assert stream.getvalue().splitlines() == [
        "search: 4 of 4 designs, 0 refused, 4 failed, 0 s spent, about 0 s left"
    ]


def test_more_designs_than_planned_take_no_time_below_nought(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [1000.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    stream = io.StringIO()
    bar = ProgressBar(stream, "search", total=4)
    for _ in range(2):
        now[0] += 100.0
        feed(bar, [Status.SOLVED, Status.FAILED, Status.SOLVED])
    now[0] += 100.0
    bar.still()
    told = stream.getvalue().splitlines()
    assert told[-1] == "search: 6 designs, 2 more than planned, 0 refused, 2 failed, 200 s spent"
    assert "4 of 4 designs" in stream.getvalue()


def test_a_log_shows_a_sign_of_life_while_no_design_is_done(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [1000.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    stream = io.StringIO()
    bar = ProgressBar(stream, "wheel")
    bar.begin(10)
    for _ in range(250):
        now[0] += 0.5
        bar.still()
    bar.remark("what was kept of 'plain' is damaged: it is computed again")
    first, second, third = stream.getvalue().splitlines()
    assert first == "wheel: 0 of 10 designs, 0 refused, 0 failed, 60 s spent"
    assert second.endswith("120 s spent")
    assert third == "wheel: what was kept of 'plain' is damaged: it is computed again"
