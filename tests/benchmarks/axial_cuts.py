"""How fast the sum over the cuts of an axial machine converges with their number, for each kind of flank.

    OMP_NUM_THREADS=1 python -m tests.benchmarks.axial_cuts        one to two minutes

Flux linkage (largest error over the angles) and torque (of its peak), against twelve cuts.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from polefem import AxialMachine, flux_map
from polefem.units import deg, mm
from tests.field.built_machines import axial

CUTS, MOST = (1, 2, 3, 4, 6), 12
ANGLES, CURRENTS = np.array([0.0, 12.0, 24.0, 45.0]) * deg, (12.0,)


def machine(flanks: Literal["radial", "parallel", "round"], cuts: int) -> AxialMachine:
    winding = replace(axial().winding, coil_width=2 * mm)
    return replace(axial(), outer_radius=60 * mm, winding=winding, stator_flanks=flanks, cuts=cuts)


def main() -> None:
    print("stator poles   cuts   flux linkage, %   torque, %")
    for flanks in ("radial", "parallel", "round"):
        best = flux_map(machine(flanks, MOST), ANGLES, CURRENTS)
        for cuts in CUTS:
            found = flux_map(machine(flanks, cuts), ANGLES, CURRENTS)
            linkage = np.abs(found.flux_linkage / best.flux_linkage - 1).max()
            torque = np.abs(found.torque - best.torque).max() / np.abs(best.torque).max()
            print(f"{flanks:12s} {cuts:6d} {1e2 * linkage:15.2f} {1e2 * torque:13.2f}", flush=True)


if __name__ == "__main__":
    main()
