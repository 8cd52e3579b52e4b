"""Write the reference files: `python tests/reference/make_reference.py [6_4] [8_6]`, about 8 minutes each.

Each holds one phase over angles and currents at three mesh levels in NGSolve, over half a turn (a test holds that to
the whole turn); the finest is the reference, and the distance between the two finest its estimated error (with the
distance between the two torques, for torque).
"""

from __future__ import annotations

import json
import sys
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
from ngsolve_field import Level, Reference, over_currents
from parallel_poles import phase_turns, section_parallel
from reference_machines import MACHINES

from polefem.params import RadialMachine
from polefem.units import deg

CURRENTS = [1.0, 5.0, 10.0, 20.0]
ANGLES = {
    "6_4": [0, 1, 5, 10, 15, 20, 22.5, 25, 28, 30, 31, 32, 35, 40, 45],
    "8_6": [0, 1, 5, 10, 14, 18, 21, 22, 23, 26, 30],
}
LEVELS = (0, 1, 2)
NUMBERS = ("flux_linkage", "torque", "torque_virtual", "coenergy", "unknowns")


def computed(name: str) -> dict[str, Any]:
    """Solve every point at every level; arrays of shape (n_currents, n_angles)."""
    machine = MACHINES[name]()
    levels = []
    for level in LEVELS:
        columns = [_solved(machine, angle * deg, level) for angle in ANGLES[name]]
        table = {
            key: np.array([[getattr(r, key) for r in column] for column in columns]).T for key in NUMBERS
        }
        levels.append(table)
    finest, before = levels[-1], levels[-2]
    peak = np.abs(finest["torque"]).max(axis=1)[:, None]
    flux_error = np.abs(finest["flux_linkage"] / before["flux_linkage"] - 1)
    moved = np.abs(finest["torque"] - before["torque"])
    torque_error = (moved + np.abs(finest["torque"] - finest["torque_virtual"])) / peak
    return {
        "origin": f"computed with NGSolve {version('ngsolve')}, order 3, mesh level {LEVELS[-1]}, by make_reference.py",
        "machine": f"reference_machines.MACHINES[{name!r}]",
        "settings": repr(Level.numbered(LEVELS[-1])),
        "units": {
            "angles_deg": "deg",
            "currents": "A",
            "flux_linkage": "Wb",
            "torque": "N m",
            "coenergy": "J",
        },
        "angles_deg": ANGLES[name],
        "currents": CURRENTS,
        "flux_linkage": _rounded(finest["flux_linkage"]),
        "torque": _rounded(finest["torque"]),
        "coenergy": _rounded(finest["coenergy"]),
        "estimated_error": {
            "flux_linkage, relative": float(f"{flux_error.max():.2g}"),
            "torque, of the peak of its current": float(f"{torque_error.max():.2g}"),
        },
        "levels": [{key: _rounded(table[key]) for key in NUMBERS} for table in levels],
    }


def _solved(machine: RadialMachine, angle: float, level: int) -> tuple[Reference, ...]:
    section = section_parallel(machine, angle, Level.numbered(level), half=True)
    return over_currents(section, phase_turns(machine)[: len(section.coils)], CURRENTS)


def _rounded(values: np.ndarray) -> list[list[float]]:
    return [[float(f"{value:.8g}") for value in row] for row in values]


def main() -> None:
    for name in sys.argv[1:] or MACHINES:
        path = Path(__file__).with_name(f"reference_{name}.json")
        path.write_text(json.dumps(computed(name)).replace('], "', '],\n "') + "\n")


if __name__ == "__main__":
    main()
