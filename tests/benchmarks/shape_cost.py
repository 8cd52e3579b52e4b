"""What a shape costs before its field: outline with all its checks, and both meshes.

    OMP_NUM_THREADS=1 python -m tests.benchmarks.shape_cost        half a minute

In time of the one processor that is used. Outlines: machines with every feature, and random ones of all builds.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from statistics import median

from hypothesis import HealthCheck, Phase, given, seed, settings

from polefem import Machine, MeshSpec
from polefem.errors import GeometryRefused, InvalidValue
from polefem.mesher import mesh_sides
from polefem.outline import sections
from tests.field.built_machines import MACHINES
from tests.shapes.draws import machines

RANDOM = 300


def timed(work: Callable[[], object], times: int = 9) -> float:
    """Milliseconds of one processor, median."""
    taken = []
    for _ in range(times):
        begun = time.process_time()
        work()
        taken.append(1e3 * (time.process_time() - begun))
    return median(taken)


def random_outlines() -> list[float]:
    """Milliseconds of each accepted random machine, by cross section."""
    taken: list[float] = []

    @settings(
        max_examples=RANDOM,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @seed(1)
    @given(machines())
    def draw(made: Callable[[], Machine]) -> None:
        try:
            count = len(sections(made()))
        except (GeometryRefused, InvalidValue):
            return
        taken.append(timed(lambda: sections(made()), 3) / count)

    draw()
    return taken


def main() -> None:
    print("machine              outline, ms   meshes of a sector, ms: coarse   normal     fine")
    for name, (machine, sectors, _) in MACHINES.items():
        outlines = sections(machine)
        whole = timed(partial(sections, machine)) / len(outlines)
        meshes = [
            timed(partial(mesh_sides, outlines[0], MeshSpec.named(spec), sectors), 3)
            for spec in ("coarse", "normal", "fine")
        ]
        print(f"{name:20s} {whole:11.1f}   {meshes[0]:30.0f} {meshes[1]:8.0f} {meshes[2]:8.0f}", flush=True)
    taken = sorted(random_outlines())
    print(f"{len(taken)} random machines: outline {median(taken):.1f} ms, slowest {taken[-1]:.1f} ms")


if __name__ == "__main__":
    main()
