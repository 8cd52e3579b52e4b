"""What a page costs: drawing a shape against computing it, and a run whose page is up to date against its imports.

    OMP_NUM_THREADS=1 .venv/bin/python tests/benchmarks/page_cost.py [MESH]

Seconds of this process (and its children), not of the clock, so that a busy computer counts the same.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeVar

sys.path.insert(0, str(Path(__file__).parents[2] / "studies"))
import pottery_wheel

from polefem.export.shapes import write_shape
from polefem.params import MeshSpec
from polefem.params.fields import with_fields
from polefem.report import Shape, shape_drawings
from polefem.study import Record, Variant, attempt, section_fields

STUDY = Path(__file__).parents[2] / "studies" / "pottery_wheel.py"
T = TypeVar("T")


def main(mesh: str) -> None:
    """Print the table."""
    one_shape(mesh)
    whole_runs(mesh)


def timed(call: Callable[[], T]) -> tuple[float, T]:
    """Seconds of this process, and what the call gives."""
    begun = time.process_time()
    value = call()
    return time.process_time() - begun, value


def one_shape(mesh: str) -> None:
    """Computing the wide rotor, its fields, its pictures, its files."""
    study = pottery_wheel.study
    design = study.design(
        Variant("wide rotor", {"rotor_pole.arc": list(study.variants)[1].changes["rotor_pole.arc"]})
    )
    design.__dict__["plan"] = with_fields(study.plan, {"mesh": MeshSpec.named(mesh)})
    computing, outcome = timed(lambda: attempt(design))
    figures, machine_map = outcome.figures, outcome.machine_map
    assert figures is not None and machine_map is not None, outcome.reason
    solving, fields = timed(lambda: section_fields(design, figures.current))
    record = Record(design.name, design.name, design.plain_changes, outcome)
    shape = Shape(1, "wide", record, design, figures, machine_map, fields)
    keying, drawings = timed(lambda: shape_drawings(shape))
    for drawing in drawings:  # the first picture of a process loads fonts
        drawing.picture()
        break
    picturing, _ = timed(lambda: [drawing.picture() for drawing in shape_drawings(shape)])
    with TemporaryDirectory() as folder:
        writing, _ = timed(lambda: write_shape(design.machine, machine_map.single, Path(folder), "wide"))
    print(f"computing a shape, {mesh} mesh: {computing:.2f} s")
    for said, seconds in (
        ("the fields it is shown with", solving),
        ("their keys", keying),
        ("drawing it", picturing),
        ("its files", writing),
    ):
        print(f"  {said}: {seconds:.2f} s, {seconds / computing:.3f} of computing it")


def whole_runs(mesh: str) -> None:
    """The same study run twice: the second time everything is there."""
    with TemporaryDirectory() as folder:
        command = [sys.executable, str(STUDY), "--workers", "1", "--mesh", mesh, "--out", folder]
        first, again = spent(command), spent(command)
    alone = spent([sys.executable, "-c", "import polefem.command_line"])
    print(
        f"first run {first:.1f} s; again {again:.2f} s ({again / first:.3f}), of which imports {alone:.2f} s"
    )


def spent(command: list[str]) -> float:
    """Seconds of a command and all that it starts."""
    before = os.times()
    subprocess.run(command, check=True, capture_output=True)
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "coarse")
