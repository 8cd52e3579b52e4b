"""Write the reference of states with two phases on: `python tests/reference/make_coupled.py [NAME ...]`, 2 min each.

Each machine with its coils joined in two ways, whole, at a dozen angles over a rotor pitch; every other state with both
phases at the largest current, the others with two currents between. One state of each is solved on a finer mesh too,
and the distance is the estimated error.
"""

from __future__ import annotations

import json
import sys
from importlib.metadata import version
from itertools import combinations, cycle
from pathlib import Path
from typing import Any

import numpy as np
from ngsolve_field import Level, magnetostatic, torque_by_stress
from outline_section import section_outline
from reference_machines import eight_six, joined, six_four, thin_yoke

from polefem.outline import sections
from polefem.params import RadialMachine
from polefem.units import deg

MACHINES = {"6_4": (six_four, 20.0), "8_6": (eight_six, 20.0), "thin yoke": (thin_yoke, 16.0)}
PATTERNS = {"one sign": False, "alternating": True}
STATES, LEVEL, FINER = 12, -1, 0


def states(
    machine: RadialMachine, last: float, rng: np.random.Generator
) -> tuple[list[float], list[list[float]]]:
    """Angles (deg) and phase currents (A): two phases on."""
    pitch, count = np.degrees(machine.rotor_pitch), machine.phases.count
    pairs = cycle(combinations(range(count), 2))
    angles, currents = [], []
    for at in range(STATES):
        angles.append(round(float((at + rng.uniform()) / STATES * pitch), 1))
        row = [0.0] * count
        for phase in next(pairs):
            row[phase] = last if at % 2 else round(float(rng.uniform(0.3, 1.0) * last), 1)
        currents.append(row)
    return angles, currents


def solved(
    machine: RadialMachine, angle: float, currents: list[float], level: int
) -> tuple[list[float], float]:
    """Flux linkages of all phases, Wb, and torque, N m, at one angle (rad)."""
    phases, turns = machine.phases, machine.winding.turns_per_pole / machine.winding.parallel_paths
    signed = turns * np.array(phases.polarity)
    (outline,) = sections(machine)
    steels = {"rotor iron": machine.steel, "stator iron": machine.steel}
    section = section_outline(outline, angle, steels, Level.numbered(level))
    field = magnetostatic(section, signed * np.array(currents)[list(phases.of_pole)], 3)
    linkages = np.zeros(phases.count)
    np.add.at(linkages, list(phases.of_pole), signed * np.array(field.fluxes))
    return [float(f"{value:.8g}") for value in linkages], float(f"{torque_by_stress(section, field):.8g}")


def computed(name: str) -> dict[str, Any]:
    """All states of a machine, joined in either way."""
    make, last = MACHINES[name]
    rng, found = np.random.default_rng(6), {}
    for pattern, alternating in PATTERNS.items():
        machine = joined(make(), alternating)
        angles, currents = states(machine, last, rng)
        points = [solved(machine, a * deg, row, LEVEL) for a, row in zip(angles, currents, strict=True)]
        linkages, torque = solved(machine, angles[1] * deg, currents[1], FINER)
        found[pattern] = {
            "angles_deg": angles,
            "currents": currents,
            "flux_linkages": [point[0] for point in points],
            "torque": [point[1] for point in points],
            "finer": {"state": 1, "flux_linkages": linkages, "torque": torque},
        }
    return found


def main() -> None:
    for name in sys.argv[1:] or MACHINES:
        record = {
            "origin": f"computed with NGSolve {version('ngsolve')}, order 3, mesh level {LEVEL}, by make_coupled.py",
            "machine": f"make_coupled.MACHINES[{name!r}]",
            "units": {"angles_deg": "deg", "currents": "A", "flux_linkages": "Wb", "torque": "N m"},
            **computed(name),
        }
        path = Path(__file__).with_name(f"coupled_{name.replace(' ', '_')}.json")
        path.write_text(json.dumps(record).replace('], "', '],\n "').replace('}, "', '},\n "') + "\n")


if __name__ == "__main__":
    main()
