"""The same field by the library's own means alone: a spline for the law, its symbolic energy, its Newton.

This is how a user of NGSolve would write it; `ngsolve_field` does by hand what is hidden here, and the two are compared
in a test. It serves as the yardstick for speed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import ngsolve as ng
import numpy as np
from ngsolve.solvers import NewtonMinimization
from ngsolve_field import MU0, Field, Law, Section, Unconverged, current_density, flux_between

__all__ = ["ordinary"]

KNOTS = np.linspace(0.0, 3.0, 300)  # T; straight lines between them, so fine that the law is met to 1e-4


def ordinary(
    section: Section, turns: Sequence[float], currents: Sequence[float], order: int, tolerance: float
) -> list[Field]:
    """Solve a section of one steel for ascending currents (A) in coils of signed turns, each from the last solution.

    tolerance: of the error in the energy norm, over that of the solution. Raises Unconverged.
    """
    mesh = section.mesh
    space = ng.H1(mesh, order=order, dirichlet="fixed")
    if section.repeats is not None:
        space = ng.Periodic(space, phase=[section.repeats])
    trial = space.TrialFunction()
    square = ng.grad(trial) * ng.grad(trial)
    ampere = ng.Parameter(0.0)
    air = mesh.Materials("|".join(sorted(set(mesh.GetMaterials()) - set(section.steels))))
    energy = ng.BilinearForm(space, symmetric=True)
    for name, law in section.steels.items():
        density = _spline(law).Integrate()
        energy += ng.SymbolicEnergy(density(ng.sqrt(square + 1e-16)), definedon=mesh.Materials(name))
    energy += ng.SymbolicEnergy(0.5 / MU0 * square, definedon=air)
    energy += ng.SymbolicEnergy(-ampere * current_density(section, turns) * trial)
    a = ng.GridFunction(space)
    fields = []
    scale = 0.0
    for current in currents:
        ampere.Set(current)
        # The energy of the last solution sets the scale; the first one has none, and takes its own from a rough start.
        if scale == 0.0:
            NewtonMinimization(energy, a, maxit=40, maxerr=math.inf, inverse="sparsecholesky", printing=False)
            scale = abs(energy.Energy(a.vec))
        failed, steps = NewtonMinimization(
            energy, a, maxit=40, maxerr=tolerance * math.sqrt(scale), inverse="sparsecholesky", printing=False
        )
        if failed:
            raise Unconverged(f"NGSolve's Newton took {steps} steps at {current:g} A")
        functional = float(energy.Energy(a.vec))
        scale = abs(functional)
        fluxes = section.length * np.array([flux_between(mesh, a, *sides) for sides in section.coils])
        stored = section.length * functional + current * float(np.array(turns) @ fluxes)
        kept = ng.GridFunction(space)
        kept.vec.data = a.vec
        fields.append(Field(kept, fluxes, stored, -section.length * functional, space.ndof, steps))
    return fields


def _spline(law: Law) -> ng.BSpline:
    return ng.BSpline(2, [0.0, *KNOTS], list(law.evaluate(KNOTS)[0]))
