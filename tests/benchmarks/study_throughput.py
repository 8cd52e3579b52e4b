"""Prints what a study costs beside its solutions: python tests/benchmarks/study_throughput.py [designs]

Three figures: the share of the cores' time that goes into designs while a study of 200 runs on two workers; the time
the store adds to each design; and how long a store of 100,000 designs takes to be listed and looked up. The
designs of the first are made of pure computing (no field), half a second each, so that the figure is that of the
study and not of the solver.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "study"))
from fake_solver import FAKE, MACHINE, PLAN, fake_map

from polefem.maps import CoupledMap, FluxMap, linear_map, summed
from polefem.study import (
    Figures,
    LatinHypercube,
    Outcome,
    Range,
    Status,
    Store,
    Study,
    WorkerPool,
    run_designs,
)
from polefem.study.database import transaction
from polefem.study.rows import design_row
from polefem.study.store import Member
from polefem.units import deg

BUSY = 0.5  # s of computing a design


def busy_map(machine: Any, angles: Any, currents: Any, **_: Any) -> CoupledMap:
    """A map that costs half a second of this process's own time."""
    until = time.process_time() + BUSY
    square = np.random.default_rng(0).random((60, 60))
    while time.process_time() < until:
        square @ square
    return summed(fake_map(machine, angles, currents))


def share_of_cores(designs: int, workers: int = 2) -> float:
    """Time in designs over workers times time in all, workers' start included."""
    ranges = {"rotor_pole.arc": Range(32 * deg, 44 * deg)}
    study = Study("busy", MACHINE, PLAN, LatinHypercube(ranges, designs))
    with tempfile.TemporaryDirectory() as folder, Store(folder) as store:
        begun = time.perf_counter()
        with WorkerPool(workers) as pool:
            records = run_designs(
                "busy", study.designs(), store, pool, 2 * workers, replace(FAKE, coupled_map=busy_map)
            )
        spent = time.perf_counter() - begun
    return sum(sum(r.outcome.seconds.values()) for r in records) / (workers * spent)


def figures(random_number: random.Random) -> Figures:
    """Figures that mean nothing."""
    named: dict[str, Any] = {name: random_number.random() for name in Figures.names()}
    return Figures(**named)


def store_overhead(designs: int = 200) -> float:
    """Seconds to keep a design with a map of 31 angles by 6 currents and to find it again, each."""
    m = linear_map(60e-3, 6e-3, full=1 * deg, apart=31 * deg, current=10.0)
    angles = np.linspace(0.0, np.pi / 4, 31)
    currents = np.linspace(1.0, 10.0, 6)
    flux, torque, coenergy = m.at(angles[None, :], currents[:, None])
    whole = summed(FluxMap(angles, currents, flux, torque, coenergy, phases=3, rotor_poles=4, mirror=True))
    numbers = random.Random(0)
    with tempfile.TemporaryDirectory() as folder, Store(folder) as store:
        begun = time.perf_counter()
        for at in range(designs):
            store.outcome(str(at))
            store.keep(str(at), Outcome(Status.SOLVED, "", figures(numbers), whole), inputs="x" * 4000)
        return (time.perf_counter() - begun) / designs


def large_store(designs: int = 100_000) -> tuple[float, float]:
    """Seconds of this process to list all designs of a study, and to look up how each ended."""
    numbers = random.Random(0)
    with tempfile.TemporaryDirectory() as folder, Store(folder) as store:
        fill(store, designs, numbers)
        begun = time.process_time()
        members = store.members("large")
        listed = time.process_time()
        store.statuses(member.key for member in members)
        return listed - begun, time.process_time() - listed


def fill(store: Store, designs: int, numbers: random.Random) -> None:
    """Put designs in a store all at once: one by one they would take minutes to reach the disk."""
    keys = [f"{numbers.getrandbits(160):040x}" for _ in range(designs)]
    rows = [design_row(key, Outcome(Status.SOLVED, "", figures(numbers)), None, "", 0.0) for key in keys]
    with transaction(store._db):
        store._db.executemany(f"INSERT INTO designs VALUES ({', '.join('?' * len(rows[0]))})", rows)
    store.enrol("large", [Member(f"m{at}", key, {"rotor_pole.arc": 0.5}) for at, key in enumerate(keys)])


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print(f"store: {1e3 * store_overhead():.2f} ms a design (wanted: below 10)")
    times = zip(("list", "look up how each ended"), large_store(), strict=True)
    print("100,000 designs:", ", ".join(f"{t:.2f} s to {what}" for what, t in times), "(wanted: below 2)")
    print(
        f"{count} designs on 2 workers: {share_of_cores(count):.1%} of the cores' time in designs (wanted: 95 %)"
    )
