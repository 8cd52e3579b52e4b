"""Faults tried for real on studies: kills, signals, flipped bits, a full disk, two processes. Fields are made up.

Each function takes a folder and how much of it to do (1: all), and gives a `Row`: what was tried, how often, what
happened, and what must not have. Seeds are fixed.
"""

from __future__ import annotations

import os
import random
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "study"))
sys.path.insert(0, str(Path(__file__).parent))
from doors import KINDS, tried
from fake_solver import FAKE, MACHINE, PLAN

from polefem.errors import PolefemError, StoreRefused
from polefem.study import Design, InProcess, Record, Status, Store, run_designs
from polefem.units import deg

SEED = 18


@dataclass(frozen=True)
class Row:
    """What was tried, how often, what happened in words, and each thing that must not happen."""

    what: str
    times: int
    found: str
    faults: tuple[str, ...]


PROGRAM = """
    import sys
    sys.path[:0] = {path!r}
    from faults import FAKE, MACHINE, PLAN, deg
    from polefem.command_line import main
    from polefem.study import Study, Variant
    shapes = [Variant(f"v{{k}}", {{"rotor_pole.arc": k / 10 * deg}}) for k in range(320, 350)]
    study = Study("faults", MACHINE, PLAN, shapes)
    if __name__ == "__main__":
        raise SystemExit(main(study, solver=FAKE))
"""
DESIGNS = 30


def designs(count: int) -> list[Design]:
    """Designs that differ in the rotor's arc."""
    arcs = (k / 10 * deg for k in range(320, 320 + count))
    return [Design(f"v{at}", MACHINE, {"rotor_pole.arc": arc}, PLAN) for at, arc in enumerate(arcs)]


def started(folder: Path, seconds: float) -> subprocess.Popen[str]:
    """A study of thirty designs in two workers, as a command of its own."""
    program = folder / "mine.py"
    program.write_text(textwrap.dedent(PROGRAM.format(path=sys.path)))
    environment = {
        **os.environ,
        "FAKE_SOLVER_LOG": str(folder / "log"),
        "FAKE_SOLVER_SECONDS": str(seconds),
    }
    command = [
        sys.executable,
        str(program),
        "--workers",
        "2",
        "--no-pictures",
        "--out",
        str(folder / "there"),
    ]
    pipes: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE, "text": True}
    return subprocess.Popen(command, env=environment, start_new_session=True, **pipes)


def children(process: int) -> list[int]:
    """Processes that the threads of another began."""
    found: list[int] = []
    for task in Path(f"/proc/{process}/task").glob("*/children"):
        try:
            found += map(int, task.read_text().split())
        except OSError:
            continue
    return found


def lives(process: int) -> bool:
    """Whether a process is there and has not ended: one that no one waits for stays listed."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(") ")[2][0] != "Z"
    except OSError:
        return False


def asked(folder: Path) -> list[str]:
    """The designs that a solver was asked for, in order."""
    log = folder / "log"
    return log.read_text().split() if log.exists() else []


def wait_for(folder: Path, process: subprocess.Popen[str], count: int) -> None:
    """Wait until so many designs were begun, or the process is at its end."""
    while process.poll() is None and len(asked(folder)) < count:
        time.sleep(0.01)
    if process.poll() and not asked(folder):
        raise RuntimeError(f"the study failed before a fault was tried: {process.communicate()[1]}")


def whole(folder: Path) -> list[str]:
    """What is wrong with a store that should hold every design."""
    with Store(folder / "there") as store:
        members = store.members("faults")
        outcomes = [store.outcome(member.key) for member in members]
    sound = sum(outcome is not None and outcome.status is Status.SOLVED for outcome in outcomes)
    return [] if sound == len(members) == DESIGNS else [f"{sound} of {DESIGNS} designs are whole"]


def again(folder: Path) -> int:
    """How often a design was begun that had been begun before; beside the study's own the winner joined otherwise."""
    with closing(sqlite3.connect(folder / "there" / "designs.sqlite")) as db:
        (kept,) = db.execute("SELECT count(*) FROM designs").fetchone()
    return len(asked(folder)) - int(kept)


def kills_of_the_main_process(folder: Path, part: float) -> Row:
    """SIGKILL at random moments, and the same command again, until it is left to end."""
    rng, faults, times = random.Random(SEED), [], round(6 * part)
    for _ in range(times):
        before = len(asked(folder))
        process = started(folder, 0.05)
        wait_for(folder, process, before + rng.randint(1, 5))
        time.sleep(rng.random() * 0.1)
        workers = children(process.pid)
        process.kill()
        process.communicate()
        end = time.monotonic() + 10.0
        while any(map(lives, workers)) and time.monotonic() < end:
            time.sleep(0.05)
        faults += ["a worker outlived its parent by 10 s"] * any(map(lives, workers))
    process = started(folder, 0.0)
    _, err = process.communicate(timeout=300)
    faults += [f"the run that was left alone ended with {process.returncode}: {err}"] * (
        process.returncode != 0
    )
    faults += whole(folder)
    twice = again(folder)
    faults += [f"{twice} designs were begun twice by {times} kills"] * (twice > 4 * times)
    return Row("kills of the main process", times, f"all kept; {twice} designs begun again", tuple(faults))


def signals(folder: Path, part: float) -> Row:
    """SIGTERM, SIGHUP and Ctrl-C, to the process or to all of its group, while workers import or compute."""
    rng, faults, late = random.Random(SEED), [], [0.0]
    sent = [
        (number, group)
        for number in (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)
        for group in (False, True)
    ]
    sent = sent[: max(2, round(len(sent) * part))]
    for at, (number, group) in enumerate(sent):
        begun = len(asked(folder))
        process = started(folder, 0.05)
        if at % 2:
            wait_for(folder, process, begun + 2)
        while process.poll() is None and len(children(process.pid)) < 2:  # with workers that still import
            time.sleep(0.01)
        time.sleep(rng.random() * 0.3)
        workers = children(process.pid)
        name, when = signal.Signals(number).name, time.monotonic()
        os.killpg(process.pid, number) if group else process.send_signal(number)
        _, err = process.communicate(timeout=60)
        while any(map(lives, workers)) and time.monotonic() < when + 10.0:
            time.sleep(0.02)
        late.append(time.monotonic() - when)
        faults += [f"{name}: exit status {process.returncode}"] * (process.returncode != 128 + number)
        faults += [f"{name}: a traceback: {err}"] * ("Traceback" in err)
        faults += [f"{name}: not said: {err}"] * ("the same command goes on" not in err)
        faults += [f"{name}: a worker lived on"] * any(map(lives, workers))
    return Row("SIGTERM, SIGHUP, Ctrl-C", len(sent), f"all gone within {max(late):.1f} s", tuple(faults))


def kills_of_workers(folder: Path, part: float) -> Row:
    """SIGKILL to a worker that computes: its design is tried again, and no other is lost."""
    rng, faults, times = random.Random(SEED), [], round(8 * part)
    process = started(folder, 0.2)
    killed = 0
    for at in range(times):
        wait_for(folder, process, 3 * at + 2)
        if workers := [child for child in children(process.pid) if "spawn_main" in _command(child)]:
            os.kill(rng.choice(workers), signal.SIGKILL)
            killed += 1
        time.sleep(0.4)
    _, err = process.communicate(timeout=300)
    lost = err.count("lost")
    faults += [f"ended with {process.returncode}: {err}"] * (process.returncode not in (0, 1))
    faults += [f"more than killed: {err}"] * (lost > killed) + ["a traceback"] * ("Traceback" in err)
    started(folder, 0.0).communicate(timeout=300)
    return Row("kills of workers", killed, "all designs computed in the end", tuple(faults + whole(folder)))


def _command(process: int) -> str:
    try:
        return Path(f"/proc/{process}/cmdline").read_text()
    except OSError:
        return ""


def flipped_bits(folder: Path, part: float) -> Row:
    """A bit of the store or of a map flips between runs: it is seen, or had no effect; it never moves a figure."""
    rng, counts, faults, times = random.Random(SEED), Counter[str](), [], round(400 * part)
    first = folder / "first"
    some = designs(6)
    with Store(first) as store:
        reference = _shown(run_designs("faults", some, store, InProcess(), solver=FAKE))
    for at in range(times):
        place = folder / "flipped"
        shutil.rmtree(place, ignore_errors=True)
        shutil.copytree(first, place)
        files = [place / "designs.sqlite"] if at % 5 else sorted((place / "maps").iterdir())
        file = rng.choice(files)
        data = bytearray(file.read_bytes())
        where = rng.randrange(len(data) * 8)
        data[where // 8] ^= 1 << where % 8
        file.write_bytes(data)
        end = _after(place, some, reference)
        counts[end] += 1
        if end.startswith("fault"):
            faults.append(f"bit {where} of {file.name}: {end}")
    found = ", ".join(f"{number} {end}" for end, number in counts.most_common())
    return Row("bits flipped in a store", times, found, tuple(faults))


def _shown(records: list[Record]) -> list[Any]:
    maps = [record.outcome.flux_map for record in records]
    return [
        (r.name, r.status, r.figures, m and m.torque.tobytes()) for r, m in zip(records, maps, strict=True)
    ]


class _Remarks:
    """A watcher that keeps what is remarked."""

    def __init__(self) -> None:
        self.said, self.computed = list[str](), 0

    def begin(self, total: int) -> None: ...
    def record(self, record: Record, computed: bool) -> None:
        self.computed += computed

    def remark(self, said: str) -> None:
        self.said.append(said)

    def still(self) -> None: ...
    def end(self) -> None: ...


def _after(place: Path, some: list[Design], reference: list[Any]) -> str:
    """How a run over a damaged store ends."""
    heard = _Remarks()
    try:
        with Store(place) as store:
            shown = _shown(run_designs("faults", some, store, InProcess(), solver=FAKE, watcher=heard))
            for member in store.members("faults"):
                store.outcome(member.key)
    except StoreRefused:
        return "refused in a sentence"
    except PolefemError as error:
        return f"fault: {error}"
    except Exception as error:
        return f"fault: {type(error).__name__}: {error}"
    if shown != reference:
        return "fault: figures moved in silence"
    if heard.said:
        return "computed again and said"
    return "computed again" if heard.computed else "without effect"


def a_full_disk(folder: Path, part: float) -> Row:
    """No file may grow past a size: what was kept is there, the run says so, and goes on where there is room."""
    rng, faults, times = random.Random(SEED), [], round(4 * part)
    for at in range(times):
        place = folder / str(at)
        place.mkdir(parents=True)
        limit = rng.randrange(20_000, 200_000)
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, before[1]))  # the command inherits it
        try:
            process = started(place, 0.0)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
        _, err = process.communicate(timeout=120)
        faults += [f"{limit} bytes: a traceback: {err}"] * ("Traceback" in err)
        faults += [f"{limit} bytes: ended with {process.returncode}: {err}"] * (
            process.returncode not in (0, 1)
        )
        process = started(place, 0.0)
        _, err = process.communicate(timeout=120)
        faults += [f"with room: {process.returncode}: {err}"] * (process.returncode != 0) + whole(place)
    return Row("a full disk", times, "said; the same command went on", tuple(faults))


def two_processes(folder: Path, part: float) -> Row:
    """Two commands on one store at once: each design is computed by one of them."""
    faults, times, twice = [], max(1, round(3 * part)), 0
    for at in range(times):
        place = folder / str(at)
        place.mkdir(parents=True)
        both = [started(place, 0.1), started(place, 0.1)]
        errors = [process.communicate(timeout=300)[1] for process in both]
        faults += [err for process, err in zip(both, errors, strict=True) if process.returncode != 0]
        twice += again(place)
        faults += whole(place)
    faults += [f"{twice} designs were computed twice"] * (twice != 0)
    return Row("two processes on one store", times, f"{twice} designs computed twice", tuple(faults))


def hostile_input(folder: Path, part: float) -> Row:
    """Machine files, curves, map files and names: each ends in a sentence or a value."""
    total, faults = Counter[str](), []
    for kind in KINDS:
        counts, found = tried(kind, folder / kind, SEED, part)
        total += counts
        faults += found
    found_in_words = f"{total['a sentence']} ended in a sentence, {total['a value']} in a value"
    return Row("hostile input at the doors", total.total(), found_in_words, tuple(faults))


ALL: tuple[Callable[[Path, float], Row], ...] = (
    *(
        kills_of_the_main_process,
        signals,
        kills_of_workers,
        flipped_bits,
        a_full_disk,
        two_processes,
        hostile_input,
    ),
)
