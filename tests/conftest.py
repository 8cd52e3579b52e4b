"""The record: checks against published numbers note what they found, or find their noted row stale."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.record.check import Check, Row, fresh, load_rows, save_rows

Record = Callable[..., None]

_NOTED = pytest.StashKey[dict[tuple[str, str], Row]]()
_NEW = pytest.StashKey[list[Row]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--note-record",
        action="store_true",
        help="write what checks against published numbers find into tests/record/rows.json",
    )


def pytest_configure(config: pytest.Config) -> None:
    if config.getoption("--note-record") and (
        hasattr(config, "workerinput") or config.getoption("numprocesses", None)
    ):
        raise pytest.UsageError("--note-record writes one file: run without -n")
    config.stash[_NOTED], config.stash[_NEW] = load_rows(), []


def pytest_sessionfinish(session: pytest.Session) -> None:
    if session.config.stash.get(_NEW, []):
        save_rows(session.config.stash[_NEW])


@pytest.fixture
def record(request: pytest.FixtureRequest) -> Record:
    """Assert a `Check` and leave its row: `record(check, found, broken)`.

    broken: what a deliberately wrong way finds; a check that lets it pass is worth nothing, and fails. The row's limit
    is the assertion itself. Without --note-record the row must be the committed one, beyond rounding.
    """
    slow = request.node.get_closest_marker("slow") is not None
    test = f"{request.node.location[0]}::{request.node.originalname}"
    config = request.config

    def note(check: Check, found: float, broken: float) -> None:
        what = f"{check.case}, {check.quantity}"
        assert check.passes(found), f"{what}: {found:.6g} is off by {check.difference(found):+.3g}"
        assert not check.passes(broken), f"{what}: the check lets {broken:.6g} pass"
        row = Row.of(check, found, test, slow)
        if config.getoption("--note-record"):
            config.stash[_NEW].append(row)
            return
        noted = config.stash[_NOTED].get(row.key)
        assert noted is not None and fresh(row, noted), (
            f"{what}: the record has {noted and noted.computed!r}, now it is {row.computed!r}; if that is right, "
            f"run `pytest {test} --note-record` and `python tests/record/page.py`"
        )

    return note
