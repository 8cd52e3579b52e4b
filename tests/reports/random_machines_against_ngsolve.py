"""Distance from NGSolve over machines drawn at random, each at one random angle and current.

    OMP_NUM_THREADS=1 PYTHONPATH=tests/reference python tests/reports/random_machines_against_ngsolve.py [count] [level]

(50 machines at level 0: about 20 minutes) Prints each, then how the errors are spread.
"""

from __future__ import annotations

import sys

import numpy as np
from netgen.libngpy._meshing import NgException
from one_point import one_point
from random_machines import drawn

from polefem.errors import GeometryRefused


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    level = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    errors = []
    print(f"{'seed':>4s} {'flux linkage':>12s} {'torque':>12s}  machine")
    for seed in range(count):
        draw = drawn(seed)
        try:
            errors.append(one_point(draw.machine, draw.angle, draw.current, level))
        except (NgException, GeometryRefused) as problem:
            print(f"{seed:4d} {'not compared: ' + str(problem):.60s}  {draw}", flush=True)
            continue
        print(f"{seed:4d} {errors[-1][0]:+12.3%} {errors[-1][1]:+12.3%}  {draw}", flush=True)
    spread = np.quantile(np.abs(errors), [0.5, 0.9, 1.0], axis=0)
    for label, (flux, torque) in zip(("median", "nine in ten", "worst"), spread, strict=True):
        print(f"{label:12s} flux linkage {flux:.3%}, torque {torque:.3%}")


if __name__ == "__main__":
    main()
