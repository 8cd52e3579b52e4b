"""Change one operator at a time in the computing rooms, and see whether the room's own quick tests notice.

    OMP_NUM_THREADS=1 nice .venv/bin/python tests/mutation/mutate.py --count 300 --minutes 60 --workers 2

+ and -, * and /, < and <=, > and >= change places, at places drawn with a fixed seed. It works on a copy of the
checkout, tells each change that no test noticed with its line, and how many did. `without_effect.txt` lists changes
that were looked at and move no result (guards, starting guesses, cosmetics): they are left out of the share.

Of a room's tests those are run that came by the changed statement (pytest-cov's contexts); where none is known to
have, as in compiled functions, other processes and constants, all of them are.
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

from coverage import CoverageData

ROOT = Path(__file__).parents[2]
# Rooms that compute, and the tests that should notice: those of the room and those that hold its numbers.
ROOMS = {
    "copper": "copper",
    "drive": "drive",
    "estimates": "estimates",
    "field": "field",
    "gap": "gap field/test_gap_sizes.py",
    "maps": "maps",
    "materials": "materials",
    "mesher": "mesher",
    "model": "model",
    "outline": "outline",
    "ranking": "ranking",
    "shapes": "shapes",
    "solve": "solve",
    "sweep": "sweep maps",
    "study": "study/test_pipeline.py study/test_operating_points.py study/test_tolerances.py study/test_sampling.py "
    "study/test_surrogate.py study/test_sensitivity.py study/test_search.py",
}
# Of study, the modules that compute; the others are tried by the faults.
STUDY = {
    "basis",
    "operating_points",
    "operation",
    "pipeline",
    "sampling",
    "sensitivity",
    "surrogate",
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
SLOWER, MORE = (
    4.0,
    60.0,
)  # a change under which tests take so many times as long, and so many seconds more, hangs them


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
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    try:
        return subprocess.run(command, cwd=copy, env=environment, timeout=seconds, **quiet).returncode == 0
    except subprocess.TimeoutExpired:
        return False


def noticed(change: Change, came_by: Sequence[str], copy: Path, seconds: float) -> bool:
    """Whether tests that came by a change fail, or hang, with it in a copy of the checkout."""
    path = copy / change.file
    source = path.read_text("utf-8")
    path.write_text(change.applied(source), "utf-8")
    try:
        return not passes(came_by or _tests(change.room), copy, seconds)
    finally:
        path.write_text(source, "utf-8")


def _tests(room: str) -> list[str]:
    return [f"tests/{part}" for part in ROOMS[room].split()]


@dataclass(frozen=True)
class Unchanged:
    """Of a room's tests as the program is: seconds that they take, and who came by which line."""

    seconds: float
    came_by: CoverageData

    def tests(self, change: Change, copy: Path) -> list[str]:
        """The tests that came by the statement of a change; none where it ran as its module was imported."""
        path = copy / change.file
        self.came_by.set_query_contexts(None)
        contexts = self.came_by.contexts_by_lineno(str(path))
        lines = _statement(path.read_text("utf-8"), change.line)
        found = {context for line in lines for context in contexts.get(line, [])}
        return [] if "" in found else sorted({context.partition("|")[0] for context in found})


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
    begun = time.monotonic()
    if not passes([*_tests(room), "--cov", "polefem", "--cov-context", "test", "--cov-report", ""], copy):
        raise SystemExit(f"the tests of {room} fail without a change")
    kept = copy / f"{room}.coverage"  # not .coverage.*: the next run would take such files in
    (copy / ".coverage").rename(kept)
    data = CoverageData(str(kept))
    data.read()
    return Unchanged(time.monotonic() - begun, data)


def main() -> None:
    parser = argparse.ArgumentParser(description="Change operators and see whether tests notice.")
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--minutes", type=float, default=60.0, help="after which no more changes are begun")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rooms", nargs="*", default=list(ROOMS))
    options = parser.parse_args()
    known = {line for line in (Path(__file__).parent / "without_effect.txt").read_text().splitlines() if line}
    pool = [change for change in every_change() if change.room in options.rooms]
    drawn = random.Random(options.seed).sample(pool, min(options.count, len(pool)))
    lines = {
        change: (ROOT / change.file).read_text("utf-8").split("\n")[change.line - 1].strip()
        for change in drawn
    }
    counts: Counter[tuple[str, bool]] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        copies: SimpleQueue[Path] = SimpleQueue()
        for at in range(options.workers):
            copy = Path(folder) / str(at)
            shutil.copytree(
                ROOT, copy, ignore=shutil.ignore_patterns(".venv", ".git", "build", ".*_cache", "results")
            )
            copies.put(copy)
        before = {room: unchanged(room, copy) for room in sorted({change.room for change in drawn})}
        came_by = {change: before[change.room].tests(change, copy) for change in drawn}
        ends = time.monotonic() + 60 * options.minutes

        def tried(change: Change) -> tuple[Change, bool | None]:
            if time.monotonic() > ends:
                return change, None
            copy = copies.get()
            try:
                return change, noticed(
                    change, came_by[change], copy, SLOWER * before[change.room].seconds + MORE
                )
            finally:
                copies.put(copy)

        with ThreadPoolExecutor(options.workers) as threads:
            for change, was in threads.map(tried, drawn):
                said = f"{change.file} {change.old} to {change.new}: {lines[change]}"
                if was is None or said in known:
                    continue
                counts[change.room, was] += 1
                print("noticed " if was else "NOT     ", change, "" if was else f"\n{said}", flush=True)
    for room in options.rooms:
        yes, no = counts[room, True], counts[room, False]
        if yes + no:
            print(f"{room}: {yes} of {yes + no} noticed")
    yes = sum(number for (_, was), number in counts.items() if was)
    print(f"together: {yes} of {counts.total()} noticed, of {len(pool)} that can be made")


if __name__ == "__main__":
    main()
