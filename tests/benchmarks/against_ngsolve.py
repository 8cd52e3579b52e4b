"""Points a second of polefem and of a general-purpose library at equal torque error: one run, one thread each.

    OMP_NUM_THREADS=1 PYTHONPATH=tests/reference python tests/benchmarks/against_ngsolve.py [coarse|normal|fine]

(about 10 minutes)

polefem: the whole map of 31 angles and 11 currents, meshing included. NGSolve, the ordinary way: each angle meshed anew
in one piece, finer towards corners, order 2, the law as a spline, currents in ascending order from the last solution,
factorised at every step of its own Newton method. Its mesh is refined until its torque error is no more than polefem's,
over the half turn that symmetry leaves; then the same sizes are timed over the whole turn. Errors are against the
recorded order-3 reference at its angles and currents: the worst torque error as part of the peak torque of its current,
the worst relative error of flux linkage. Times are of the one processor that each uses, so that other work on the
computer does not count.
"""

from __future__ import annotations

import os
import sys
import time
from dataclasses import dataclass

import numpy as np
from comparing import Distance, distance, recorded
from ngsolve_field import Level, torque_by_stress
from ordinary import ordinary
from parallel_poles import phase_turns, section_parallel
from reference_machines import six_four

from polefem import flux_map
from polefem.units import deg

ANGLES = np.linspace(0.0, 45.0, 31)
CURRENTS = np.array([1.0, 2.0, 3.5, 5.0, 6.5, 8.0, 10.0, 12.5, 15.0, 17.5, 20.0])  # the record's among them
# From coarse to fine: corners first, as an engineer who knows where the field is singular would.
LEVELS = tuple(
    Level(corner=c, gap=g, root=r, iron=i, grading=0.4)
    for c, g, r, i in (
        (0.4, 1.0, 0.1, 0.3),
        (0.2, 0.9, 0.08, 0.27),
        (0.1, 0.8, 0.06, 0.25),
        (0.05, 0.7, 0.05, 0.22),
        (0.025, 0.6, 0.04, 0.2),
        (0.012, 0.5, 0.03, 0.18),
    )
)
ORDER = 2
TOLERANCE = 1e-5  # of the error in the energy norm, as polefem's own


@dataclass(frozen=True)
class Trial:
    """One way through the points: seconds a point, and its distance from the record."""

    way: str
    seconds: float
    error: Distance

    @property
    def torque_error(self) -> float:
        return float(np.abs(self.error.torque).max())

    def row(self) -> str:
        flux = np.abs(self.error.flux_linkage).max()
        return f"{self.way:50s} {1e3 * self.seconds:12.1f} {self.torque_error:12.3%} {flux:12.3%}"


def ours(mesh: str) -> Trial:
    """Time the whole map; take the errors from a map at the recorded points."""
    began = time.process_time()
    flux_map(six_four(), ANGLES * deg, CURRENTS, mesh=mesh)
    seconds = (time.process_time() - began) / (len(ANGLES) * len(CURRENTS))
    record = recorded("6_4")
    at = flux_map(six_four(), record["angles_deg"] * deg, record["currents"], mesh=mesh)
    return Trial(f"polefem, {mesh}", seconds, distance(at.flux_linkage, at.torque, record))


def theirs(level: Level, half: bool) -> Trial:
    """Time over the recorded angles, each meshed anew, with all the currents of the map; errors where recorded."""
    record = recorded("6_4")
    rows = np.searchsorted(CURRENTS, record["currents"])
    flux_linkage, torque = np.zeros((2, len(CURRENTS), len(record["angles_deg"])))
    unknowns = 0
    began = time.process_time()
    for j, angle in enumerate(record["angles_deg"]):
        section = section_parallel(six_four(), angle * deg, level, half)
        turns = phase_turns(six_four())[: len(section.coils)]
        for k, field in enumerate(ordinary(section, turns, CURRENTS.tolist(), ORDER, TOLERANCE)):
            flux_linkage[k, j], torque[k, j] = np.dot(turns, field.fluxes), torque_by_stress(section, field)
            unknowns = max(unknowns, field.unknowns)
    seconds = (time.process_time() - began) / torque.size
    way = f"NGSolve, order {ORDER}, {'half' if half else 'whole'} turn, {unknowns} unknowns"
    return Trial(way, seconds, distance(flux_linkage[rows], torque[rows], record))


def main() -> None:
    if os.environ.get("OMP_NUM_THREADS") != "1":
        sys.exit("set OMP_NUM_THREADS=1 first: both are to have one thread")
    first = ours(sys.argv[1] if len(sys.argv) > 1 else "normal")
    print(f"{'':50s} {'ms a point':>12s} {'torque error':>12s} {'flux error':>12s}")
    print(first.row(), flush=True)
    for level in LEVELS:
        trial = theirs(level, half=True)
        print(trial.row(), flush=True)
        if trial.torque_error <= first.torque_error:
            break
    else:
        print("no mesh was as good as polefem's: the ratios are to the finest")
    whole = theirs(level, half=False)
    print(whole.row())
    for name, by in (("half", trial), ("whole", whole)):
        ratio = by.seconds / first.seconds
        print(f"times as many points a second as over the {name} turn: {ratio:.1f}")


if __name__ == "__main__":
    main()
