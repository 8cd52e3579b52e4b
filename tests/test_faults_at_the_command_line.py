"""Stopped, without room, without a reader: what the command line does where something outside of it goes wrong."""

from __future__ import annotations

import csv
import os
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest

from polefem.command_line import main
from polefem.errors import InvalidValue
from polefem.study import InProcess, Study, Variant

sys.path.insert(0, str(Path(__file__).parent / "study"))
from fake_solver import FAKE, MACHINE, PLAN

NUMBERS_ONLY = ["--workers", "1", "--no-pictures"]
FILE = """
    import sys
    sys.path[:0] = {path!r}
    from fake_solver import FAKE, MACHINE, PLAN
    from polefem import main
    from polefem.study import Study, Variant
    from polefem.units import deg
    shapes = [Variant(f"v{{k}} \\u03b1", {{"rotor_pole.arc": k * deg}}) for k in range(32, 44)]
    study = Study("mine", MACHINE, PLAN, shapes)
    if __name__ == "__main__":
        raise SystemExit(main(study, solver=FAKE))
"""


@pytest.fixture(autouse=True)
def apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Results go where the test can see them."""
    monkeypatch.chdir(tmp_path)


def started(
    tmp_path: Path, seconds: float = 0.0, shell: str = "", before: str = "", **environment: str
) -> subprocess.Popen[str]:
    """The study, as a person starts it; shell, before: what is put after and before the command."""
    path = [str(Path(__file__).parent / "study"), *sys.path]
    (tmp_path / "mine.py").write_text(textwrap.dedent(FILE.format(path=path)), "utf-8")
    command = f"{before}exec {sys.executable} mine.py --workers 2 --no-pictures --out there {shell}"
    log = {"FAKE_SOLVER_SECONDS": str(seconds), "FAKE_SOLVER_LOG": str(tmp_path / "log")}
    pipes: dict[str, Any] = {
        "stdout": subprocess.PIPE,
        "stderr": subprocess.PIPE,
        "text": True,
        "errors": "replace",
    }
    environment = {**os.environ, **log, **environment}
    return subprocess.Popen(["sh", "-c", command], env=environment, start_new_session=True, **pipes)


def at_work(tmp_path: Path, process: subprocess.Popen[str]) -> list[int]:
    """The workers, as soon as four designs were begun."""
    log = tmp_path / "log"
    while process.poll() is None and (not log.exists() or len(log.read_text().split()) < 4):
        time.sleep(0.02)
    tasks = Path(f"/proc/{process.pid}/task").iterdir()
    return [int(number) for task in tasks for number in (task / "children").read_text().split()]


def lives(process: int) -> bool:
    """Whether a process is there and has not ended: one that no one waits for stays listed."""
    with suppress(OSError):
        return Path(f"/proc/{process}/stat").read_text().rpartition(") ")[2][0] != "Z"
    return False


@pytest.mark.parametrize("sent", [signal.SIGTERM, signal.SIGHUP])
def test_stopped_by_a_signal_its_workers_are_gone_and_it_goes_on(
    tmp_path: Path, sent: signal.Signals
) -> None:
    process = started(tmp_path, 0.3)
    workers = at_work(tmp_path, process)
    assert len(workers) >= 2
    process.send_signal(sent)  # to the main process alone, as a batch queue may do
    _, err = process.communicate(timeout=60)
    assert process.returncode == 128 + sent
    assert (
        f"Stopped by {sent.name}. What was computed is kept in there; the same command goes on from there."
        in err
    )
    assert "Traceback" not in err
    end = time.monotonic() + 2.0
    while any(map(lives, workers)) and time.monotonic() < end:
        time.sleep(0.05)
    assert not any(map(lives, workers))
    process = started(tmp_path)
    out, err = process.communicate(timeout=120)
    assert process.returncode == 0 and "from the store" in err and "v43" in out


def test_a_signal_that_is_ignored_stays_ignored(tmp_path: Path) -> None:
    process = started(tmp_path, 0.1, before="trap '' HUP; ")
    at_work(tmp_path, process)
    process.send_signal(signal.SIGHUP)
    _, err = process.communicate(timeout=120)
    assert process.returncode == 0, err


@pytest.mark.parametrize(
    ("shell", "environment", "status"),
    [
        ("", {"PYTHONIOENCODING": "latin-1"}, 0),
        ("", {"PYTHONIOENCODING": "ascii"}, 0),
        ("2>&-", {}, 0),
        (">&-", {}, 0),
        (">&- 2>&-", {}, 0),
        ("2>/dev/full", {}, 0),
        (">/dev/full", {}, 1),
    ],
)
def test_a_stream_that_cannot_be_written_costs_no_file(
    tmp_path: Path, shell: str, environment: dict[str, str], status: int
) -> None:
    process = started(tmp_path, 0.0, shell, **environment)
    _, err = process.communicate(timeout=120)
    assert process.returncode == status, err
    assert "Traceback" not in err and "Exception ignored" not in err
    if status:
        assert "results could not be printed" in err and "; they are in there" in err
    assert {path.name for path in (tmp_path / "there").iterdir() if path.is_file()} >= {
        *("ranking.txt", "ranking.csv", "records.json", "first.toml")
    }
    assert "v43 \u03b1" in (tmp_path / "there" / "ranking.csv").read_text("utf-8")
    assert not list((tmp_path / "there").rglob(".part*"))


def test_a_store_that_is_refused_is_not_said_to_go_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with closing(sqlite3.connect(tmp_path / "designs.sqlite")) as db:
        db.execute("CREATE TABLE recipes (name TEXT)")
    assert main(Study("s", MACHINE, PLAN, [Variant("v")]), [*NUMBERS_ONLY, "--out", "."], FAKE) == 1
    err = capsys.readouterr().err
    assert "a database of another program" in err and "--store or --out" in err
    assert "goes on" not in err and not (tmp_path / "maps").exists()


@pytest.mark.parametrize("name", ["../../../x", "/tmp/x", "..", "a/b", "x" * 400])
def test_a_study_s_name_is_no_path(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    deep = tmp_path / "a" / "b" / "c"
    deep.mkdir(parents=True)
    monkeypatch.chdir(deep)
    assert main(Study(name, MACHINE, PLAN, [Variant("v")]), NUMBERS_ONLY, FAKE) == 0
    (folder,) = (deep / "results").iterdir()
    assert (folder / "ranking.csv").is_file()
    assert {path.name for path in tmp_path.iterdir()} == {"a"}
    assert {path.name for path in deep.iterdir()} == {"results"}


@pytest.mark.parametrize("name", ["", " ", "a\nb", "\x1b[2Jgone", "a\u202eb", "tab\t", 5, None])
def test_names_that_cannot_be_printed_are_refused(name: Any) -> None:
    for make in (lambda: Variant(name), lambda: Study(name, MACHINE, PLAN, [Variant("v")])):
        with pytest.raises(
            InvalidValue, match=r"has a name: name is .*, allowed is text that can be printed on one line"
        ):
            make()


def test_names_are_no_formulas_and_no_markup(tmp_path: Path) -> None:
    names = ["=cmd|' /C calc'!A0", "+1+1", "@x", "<script>alert(1)</script>", "-2 deg"]
    some = Study(
        "s", MACHINE, PLAN, [Variant(name, {"air_gap": 4e-4 + at * 1e-6}) for at, name in enumerate(names)]
    )
    assert main(some, ["--workers", "1", "--out", "there", "--drawn", "1"], FAKE) == 0
    rows = csv.DictReader((tmp_path / "there" / "ranking.csv").read_text("utf-8").splitlines())
    shown = {row["name"] for row in rows}
    assert shown == {"'=cmd|' /C calc'!A0", "'+1+1", "'@x", "<script>alert(1)</script>", "-2 deg"}
    for page in ("report.html", "report.md"):
        text = (tmp_path / "there" / page).read_text("utf-8")
        assert "<script>alert" not in text and "alert(1)" in text


@pytest.mark.parametrize("option", ["--workers", "--patience"])
def test_an_executor_that_is_handed_in_has_its_own_workers(
    option: str, capsys: pytest.CaptureFixture[str]
) -> None:
    some = Study("s", MACHINE, PLAN, [Variant("v")])
    assert main(some, [option, "3", "--no-pictures"], FAKE, InProcess()) == 2
    name = option.removeprefix("--")
    assert f"an executor that is handed in has workers of its own: {name} is 3" in capsys.readouterr().err


def test_a_folder_that_became_full_while_results_were_written_leaves_the_old_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    some = Study("s", MACHINE, PLAN, [Variant("v")])
    assert main(some, [*NUMBERS_ONLY, "--out", "there"], FAKE) == 0
    before = (tmp_path / "there" / "ranking.csv").read_text()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    assert main(some, [*NUMBERS_ONLY, "--out", "there"], FAKE) == 1
    assert "No space left on device" in capsys.readouterr().err
    assert (tmp_path / "there" / "ranking.csv").read_text() == before
    assert not list((tmp_path / "there").rglob(".part*"))
