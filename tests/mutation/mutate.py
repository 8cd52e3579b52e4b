"""Change one operator at a time in the computing rooms, and see whether the room's own quick tests notice.

    OMP_NUM_THREADS=1 nice .venv/bin/python tests/mutation/mutate.py --count 300 --workers 2 | tee log.txt
    ... --count 300 --rooms copper gap           # of the same 300, those of two rooms: parts add up to the whole
    ... --count 300 --after log.txt              # of the same 300, those that were not tried when that was stopped
    ... --count 300 --again log.txt              # of the same 300, those that no test noticed then

+ and -, * and /, < and <=, > and >= change places, at places drawn with a fixed seed. It works on a copy of the
checkout, tells each change as it was tried, one that no test noticed with its line, and how many did.
`without_effect.txt` lists, under their reasons, changes that were looked at and move no result (guards, starting
guesses, cosmetics): they are left out of the share.

Of a room's tests and the examples of its docstrings those are run that came by the changed statement (pytest-cov's
contexts), then, if those notice nothing, the rest of their files; where none is known to have, as in compiled
functions, other processes and constants, all of them are. (Compiled functions are compiled anew, 19 s: with
NUMBA_DISABLE_JIT the tests of `drive` were not through in four times as long as they take with it.)
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue
from xml.etree import ElementTree

from coverage import CoverageData

ROOT = Path(__file__).parents[2]
# Rooms that compute, and the tests that should notice: those of the room and those that hold its numbers.
ROOMS = {
    "copper": "copper",
    "drive": "drive study/test_at_the_shaft.py",
    "estimates": "estimates",
    "field": "field",
    "forces": "forces",
    "gap": "gap field/test_gap_sizes.py",
    "maps": "maps",
    "materials": "materials",
    "measured": "measured published/test_rig_corrected.py",
    "mesher": "mesher",
    "model": "model",
    "outline": "outline",
    "ranking": "ranking",
    "ring": "ring",
    "shapes": "shapes",
    "slopes": "slopes",
    "solve": "solve",
    "sweep": "sweep maps",
    "study": "study/test_pipeline.py study/test_operating_points.py study/test_tolerances.py study/test_sampling.py "
    "study/test_surrogate.py study/test_sensitivity.py study/test_search.py study/test_at_the_shaft.py "
    "study/test_exact_effects.py study/test_first_order.py study/test_gradient.py study/test_tightness.py",
}
# Of study, the modules that compute; the others are tried by the faults.
STUDY = {
    "at_the_shaft",
    "basis",
    "exact_effects",
    "first_order",
    "gradient",
    "linear_model",
    "objectives",
    "operating_points",
    "operation",
    "pipeline",
    "proposals",
    "sampling",
    "searching",
    "sensitivity",
    "slopes",
    "surrogate",
    "tightness",
    "tolerances",
}
SWAPS: dict[type[ast.AST], tuple[str, str]] = {
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
    ast.Lt: ("<", "<="),
    ast.LtE: ("<=", "<"),
    ast.Gt: (">", ">="),
    ast.GtE: (">=", ">"),
}
# A change under which tests take so many times as long, and so many seconds more, hangs them.
SLOWER, MORE = 4.0, 60.0
LEFT_OUT = (".venv", ".git", "build", ".*_cache", "results")  # of the checkout, in copies of it
NOTICED, NOT_NOTICED = "noticed ", "NOT     "


@dataclass(frozen=True)
class Change:
    """One operator in a file: where it begins, what it is, and what it becomes."""

    file: str
    line: int
    column: int
    old: str
    new: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column} {self.old} to {self.new}"

    @property
    def room(self) -> str:
        return Path(self.file).parts[1].removesuffix(".py")

    def applied(self, source: str) -> str:
        """The file with the change in it."""
        lines = source.split("\n")
        line = lines[self.line - 1].encode()
        lines[self.line - 1] = (
            line[: self.column] + self.new.encode() + line[self.column + len(self.old) :]
        ).decode()
        return "\n".join(lines)


def changes_in(file: str, source: str) -> Iterator[Change]:
    """Every change that can be made to a file, in order; text and annotations are left alone."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.BinOp):
            operators: list[tuple[ast.expr, ast.AST, ast.expr]] = [(node.left, node.op, node.right)]
        elif isinstance(node, ast.Compare):
            operators = list(
                zip([node.left, *node.comparators[:-1]], node.ops, node.comparators, strict=True)
            )
        else:
            continue
        for left, operator, right in operators:
            if type(operator) in SWAPS and (found := _between(source, left, right, SWAPS[type(operator)][0])):
                yield Change(file, *found, *SWAPS[type(operator)])


def _between(source: str, left: ast.expr, right: ast.expr, text: str) -> tuple[int, int] | None:
    """Line and column of an operator between two operands; brackets and comments may lie there too."""
    lines = source.split("\n")
    line, column = left.end_lineno or 0, left.end_col_offset or 0
    while (line, column) < (right.lineno, right.col_offset):
        row = lines[line - 1].encode()
        end = right.col_offset if line == right.lineno else len(row)
        at = row[column:end].split(b"#")[0].find(text.encode())
        if at >= 0:
            return line, column + at
        line, column = line + 1, 0
    return None


def every_change() -> list[Change]:
    """Every change that can be made to the computing rooms."""
    found: list[Change] = []
    for path in sorted((ROOT / "polefem").rglob("*.py")):
        file = path.relative_to(ROOT).as_posix()
        room = Path(file).parts[1].removesuffix(".py")
        if room in ROOMS and (room != "study" or path.stem in STUDY):
            found += changes_in(file, path.read_text("utf-8"))
    return found


def passes(tests: Sequence[str], copy: Path, seconds: float | None = None) -> bool:
    """Whether tests pass in a copy of the checkout, within a time."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
    environment = {
        **os.environ,
        "PYTHONPATH": str(copy),
        "PYTHONDONTWRITEBYTECODE": "1",
        "OMP_NUM_THREADS": "1",
    }
    quiet = subprocess.DEVNULL
    try:
        ended = subprocess.run(
            command, cwd=copy, env=environment, timeout=seconds, stdout=quiet, stderr=quiet
        )
        return ended.returncode == 0
    except subprocess.TimeoutExpired:
        return False


def noticed(change: Change, tests: Sequence[str], rest: Sequence[str], copy: Path, seconds: float) -> bool:
    """Whether tests fail, or hang, with a change in a copy of the checkout; else, whether the rest do."""
    path = copy / change.file
    source, stamp = path.read_text("utf-8"), path.stat()
    path.write_text(change.applied(source), "utf-8")
    try:
        return not (passes(tests, copy, seconds) and (not rest or passes(rest, copy, seconds)))
    finally:
        path.write_text(source, "utf-8")
        os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))  # what was compiled of it is good still


def _tests(room: str) -> list[str]:
    """A room's tests and the examples of its docstrings."""
    own = f"polefem/{room}"
    return [*(f"tests/{part}" for part in ROOMS[room].split()), own]


@dataclass(frozen=True)
class Unchanged:
    """Of a room's tests as the program is: seconds of all together and of each, and who came by which line."""

    seconds: float
    each: dict[str, float]
    came_by: CoverageData

    def tests(self, change: Change, copy: Path) -> list[str]:
        """The tests that came by the statement of a change, else all; the quick ones first."""
        path = copy / change.file
        self.came_by.set_query_contexts(None)
        contexts = self.came_by.contexts_by_lineno(str(path))
        lines = _statement(path.read_text("utf-8"), change.line)
        found = {context for line in lines for context in contexts.get(line, [])}
        tests = {context.partition("|")[0] for context in found if context}
        return sorted(
            tests if tests and "" not in found else self.each, key=lambda test: self.each.get(test, 0.0)
        )

    def rest(self, tests: Sequence[str]) -> list[str]:
        """The whole files of some of the tests, as what one test computed may be kept for all; none where all ran."""
        return sorted({test.partition("::")[0] for test in tests}) if len(tests) < len(self.each) else []


def _statement(source: str, line: int) -> range:
    """Lines of the smallest statement round a line."""
    around = [
        range(node.lineno, (node.end_lineno or node.lineno) + 1)
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.stmt) and node.lineno <= line <= (node.end_lineno or node.lineno)
    ]
    return min(around, key=len)


def unchanged(room: str, copy: Path) -> Unchanged:
    """How a room's tests go as the program is; a room whose tests fail then can tell nothing."""
    begun, times = time.monotonic(), copy / "times.xml"
    watched = ("--cov", "polefem", "--cov-context", "test", "--cov-report", "", "--junitxml", str(times))
    if not passes([*_tests(room), *watched], copy):
        raise SystemExit(f"the tests of {room} fail without a change")
    kept = copy / f"{room}.coverage"  # not .coverage.*: the next run would take such files in
    (copy / ".coverage").rename(kept)
    data = CoverageData(str(kept))
    data.read()
    each = {
        f"{case.attrib['classname'].replace('.', '/')}.py::{case.attrib['name']}": float(case.attrib["time"])
        for case in ElementTree.parse(times).iter("testcase")
    }
    return Unchanged(time.monotonic() - begun, each, data)


def drawn(count: int, seed: int) -> list[Change]:
    """Changes to try, room by room: the same ones whichever rooms are then asked for. Within a room they stay in the
    order of the draw, so that what was tried when the time was up is a fair sample too."""
    pool = every_change()
    found = random.Random(seed).sample(pool, min(count, len(pool)))
    return sorted(found, key=lambda change: list(ROOMS).index(change.room))


def becomes(change: Change) -> str:
    """The file and the line as the change leaves it: what a list knows a change by, wherever its line moves."""
    changed = change.applied((ROOT / change.file).read_text("utf-8"))
    return f"{change.file}: {changed.split(chr(10))[change.line - 1].strip()}"


def try_room(room: str, changes: Sequence[Change], copies: SimpleQueue[Path], workers: int) -> Counter[bool]:
    """Try a room's changes, tell how each went, and how many were noticed and how many not."""
    copy = copies.get()
    before = unchanged(room, copy)
    tests = {change: before.tests(change, copy) for change in changes}
    copies.put(copy)
    print(f"{room}: its tests take {before.seconds:.0f} s, {len(changes)} changes", flush=True)

    def tried(change: Change) -> bool:
        copy = copies.get()
        try:
            rest = before.rest(tests[change])
            was = noticed(change, tests[change], rest, copy, SLOWER * before.seconds + MORE)
        finally:
            copies.put(copy)
        print(f"{NOTICED}{change}" if was else f"{NOT_NOTICED}{becomes(change)}\n  {change}", flush=True)
        return was

    with ThreadPoolExecutor(workers) as threads:
        return Counter(threads.map(tried, changes))


def main() -> None:
    parser = argparse.ArgumentParser(description="Change operators and see whether tests notice.")
    parser.add_argument("--count", type=int, default=300, help="changes drawn over all rooms")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rooms", nargs="*", default=list(ROOMS), help="those whose changes are tried")
    parser.add_argument("--after", type=Path, help="what a trial said that was cut short: go on from there")
    parser.add_argument("--again", type=Path, help="what an earlier trial said: try what it did not notice")
    options = parser.parse_args()
    listed = (Path(__file__).parent / "without_effect.txt").read_text("utf-8").splitlines()
    known = {line for line in listed if line and not line.startswith("#")}
    changes = [change for change in drawn(options.count, options.seed) if change.room in options.rooms]
    if options.after:
        told = {line.rpartition("  ")[2] for line in options.after.read_text("utf-8").splitlines()}
        told |= {line.removeprefix(NOTICED) for line in told}
        changes = [change for change in changes if str(change) not in told]
    if options.again:
        said = options.again.read_text("utf-8").splitlines()
        kept = {line.removeprefix(NOT_NOTICED) for line in said if line.startswith(NOT_NOTICED)}
        changes = [change for change in changes if becomes(change) in kept]
    moving = [change for change in changes if becomes(change) not in known]
    together: Counter[bool] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        copies: SimpleQueue[Path] = SimpleQueue()
        for at in range(options.workers):
            shutil.copytree(ROOT, Path(folder) / str(at), ignore=shutil.ignore_patterns(*LEFT_OUT))
            copies.put(Path(folder) / str(at))
        for room in dict.fromkeys(change.room for change in moving):
            of_room = [change for change in moving if change.room == room]
            counts = try_room(room, of_room, copies, options.workers)
            together += counts
            print(f"{room}: {counts[True]} of {counts.total()} noticed", flush=True)
    print(
        f"together: {together[True]} of {together.total()} noticed, {len(changes) - len(moving)} without effect"
    )


if __name__ == "__main__":
    main()
