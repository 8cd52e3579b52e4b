"""Worst distance from NGSolve on four machines, each at eight angles and three currents, as a table.

    OMP_NUM_THREADS=1 PYTHONPATH=tests/reference python tests/reports/four_machines_against_ngsolve.py [level]

(about 15 minutes at level 1) The flux linkage is compared relatively, the torque by the peak torque of its current.
How well the reference knows itself is the distance of its two torques from each other.
"""

from __future__ import annotations

import sys

import numpy as np
from comparing import distance
from four_machines import FOUR
from outline_section import reference_machine

from polefem import flux_map

FRACTIONS = np.array(
    [0.02, 0.10, 0.17, 0.25, 0.30, 0.36, 0.42, 0.48]
)  # of the rotor pitch; between them all overlaps
CURRENTS = np.array([2.0, 8.0, 20.0])


def main() -> None:
    level = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    print(f"{'':24s} {'flux linkage':>12s} {'torque':>12s} {'at deg':>8s} {'at A':>6s} {'reference':>12s}")
    for name, machine in FOUR.items():
        angles = FRACTIONS * machine.rotor_pitch
        ours = flux_map(machine, angles, CURRENTS)
        columns = [reference_machine(machine, angle, CURRENTS, level) for angle in angles]
        theirs = {
            key: np.array([[getattr(point, key) for point in column] for column in columns]).T
            for key in ("flux_linkage", "torque", "torque_virtual")
        }
        off = distance(ours.flux_linkage, ours.torque, theirs)
        itself = distance(theirs["flux_linkage"], theirs["torque_virtual"], theirs)
        k, j = np.unravel_index(np.abs(off.torque).argmax(), off.torque.shape)
        flux, torque, own = (np.abs(e).max() for e in (off.flux_linkage, off.torque, itself.torque))
        where = f"{np.degrees(angles[j]):8.2f} {CURRENTS[k]:6.0f}"
        print(f"{name:24s} {flux:12.3%} {torque:12.3%} {where} {own:12.3%}", flush=True)


if __name__ == "__main__":
    main()
