"""Worst distance from NGSolve on four machines, each at eight angles and three currents, as a table.

    OMP_NUM_THREADS=1 PYTHONPATH=tests/reference python tests/reports/four_machines_against_ngsolve.py [level]

(about 15 minutes at level 1) The flux linkage is compared relatively, the torque by the peak torque of its current.
How well the reference knows itself is the distance of its two torques from each other.
"""

from __future__ import annotations

import sys

import numpy as np
from eight_angles import CURRENTS, eight_angles
from four_machines import FOUR


def main() -> None:
    level = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    print(f"{'':24s} {'flux linkage':>12s} {'torque':>12s} {'at deg':>8s} {'at A':>6s} {'reference':>12s}")
    for name, machine in FOUR.items():
        found = eight_angles(machine, level)
        off = found.off()
        k, j = np.unravel_index(np.abs(off.torque).argmax(), off.torque.shape)
        flux, torque, own = (np.abs(e).max() for e in (off.flux_linkage, off.torque, found.itself.torque))
        where = f"{np.degrees(found.angles[j]):8.2f} {CURRENTS[k]:6.0f}"
        print(f"{name:24s} {flux:12.3%} {torque:12.3%} {where} {own:12.3%}", flush=True)


if __name__ == "__main__":
    main()
