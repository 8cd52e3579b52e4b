"""What a flux map costs: per point, in sparse factorisations, and as it grows.

    OMP_NUM_THREADS=1 python -m tests.benchmarks.map_cost             one map of 31 x 11 points
    OMP_NUM_THREADS=1 python -m tests.benchmarks.map_cost --growth    and tables over unknowns, angles, currents

All figures of a ratio are measured in one run. The factorisation is scipy's, of the same matrix: symmetric mode,
minimum degree ordering, no pivoting, its other settings as they come.
"""

from __future__ import annotations

import argparse
import resource
import time
from statistics import median

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from polefem import MeshSpec, Pole, RadialMachine, Steel, Winding, flux_map
from polefem.maps.section import sections_of
from polefem.solve import Workshop, minimise
from polefem.units import deg, mm

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


def factorisation(mesh: MeshSpec | str) -> tuple[int, float]:
    """Unknowns, and seconds (median of seven) of one factorisation of a saturated state's matrix."""
    system = sections_of(machine(), mesh)[0].system
    coupled = system.at(-15 * deg)
    found = minimise(coupled, 10.0 * system.model.loads[0], np.zeros(system.size), Workshop())
    matrix = sp.csc_matrix(coupled.matrix(system.tangent_matrix(coupled.state(found.unknowns))))
    taken = []
    for _ in range(7):
        begun = time.perf_counter()
        splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
        taken.append(time.perf_counter() - begun)
    return system.size, median(taken)


def seconds(mesh: MeshSpec | str, angles: int = 31, currents: int = 11) -> float:
    """Wall time of a whole map: outline, mesh, assembly, solutions, error estimate."""
    begun = time.perf_counter()
    flux_map(machine(), ANGLES[:: 30 // (angles - 1)], np.linspace(2.0, 20.0, currents), mesh=mesh)
    return time.perf_counter() - begun


def one_map() -> None:
    unknowns, before = factorisation("normal")
    taken = seconds("normal")
    _, after = factorisation("normal")
    factor, point = (before + after) / 2, taken / (ANGLES.size * CURRENTS.size)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"unknowns                         {unknowns}")
    print(f"whole map of 31 x 11 points      {taken:.1f} s")
    print(f"a point, everything included     {1e3 * point:.1f} ms")
    print(f"one sparse factorisation         {1e3 * factor:.1f} ms")
    print(f"a point in factorisations        {point / factor:.2f}")
    print(f"peak memory of this process      {peak:.0f} MB")


def exponent(sizes: list[float], times: list[float]) -> float:
    """Slope of time over size, both in logarithms."""
    return float(np.polyfit(np.log(sizes), np.log(times), 1)[0])


def growth() -> None:
    print("\nunknowns   ms a point (7 angles x 5 currents)")
    sizes, times = [], []
    for factor in (1.6, 1.0, 0.6, 0.36, 0.25):
        spec = MeshSpec().coarser(factor)
        unknowns, _ = factorisation(spec)
        taken = seconds(spec, 7, 5) / 35
        sizes.append(float(unknowns))
        times.append(taken)
        print(f"{unknowns:8d}   {1e3 * taken:.1f}")
    print(f"exponent   {exponent(sizes, times):.2f}")
    for name, counts in (("angles", (7, 16, 31)), ("currents", (6, 11, 21))):
        print(f"\n{name:8s}   s a map (coarse mesh)")
        times = [seconds("coarse", **{name: count}) for count in counts]  # type: ignore[arg-type]
        for count, taken in zip(counts, times, strict=True):
            print(f"{count:8d}   {taken:.2f}")
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
