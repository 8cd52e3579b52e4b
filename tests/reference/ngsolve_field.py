"""An independent reference: nonlinear magnetostatics of one cross section in NGSolve, a general-purpose library.

The whole turn is meshed in one piece by NGSolve's own mesher at every angle, air gap included, with curved
third-order elements, small at every corner of the iron. Nothing of the field is shared with polefem: neither mesh,
nor sector, nor gap coupling, nor the way to the torque. The B-H law alone is shared, on purpose: it is evaluated at
every integration point, so that a comparison is about the field and not about how a table is interpolated.

Method: minimise the energy less the sum of ampere turns times flux over the vector potential A (z component), by
Newton steps with the exact tangent and a line search; direct factorisation. The torque is taken twice, over different
regions of the air: by the stress averaged over a band inside the gap (A. Arkkio, thesis, Helsinki 1987, from memory),
and by virtual work with a velocity that is rigid on the rotor's surface and harmonic beyond (as after J. L. Coulomb,
IEEE Trans. Magn. 19, 1983, from memory). How far the two differ says how good the mesh is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import ngsolve as ng
import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Field",
    "Law",
    "Level",
    "Reference",
    "Section",
    "Unconverged",
    "current_density",
    "flux_between",
    "force_by_virtual_work",
    "magnetostatic",
    "over_currents",
    "torque_by_stress",
    "torque_by_virtual_work",
    "total",
]

MU0 = 4e-7 * math.pi
STEPS = 60  # of Newton's method; a dozen is usual
ng.ngsglobals.msg_level = 0
ng.SetNumThreads(1)

Floats = NDArray[np.float64]


class Unconverged(RuntimeError):
    """Newton's method used up its steps."""


class Law(Protocol):
    """What a steel must tell: H (A/m), dH/dB (m/H), energy density (J/m3) at flux densities of 0 or more, T."""

    def evaluate(self, b: Floats) -> tuple[Floats, Floats, Floats]: ...


@dataclass(frozen=True)
class Level:
    """How fine: element sizes at corners near the gap and in the gap (as parts of the air gap), at pole roots and
    elsewhere (of the pole width), and how fast they may grow (netgen's grading, between 0 and 1)."""

    corner: float
    gap: float
    root: float
    iron: float
    grading: float

    @classmethod
    def numbered(cls, number: int) -> Level:
        """Level 0, 1, 2 ...: each half the size of the one before at corners, 1 / sqrt(2) elsewhere."""
        half, less = 0.5**number, 0.5 ** (number / 2)
        return cls(0.2 * half, 0.6 * less, 0.04 * half, 0.2 * less, 0.4 * 0.9**number)


@dataclass(frozen=True, eq=False)
class Section:
    """A meshed cross section: which of its materials are steel, and where its coil sides are.

    mesh: curved; A = 0 on its boundary "fixed". steels: from material name to law; every other material is air.
    Air between the rotor's surface (boundary "rotor") and the band is the material "rotor air", the band itself
    "gap", its other end the boundary "fence". coils: for each coil the names of its plus and its minus side. gap:
    where the band begins and ends (radius; flat: x), m, the rotor's end first. length: along the shaft, m, times the
    number of such sections in a turn. repeats: A at one end over A at the other where the section is not a whole turn
    and its ends are one in the mesh. flat: an unrolled section, y along the motion, one radian is `radius` metres.
    """

    mesh: Any
    steels: Mapping[str, Law]
    coils: Sequence[tuple[str, str]]
    gap: tuple[float, float]
    length: float
    repeats: float | None = None
    flat: bool = False
    radius: float = 1.0


@dataclass(frozen=True, eq=False)
class Field:
    """A solved section: potential A (Wb/m), flux of each coil (one turn, Wb), energies (J), Newton steps taken."""

    potential: Any
    fluxes: Floats
    energy: float
    coenergy: float
    unknowns: int
    steps: int


@dataclass(frozen=True, eq=False)
class Reference:
    """What a set of coils in series shows at one current (A): flux linkage (Wb), torque by stress and by virtual work
    (N m), co-energy (J); flux of each coil (one turn, Wb); unknowns and Newton steps."""

    current: float
    flux_linkage: float
    torque: float
    torque_virtual: float
    coenergy: float
    fluxes: Floats
    unknowns: int
    steps: int


def over_currents(
    section: Section,
    turns: Sequence[float] | Floats,
    currents: Sequence[float],
    order: int = 3,
    fine: float = 1e-13,
) -> tuple[Reference, ...]:
    """Solve a section for ascending currents (A) in coils of the given signed turns, each from the last solution."""
    results: list[Reference] = []
    field: Field | None = None
    for current in currents:
        field = magnetostatic(section, current * np.array(turns), order, field, fine)
        results.append(
            Reference(
                current=current,
                flux_linkage=float(np.array(turns) @ field.fluxes),
                torque=torque_by_stress(section, field),
                torque_virtual=torque_by_virtual_work(section, field),
                coenergy=field.coenergy,
                fluxes=field.fluxes,
                unknowns=field.unknowns,
                steps=field.steps,
            )
        )
    return tuple(results)


def total(parts: Sequence[Reference]) -> Reference:
    """Sections in a row along the shaft, or from cut to cut, as one."""
    sums = ("flux_linkage", "torque", "torque_virtual", "coenergy", "unknowns", "steps")
    added = {name: sum(getattr(part, name) for part in parts) for name in sums}
    return replace(parts[0], fluxes=np.sum([part.fluxes for part in parts], axis=0), **added)


def magnetostatic(
    section: Section,
    ampere_turns: Sequence[float] | Floats,
    order: int = 3,
    start: Field | None = None,
    fine: float = 1e-13,
) -> Field:
    """Solve a section for the ampere turns of each coil (positive: current towards +z in its plus side).

    start: a solution on the same mesh to begin from. fine: part of the energy that a last step may still gain. Raises
    Unconverged.
    """
    problem = _Problem(section, ampere_turns, order)
    a = problem.a
    if start is not None:
        a.vec.data = start.potential.vec
    here = a.vec.CreateVector()
    stored, functional = problem.energies()
    gains: list[float] = []
    while len(gains) < STEPS:
        step, gain = problem.step()
        gains.append(gain)
        here.data = a.vec
        part = 1.0
        while True:
            a.vec.data = here + part * step
            stored, reached = problem.energies()
            if reached <= functional - 0.1 * part * gain + fine * stored or part < 1e-6:
                break
            part *= 0.5
        functional = reached
        if gain <= fine * stored or not np.any(ampere_turns):
            break
    else:
        raise Unconverged(
            f"after {STEPS} steps Newton would still gain {gains[-1]:.2g} J/m of {stored:.2g} J/m"
        )
    length = section.length
    fluxes = length * np.array([flux_between(section.mesh, a, *sides) for sides in section.coils])
    return Field(a, fluxes, length * stored, -length * functional, problem.space.ndof, len(gains))


class _Problem:
    """The energy of one section over A, with its slope and its tangent at the current `a`."""

    def __init__(self, section: Section, ampere_turns: Sequence[float] | Floats, order: int) -> None:
        mesh = self.mesh = section.mesh
        space = ng.H1(mesh, order=order, dirichlet="fixed")
        self.space = space if section.repeats is None else ng.Periodic(space, phase=[section.repeats])
        trial, test = self.space.TnT()
        self.a = ng.GridFunction(self.space)
        self.order = 2 * order
        self.laws = [(law, _Points(mesh.Materials(name), self.order)) for name, law in section.steels.items()]
        self.air = mesh.Materials("|".join(sorted(set(mesh.GetMaterials()) - set(section.steels))))
        self.source = ng.LinearForm(current_density(section, ampere_turns) * test * ng.dx).Assemble()
        slope, in_air = ng.grad(self.a), ng.dx(definedon=self.air)
        self.tangent = ng.BilinearForm(self.space, symmetric=True, check_unused=False)
        self.tangent += 1 / MU0 * ng.grad(trial) * ng.grad(test) * in_air
        self.pull = ng.LinearForm(self.space)
        self.pull += 1 / MU0 * slope * ng.grad(test) * in_air
        for _, at in self.laws:
            bend = at.bend * (slope * ng.grad(trial)) * (slope * ng.grad(test))
            self.tangent += (at.reluctivity * ng.grad(trial) * ng.grad(test) + bend) * at.measure
            self.pull += at.reluctivity * slope * ng.grad(test) * at.measure

    def energies(self) -> tuple[float, float]:
        """Look up the laws at the current A; return the energy stored and the functional, J/m."""
        slope = ng.grad(self.a)
        stored = float(
            ng.Integrate(0.5 / MU0 * slope * slope, self.mesh, definedon=self.air, order=self.order)
        )
        for law, at in self.laws:
            at.look_up(law, ng.sqrt(slope * slope + 1e-24))
            stored += float(ng.Integrate(at.density * at.measure, self.mesh))
        return stored, stored - float(ng.InnerProduct(self.source.vec, self.a.vec))

    def step(self) -> tuple[Any, float]:
        """Newton's step from the current A, and the gain in energy it promises (twice over), J/m."""
        self.tangent.Assemble()
        self.pull.Assemble()
        rest, step = self.a.vec.CreateVector(), self.a.vec.CreateVector()
        rest.data = self.source.vec - self.pull.vec
        step.data = self.tangent.mat.Inverse(self.space.FreeDofs(), inverse="sparsecholesky") * rest
        return step, float(ng.InnerProduct(step, rest))


class _Points:
    """A law's values at the integration points of one steel, as functions that forms can hold."""

    def __init__(self, region: Any, order: int) -> None:
        space = ng.comp.IntegrationRuleSpace(region.mesh, order=order, definedon=region)
        self.measure = ng.dx(definedon=region, intrules=space.GetIntegrationRules())
        self.b, self.reluctivity, self.bend, self.density = (ng.GridFunction(space) for _ in range(4))

    def look_up(self, law: Law, b: Any) -> None:
        """Evaluate the law at flux density `b`, T."""
        self.b.Interpolate(b)
        at = np.array(self.b.vec.FV().NumPy())
        h, dh_db, energy = law.evaluate(at)
        self.reluctivity.vec.FV().NumPy()[:] = h / at
        self.bend.vec.FV().NumPy()[:] = (dh_db - h / at) / at**2
        self.density.vec.FV().NumPy()[:] = energy


def current_density(section: Section, ampere_turns: Sequence[float] | Floats) -> Any:
    """Current density, A/m2, spread evenly over each coil side."""
    densities = {}
    for (plus, minus), turns in zip(section.coils, ampere_turns, strict=True):
        for name, signed in ((plus, turns), (minus, -turns)):
            region = section.mesh.Materials(name)
            densities[name] = signed / ng.Integrate(1.0, section.mesh, definedon=region)
    return section.mesh.MaterialCF(densities, default=0.0)


def flux_between(mesh: Any, a: Any, plus: str, minus: str) -> float:
    """Mean of A over the plus side less that over the minus side, Wb/m."""
    mean = []
    for name in (plus, minus):
        region = mesh.Materials(name)
        mean.append(ng.Integrate(a, mesh, definedon=region) / ng.Integrate(1.0, mesh, definedon=region))
    return float(mean[0] - mean[1])


def torque_by_stress(section: Section, field: Field) -> float:
    """Torque on the rotor, N m: shear stress times radius, averaged across the band "gap"."""
    begins, ends = section.gap
    slope = ng.grad(field.potential)
    if section.flat:  # B = (dA/dy, -dA/dx); the shear stress is Bx By / mu0
        integrand = -section.radius * slope[1] * slope[0]
    else:  # the same in polar coordinates: r Br Bphi = -(x Ay - y Ax) (x Ax + y Ay) / r
        turn, grow = ng.x * slope[1] - ng.y * slope[0], ng.x * slope[0] + ng.y * slope[1]
        integrand = -turn * grow / ng.sqrt(ng.x**2 + ng.y**2)
    band = section.mesh.Materials("gap")
    total = ng.Integrate(
        integrand, section.mesh, definedon=band, order=2 * field.potential.space.globalorder + 2
    )
    return float(section.length * total / (MU0 * (ends - begins)))


def torque_by_virtual_work(section: Section, field: Field, axis: complex = 0.0) -> float:
    """Torque on the rotor about an axis (m), N m: of air that turns with the rotor's surface at one radian a second."""
    turning = ng.CF((axis.imag - ng.y, ng.x - axis.real))
    return _power(section, field, ng.CF((0.0, section.radius)) if section.flat else turning)


def force_by_virtual_work(section: Section, field: Field) -> complex:
    """Force on the rotor of a round section, N, x + i y: of air that goes with its surface at a metre a second."""
    x, y = (_power(section, field, ng.CF(way)) for way in ((1.0, 0.0), (0.0, 1.0)))
    return complex(x, y)


def _power(section: Section, field: Field, velocity: Any) -> float:
    """Minus the stress times the strain rate of air that moves with the rotor's surface, which is rigid, and rests at
    the fence."""
    mesh = section.mesh
    air = mesh.Materials("gap|rotor air")
    space = ng.H1(mesh, order=2, definedon=air, dirichlet="rotor|fence")
    if section.repeats is not None:
        space = ng.Periodic(space)
    trial, test = space.TnT()
    share = ng.GridFunction(space)
    share.Set(1.0, definedon=mesh.Boundaries("rotor"))
    stiffness = ng.BilinearForm(
        ng.grad(trial) * ng.grad(test) * ng.dx(definedon=air), symmetric=True
    ).Assemble()
    rest = share.vec.CreateVector()
    rest.data = -stiffness.mat * share.vec
    share.vec.data += stiffness.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky") * rest
    slope, weight = ng.grad(field.potential), ng.grad(share)
    b = ng.CF((slope[1], -slope[0]))
    power = (b * weight) * (b * velocity) - 0.5 * (b * b) * (weight * velocity)
    order = 2 * field.potential.space.globalorder + 2
    return float(-section.length / MU0 * ng.Integrate(power, mesh, definedon=air, order=order))
