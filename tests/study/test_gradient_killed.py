"""A search along slopes that is killed goes on where it was."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from polefem.study import run_search
from tests.study.test_gradient import run_in, search

ROOT = Path(__file__).parents[2]
SEARCH = """
import sys
from pathlib import Path
from tests.study.test_gradient import run_in, search
from polefem.study import run_search
run_search(search(), run_in(Path(sys.argv[1]), []))
"""


def solved_in(folder: Path) -> set[str]:
    """Keys of the designs that a store holds, as another process sees it; none before it is made."""
    try:
        with closing(sqlite3.connect(f"file:{folder / 'designs.sqlite'}?mode=ro", uri=True)) as db:
            return {key for (key,) in db.execute("SELECT key FROM designs WHERE status = 'solved'")}
    except sqlite3.OperationalError:
        return set()


@pytest.mark.slow
def test_what_was_computed_before_a_kill_is_not_computed_again(tmp_path: Path) -> None:
    folder = tmp_path / "kept"
    process = subprocess.Popen([sys.executable, "-c", SEARCH, str(folder)], cwd=ROOT)
    while process.poll() is None and len(solved_in(folder)) < 2:
        time.sleep(0.1)
    process.send_signal(signal.SIGKILL)
    assert process.wait() == -signal.SIGKILL
    before = solved_in(folder)
    computed: list[str] = []
    records = run_search(search(), run_in(folder, computed))
    known = [record for record in records if record.key in before]
    assert len(known) >= 2 and not {record.name for record in known} & set(computed)
    assert records[-1].name.endswith("| finer mesh") and records[-1].figures is not None
    # Without what was kept, they would be computed.
    afresh: list[str] = []
    run_search(search(evaluations=4), run_in(tmp_path / "afresh", afresh))
    assert known[0].name in afresh
