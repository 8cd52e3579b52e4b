"""Where the time of a study goes, by stage, beside the map of one phase: the wheel's study with one of its shapes.

    OMP_NUM_THREADS=1 python -m tests.benchmarks.study_stages [MESH]       half a minute on a coarse mesh

Seconds of this process, of one run; the sweep of the map of one phase, its errors included, counts 1. The first study
of a process is thrown away: it imports.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from unittest.mock import patch

sys.path.insert(0, str(Path(__file__).parents[2] / "studies"))
import pottery_wheel

from polefem import MeshSpec, Study, forces, run
from polefem.bench import running
from polefem.report import findings
from polefem.study import InProcess, pipeline, sound
from polefem.sweep import joint

ONE = "map of one phase"
STAGES: dict[str, tuple[Any, str]] = {
    ONE: (joint, "swept"),
    "angles added to it": (joint, "refined"),
    "phases together": (joint, "solve_sites"),
    "errors of these": (joint, "with_errors"),
    "switching and figures": (pipeline, "operate"),
    "pull in the gap, two meshes": (forces, "gap_pressures"),
    "pull to one side, two meshes": (sound, "side_pull"),
    "coils joined otherwise, all in": (findings, "joining_of"),
    "fields to be shown": (running, "_with_fields"),
    "pictures and page": (running, "write_pages"),
}


def spent(study: Study, mesh: MeshSpec) -> dict[str, float]:
    """Seconds of each stage, and of the whole."""
    found = dict.fromkeys(STAGES, 0.0)

    def timed(stage: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def again(*given: Any, **named: Any) -> Any:
            begun = time.process_time()
            try:
                return call(*given, **named)
            finally:
                found[stage] += time.process_time() - begun

        return again

    with ExitStack() as patches, TemporaryDirectory() as folder:
        for stage, (module, name) in STAGES.items():
            patches.enter_context(patch.object(module, name, timed(stage, getattr(module, name))))
        begun = time.process_time()
        run(study, folder=folder, mesh=mesh, executor=InProcess(), progress=False)
        found["the whole"] = time.process_time() - begun
    return found


def main(mesh: str) -> None:
    """Print the table."""
    study = replace(pottery_wheel.study, variants=list(pottery_wheel.study.variants)[:1])
    spent(study, MeshSpec(corner=1.0, face=2.0, iron=1.5, growth=1.0))
    found = spent(study, MeshSpec.named(mesh))
    for stage, seconds in found.items():
        print(f"{stage:34s} {seconds:7.2f} s {seconds / found[ONE]:6.2f}")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "coarse")
