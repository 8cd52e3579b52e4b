"""Observed rates of convergence of energy, flux linkage and torque, for poles with sharp and with rounded corners.

    OMP_NUM_THREADS=1 python -m tests.reports.convergence_rates

(two minutes)

All sizes of the normal mesh are multiplied by the same factor, and the result held against the finest mesh of the
list, by the root of the mean square over some angles. A rate is the power of the sizes with which the error falls; at
the foot, over all meshes, the power of the sizes and of the inverse root of the unknowns. The two differ: the mesh
stays fine where the outline asks for it (liners, gaps, short edges), however coarse the rest is, so that unknowns grow
more slowly than sizes shrink. Where the field is smooth, elements of second order and even sizes would give 4 for the
energy by either; at a corner of ideal iron the field grows as the distance to the power -1/3, which caps it at 4/3
unless the mesh is finer there, as this one is (G. Strang, G. J. Fix, An Analysis of the Finite Element Method, 1973,
chapter 8; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from polefem import MeshSpec, Pole, RadialMachine, Steel
from polefem.field import built
from polefem.solve import FactorCache, minimise
from polefem.units import deg, mm
from tests.benchmarks.map_cost import machine

Floats = NDArray[np.float64]

FACTORS = (3.0, 2.1, 1.5, 1.05, 0.75, 0.53)
FINEST = 0.19
ANGLES = np.array([-26.0, -20.5, -15.2, -9.7, -5.1]) * deg
CURRENT = 10.0
NAMES = ("energy", "flux linkage", "torque")


@dataclass(frozen=True, eq=False)
class Field:
    """Unknowns; energy (J/m), flux linkage (Wb) and torque (N m), shape (3, n_angles)."""

    unknowns: int
    values: Floats


def solved(built: RadialMachine, factor: float) -> Field:
    system = built(built, MeshSpec.named("normal").coarser(factor)).systems[0]
    load = system.model.loads[0]
    values, start = [], np.zeros(system.size)
    for angle in ANGLES.tolist():
        coupled = system.at(angle)
        found = minimise(coupled, CURRENT * load, start, FactorCache(tolerance=1e-7))
        start = found.unknowns
        values.append((found.energy, system.model.scale * float(load @ start), coupled.torque(start)))
    return Field(system.size, np.array(values).T)


def shapes() -> dict[str, RadialMachine]:
    sharp = machine()
    rounded = {
        name: Pole(arc=getattr(sharp, name).arc, tip_fillet=2.5 * mm, root_fillet=2.0 * mm)
        for name in ("stator_pole", "rotor_pole")
    }
    ideal = Steel.linear(1e4)
    return {
        "sharp corners, measured steel": sharp,
        "rounded corners, measured steel": replace(sharp, **rounded),
        "sharp corners, relative permeability 10,000": replace(sharp, steel=ideal),
        "rounded corners, relative permeability 10,000": replace(sharp, steel=ideal, **rounded),
    }


def report(name: str, built: RadialMachine) -> None:
    finest = solved(built, FINEST)
    print(f"\n{name} ({finest.unknowns} unknowns at the finest)")
    print("unknowns " + "".join(f"{quantity:>14}  rate" for quantity in NAMES))
    fields = [solved(built, factor) for factor in FACTORS]
    errors = [np.sqrt(((field.values - finest.values) ** 2).mean(axis=1)) for field in fields]
    size = np.sqrt((finest.values**2).mean(axis=1))
    for k, (field, error) in enumerate(zip(fields, errors, strict=True)):
        rates = np.log(errors[k - 1] / error) / np.log(FACTORS[k - 1] / FACTORS[k]) if k else None
        cells = [
            f"{error[q] / size[q]:14.1e}" + (" " * 6 if rates is None else f"{rates[q]:6.2f}")
            for q in range(len(NAMES))
        ]
        print(f"{field.unknowns:8d} " + "".join(cells), flush=True)
    steps = {
        "by size  ": -np.log(FACTORS),
        "unknowns ": 0.5 * np.log([field.unknowns for field in fields]),
    }
    for label, step in steps.items():
        slopes = [-np.polyfit(step, np.log([error[q] for error in errors]), 1)[0] for q in range(len(NAMES))]
        print(label + "".join(f"{'':14}{slope:6.2f}" for slope in slopes))


if __name__ == "__main__":
    for name, built in shapes().items():
        report(name, built)
