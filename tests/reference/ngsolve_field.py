"""An independent reference: nonlinear magnetostatics of one cross section in NGSolve, a general-purpose library.

The whole turn is meshed in one piece by NGSolve's own mesher at every angle, air gap included, with curved third-order
elements, small at every corner of the iron. Nothing of the field is shared with polefem: neither mesh, nor sector, nor
gap coupling, nor the way to the torque. The B-H law alone is shared, on purpose: it is evaluated at every integration
point, so that a comparison is about the field and not about how a table is interpolated.

Method: minimise W(A) - sum of ampere turns times flux over the vector potential A (z component) by Newton steps with
the exact tangent and a line search on the energy; direct factorisation. The torque is taken twice, from different
regions of the air: by the stress weighted over the middle third of the gap (A. Arkkio, thesis, Helsinki 1987, from
memory), and by virtual work with a velocity that is rigid on the rotor's surface and harmonic in between (as
after J. L. Coulomb, IEEE Trans. Magn. 19, 1983, from memory). How far the two differ says how good the mesh is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import ngsolve as ng
import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Field",
    "Law",
    "Section",
    "Unconverged",
    "magnetostatic",
    "torque_by_stress",
    "torque_by_virtual_work",
]

MU0 = 4e-7 * math.pi
STEPS = 60  # of Newton's method; a dozen is usual
ng.ngsglobals.msg_level = 0
ng.SetNumThreads(1)


class Unconverged(RuntimeError):
    """Newton's method used up its steps."""


class Law(Protocol):
    """What a steel must tell: H (A/m), dH/dB (m/H) and energy density (J/m3) at flux densities of 0 or more, T."""

    def evaluate(self, b: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]: ...


@dataclass(frozen=True, eq=False)
class Section:
    """A meshed cross section: which of its materials are steel, and the coil sides with their areas.

    mesh: curved; its boundary "fixed" carries A = 0. steels: material name to law; every other material is air.
    coils: for each coil the names of its plus and its minus side. gap: inner and outer radius of the material
    "gap", a band wholly inside the air gap, m. length: along the shaft, m.
    """

    mesh: Any
    steels: Mapping[str, Law]
    coils: Sequence[tuple[str, str]]
    gap: tuple[float, float]
    length: float


@dataclass(frozen=True, eq=False)
class Field:
    """A solved section: potential A (Wb/m), flux of each coil (Wb: one turn), energies (J), Newton steps taken."""

    potential: Any
    fluxes: NDArray[np.float64]
    energy: float
    coenergy: float
    unknowns: int
    steps: int


class _Iron:
    """Law and tangent of all steels at the integration points, as functions that forms can hold."""

    def __init__(self, section: Section, order: int) -> None:
        mesh = section.mesh
        names = list(section.steels)
        spaces = {
            name: ng.comp.IntegrationRuleSpace(mesh, order=order, definedon=mesh.Materials(name))
            for name in names
        }
        self.laws = section.steels
        self.measure = {
            name: ng.dx(definedon=mesh.Materials(name), intrules=space.GetIntegrationRules())
            for name, space in spaces.items()
        }
        make = {name: [ng.GridFunction(space) for _ in range(4)] for name, space in spaces.items()}
        self.b, self.nu, self.bend, self.density = ({name: make[name][i] for name in names} for i in range(4))

    def look_up(self, potential: Any) -> None:
        slope = ng.grad(potential)
        for name, law in self.laws.items():
            self.b[name].Interpolate(ng.sqrt(slope * slope + 1e-24))
            b = self.b[name].vec.FV().NumPy()
            h, dh_db, energy = law.evaluate(np.array(b))[:3]
            nu = h / b
            self.nu[name].vec.FV().NumPy()[:] = nu
            self.bend[name].vec.FV().NumPy()[:] = (dh_db - nu) / b**2
            self.density[name].vec.FV().NumPy()[:] = energy

    def energy(self, mesh: Any) -> float:
        return sum(ng.Integrate(self.density[name] * self.measure[name], mesh) for name in self.laws)


def magnetostatic(
    section: Section,
    ampere_turns: Sequence[float],
    order: int = 3,
    start: Field | None = None,
    periodic: bool = False,
) -> Field:
    """Solve a section for the ampere turns of each coil (positive: current towards +z in its plus side).

    start: a solution on the same mesh to begin from. Raises Unconverged.
    """
    mesh = section.mesh
    space = ng.H1(mesh, order=order, dirichlet="fixed")
    if periodic:
        space = ng.Periodic(space)
    test, trial = space.TestFunction(), space.TrialFunction()
    sides = {}
    for (plus, minus), turns in zip(section.coils, ampere_turns, strict=True):
        for name, sign in ((plus, 1.0), (minus, -1.0)):
            area = ng.Integrate(1.0, mesh, definedon=mesh.Materials(name))
            sides[name] = sign * turns / area
    current = mesh.MaterialCF(sides, default=0.0)
    source = ng.LinearForm(current * test * ng.dx).Assemble()

    iron = _Iron(section, 2 * order)
    air = mesh.Materials("|".join(sorted(set(mesh.GetMaterials()) - set(section.steels))))
    a = ng.GridFunction(space)
    if start is not None:
        a.vec.data = start.potential.vec
    slope = ng.grad(a)
    tangent = ng.BilinearForm(space, symmetric=True, check_unused=False)
    tangent += 1 / MU0 * ng.grad(trial) * ng.grad(test) * ng.dx(definedon=air)
    residual = ng.LinearForm(space)
    residual += 1 / MU0 * slope * ng.grad(test) * ng.dx(definedon=air)
    for name, measure in iron.measure.items():
        along = (slope * ng.grad(trial)) * (slope * ng.grad(test))
        tangent += (iron.nu[name] * ng.grad(trial) * ng.grad(test) + iron.bend[name] * along) * measure
        residual += iron.nu[name] * slope * ng.grad(test) * measure

    def energies() -> tuple[float, float]:
        iron.look_up(a)
        stored = iron.energy(mesh) + ng.Integrate(
            0.5 / MU0 * slope * slope, mesh, definedon=air, order=2 * order
        )
        return stored, stored - ng.InnerProduct(source.vec, a.vec)

    step, rest, here = a.vec.CreateVector(), a.vec.CreateVector(), a.vec.CreateVector()
    stored, functional = energies()
    gain = math.inf
    free = space.FreeDofs()
    steps = 0
    while True:
        steps += 1
        if steps > STEPS:
            raise Unconverged(
                f"Newton took {STEPS} steps and would still gain {gain:.2g} J/m of {stored:.2g}"
            )
        tangent.Assemble()
        residual.Assemble()
        rest.data = source.vec - residual.vec
        step.data = tangent.mat.Inverse(free, inverse="sparsecholesky") * rest
        gain = ng.InnerProduct(step, rest)
        here.data = a.vec
        length = 1.0
        while True:
            a.vec.data = here + length * step
            stored, lower = energies()
            if lower <= functional - 0.1 * length * gain + 1e-13 * abs(stored) or length < 1e-6:
                break
            length *= 0.5
        functional = lower
        if gain <= 1e-13 * abs(stored) or stored == 0.0:
            break
    fluxes = [section.length * _flux(mesh, a, plus, minus) for plus, minus in section.coils]
    return Field(
        a, np.array(fluxes), section.length * stored, -section.length * functional, space.ndof, steps
    )


def _flux(mesh: Any, a: Any, plus: str, minus: str) -> float:
    """Mean of A over the plus side less that over the minus side, Wb/m."""
    mean = []
    for name in (plus, minus):
        region = mesh.Materials(name)
        mean.append(ng.Integrate(a, mesh, definedon=region) / ng.Integrate(1.0, mesh, definedon=region))
    return mean[0] - mean[1]


def torque_by_stress(section: Section, field: Field) -> float:
    """Torque on the rotor, N m: shear stress times radius, averaged over the radii of the band "gap"."""
    inner, outer = section.gap
    slope = ng.grad(field.potential)
    # With B = (dA/dy, -dA/dx): r B_r B_phi = -(x A_y - y A_x)(x A_x + y A_y) / r.
    turn, grow = ng.x * slope[1] - ng.y * slope[0], ng.x * slope[0] + ng.y * slope[1]
    integrand = -turn * grow / ng.sqrt(ng.x**2 + ng.y**2)
    total = ng.Integrate(integrand, section.mesh, definedon=section.mesh.Materials("gap"), order=8)
    return section.length * total / (MU0 * (outer - inner))


def torque_by_virtual_work(section: Section, field: Field) -> float:
    """Torque on the rotor, N m, by a virtual turn that is rigid on the rotor and fades out over all air up to the bore.

    The air must be named "gap", "gap inner" (with the rotor's valleys) and "gap outer", the rotor's surface "rotor"
    and the bore circle "bore".
    """
    mesh = section.mesh
    air = mesh.Materials("gap|gap inner|gap outer")
    space = ng.H1(mesh, order=2, definedon=air, dirichlet="rotor|bore")
    trial, test = space.TnT()
    fade = ng.GridFunction(space)
    fade.Set(1.0, definedon=mesh.Boundaries("rotor"))
    stiffness = ng.BilinearForm(
        ng.grad(trial) * ng.grad(test) * ng.dx(definedon=air), symmetric=True
    ).Assemble()
    rest = fade.vec.CreateVector()
    rest.data = -stiffness.mat * fade.vec
    fade.vec.data += stiffness.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky") * rest
    slope, weight = ng.grad(field.potential), ng.grad(fade)
    b = ng.CF((slope[1], -slope[0]))
    turn = ng.CF((-ng.y, ng.x))
    stress = (b * weight) * (b * turn) - 0.5 * (b * b) * (weight * turn)
    return -section.length / MU0 * ng.Integrate(stress, mesh, definedon=air, order=8)
