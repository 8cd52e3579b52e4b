"""What a flux map costs: per point, in sparse factorisations, and as it grows.

    OMP_NUM_THREADS=1 python -m tests.benchmarks.map_cost             one map of 31 x 11 points (ten seconds)
    OMP_NUM_THREADS=1 python -m tests.benchmarks.map_cost --growth    and tables over unknowns, angles, currents
                                                                      (four minutes)

All figures of a ratio are measured in one run, in time of the one processor that it uses, so that other work on the
computer counts little. The factorisation is scipy's, of the whole matrix: symmetric mode, minimum degree ordering, its
other settings as they come; the solver's own, of one triangle without the gap's small entries, stands beside it.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median
from typing import Any
from unittest.mock import patch

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import splu

from polefem import MeshSpec, Pole, RadialMachine, Steel, Winding, flux_map
from polefem.field import built
from polefem.solve import FactorCache, Solution, minimise
from polefem.solve.factor import Factor, Layout
from polefem.sweep import single
from polefem.units import deg, mm

Floats = NDArray[np.float64]

#: All mesh sizes times this: from some 4,000 unknowns to 100,000.
SIZES = (4.0, 2.0, 1.0, 0.5, 0.27, 0.17)
ANGLES, CURRENTS = np.linspace(0.0, 45.0, 31) * deg, np.linspace(2.0, 20.0, 11)


def machine() -> RadialMachine:
    """The 6/4 machine of the README, in a measured steel."""
    return RadialMachine(
        stator_poles=6,
        rotor_poles=4,
        stator_outer_radius=60 * mm,
        rotor_outer_radius=30 * mm,
        air_gap=0.4 * mm,
        stator_yoke_thickness=11 * mm,
        rotor_yoke_radius=19 * mm,
        shaft_radius=10 * mm,
        stack_length=60 * mm,
        stator_pole=Pole(arc=30 * deg),
        rotor_pole=Pole(arc=32 * deg),
        winding=Winding(turns_per_pole=100, coil_width=6 * mm, face_inset=2 * mm, yoke_clearance=3 * mm),
        steel=Steel.named("M330-50A measured"),
    )


@dataclass
class Work:
    """What the solver did, added up over points."""

    points: int = 0
    steps: int = 0
    products: int = 0
    factors: int = 0

    def add(self, found: Solution) -> None:
        self.points += 1
        self.steps += found.steps
        self.products += found.products
        self.factors += found.factors


@dataclass(frozen=True)
class Factorisation:
    """Unknowns; seconds (median of seven) of one factorisation of a saturated state's matrix by scipy and by the
    solver, whose ordering of the angle is at hand, and of one solution with the solver's factor."""

    unknowns: int
    scipy: float
    own: float
    solution: float


def factorisation(mesh: MeshSpec | str) -> Factorisation:
    system = built(machine(), mesh).systems[0]
    coupled = system.at(-15 * deg)
    load = 10.0 * system.model.loads[0]
    cache = FactorCache()
    found = minimise(coupled, load, np.zeros(system.size), cache)
    bare = system.tangent_matrix(coupled.state(found.unknowns))
    matrix = sp.csc_matrix(bare + coupled.coupling)
    layout = Layout([coupled], bare, lean=True)
    factor = Factor(layout, coupled, bare)
    return Factorisation(
        system.size,
        timed(lambda: splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})),
        timed(lambda: Factor(layout, coupled, bare)),
        timed(lambda: factor.solve(load)),
    )


def timed(work: Callable[[], object]) -> float:
    """Seconds of one processor, median of seven."""
    taken = []
    for _ in range(7):
        begun = time.process_time()
        work()
        taken.append(time.process_time() - begun)
    return median(taken)


def map_seconds(
    mesh: MeshSpec | str, angles: Floats = ANGLES, currents: Floats = CURRENTS
) -> tuple[float, Work]:
    """Seconds of one processor for a whole map (outline, mesh, assembly, solutions, error estimate), and the work."""
    work = Work()

    def counted(*given: Any) -> Solution:
        found = minimise(*given)
        work.add(found)
        return found

    with patch.object(single, "minimise", counted):
        begun = time.process_time()
        flux_map(machine(), angles, currents, mesh=mesh)
        return time.process_time() - begun, work


def one_map() -> None:
    before = factorisation("normal")
    taken, work = map_seconds("normal")
    after = factorisation("normal")
    factor, own, solution = (
        (getattr(before, name) + getattr(after, name)) / 2 for name in ("scipy", "own", "solution")
    )
    point = taken / (ANGLES.size * CURRENTS.size)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"unknowns                         {before.unknowns}")
    print(f"whole map of 31 x 11 points      {taken:.1f} s")
    print(f"a point, everything included     {1e3 * point:.1f} ms")
    print(f"one sparse factorisation         {1e3 * factor:.1f} ms (the solver's own: {1e3 * own:.1f} ms)")
    print(f"one solution with it             {1e3 * solution:.2f} ms")
    print(f"a point in factorisations        {point / factor:.2f} (the solver's: {point / own:.2f})")
    print(f"points solved, estimate's too    {work.points}")
    print(f"to each: Newton steps            {work.steps / work.points:.2f}")
    print(f"         products                {work.products / work.points:.1f}")
    print(f"         factors                 {work.factors / work.points:.3f}")
    print(f"peak memory of this process      {peak:.0f} MB")


def exponent(sizes: list[float], times: list[float]) -> float:
    """Slope of time over size, both in logarithms."""
    return float(np.polyfit(np.log(sizes), np.log(times), 1)[0])


def growth() -> None:
    print("\nunknowns   ms a point   factorisation, ms   (8 angles x 6 currents)")
    sizes, times = [], []
    for size in SIZES:
        spec = MeshSpec().coarser(size)
        one = factorisation(spec)
        taken = map_seconds(spec, ANGLES[8:16], CURRENTS[::2])[0] / 48
        sizes.append(float(one.unknowns))
        times.append(taken)
        print(f"{one.unknowns:8d} {1e3 * taken:12.1f} {1e3 * one.scipy:19.1f}", flush=True)
    print(f"exponent   {exponent(sizes, times):.2f}")
    for name, counts in (("angles", (8, 16, 31, 61)), ("currents", (6, 11, 21, 41))):
        print(f"\n{name:8s}   s a map (coarse mesh)")
        times = []
        for count in counts:
            if name == "angles":
                taken, _ = map_seconds("coarse", np.linspace(0.0, 45.0, count) * deg, CURRENTS)
            else:
                taken, _ = map_seconds("coarse", ANGLES, np.linspace(2.0, 20.0, count))
            times.append(taken)
            print(f"{count:8d}   {taken:.2f}", flush=True)
        print(f"exponent   {exponent([float(count) for count in counts], times):.2f}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--growth", action="store_true", help="also the tables of growth: minutes")
    asked = parser.parse_args()
    one_map()
    if asked.growth:
        growth()
