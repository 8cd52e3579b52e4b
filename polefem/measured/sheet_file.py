"""What is on the bench, from a file: a Python file that defines `bench`, or the TOML of a machine to plan for."""

from __future__ import annotations

from pathlib import Path

from polefem.errors import InvalidValue, refusal
from polefem.measured.bench_sheet import BenchSheet
from polefem.params.toml import load_machine
from polefem.study.study_file import defined_in

__all__ = ["bench_in"]


def bench_in(file: Path, current: float) -> BenchSheet:
    """The sheet that a Python file defines as `bench`; of a TOML file, one without readings, up to a current (A).

    Raises InvalidValue for a file that is not there, does not run or defines none, and what `load_machine` raises.
    """
    if file.suffix == ".toml":
        return BenchSheet(file.stem, load_machine(file), current)
    found = defined_in(file).get("bench")
    if not isinstance(found, BenchSheet):
        name = type(found).__name__ if found is not None else "missing"
        raise InvalidValue(
            refusal("a file defines what is on the bench", "bench", name, "bench = BenchSheet(...)")
        )
    return found
