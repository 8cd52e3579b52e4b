"""Co-energy and torque of the published 8/6 machine at 10 A, by NGSolve, as tests/published holds them.

    OMP_NUM_THREADS=1 PYTHONPATH=.:tests/reference python tests/reports/tested_8_6_in_ngsolve.py [level] [degrees ...]

(about 12 s an angle at level 0) The two torques, by stress and by virtual work, say how good the mesh is.
"""

from __future__ import annotations

import sys
from pathlib import Path

from outline_section import reference_machine

from polefem.params.toml import load_machine
from polefem.units import deg


def main() -> None:
    level = int(sys.argv[1]) if len(sys.argv) > 1 else 0
    angles = [float(word) for word in sys.argv[2:]] or list(range(0, 31, 3))
    machine = load_machine(Path(__file__).parents[2] / "geometries" / "tested_8_6.toml")
    print(f"{'deg':>5s} {'co-energy J':>12s} {'torque N m':>12s} {'virtual':>12s} {'unknowns':>9s}")
    for angle in angles:
        (point,) = reference_machine(machine, angle * deg, [10.0], level)
        torques = f"{point.torque:12.4f} {point.torque_virtual:12.4f}"
        print(f"{angle:5g} {point.coenergy:12.5f} {torques} {point.unknowns:9d}", flush=True)


if __name__ == "__main__":
    main()
