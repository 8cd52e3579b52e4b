"""Natural frequencies of the outer ring as it is, poles and all: plane stress on the mesh of its iron.

Quadratic elements on the triangles that the field has, copied round the turn. Copper swings with the pole that it is
wound on and does not stiffen it: it makes the iron of the poles heavier. Along the shaft nothing varies.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.linalg import eigsh
from skfem import Basis, BilinearForm, ElementDG, ElementTriP0, ElementTriP2, ElementVector, MeshTri2
from skfem.helpers import ddot, dot, eye, sym_grad, trace

from polefem.errors import SolveFailed
from polefem.field import BuiltMachine
from polefem.mesh import Mesh
from polefem.ring.handbook import ring_frequencies
from polefem.ring.ring import Mount, Ring

__all__ = ["RingModes", "iron_of_turn", "natural_frequencies", "plane_modes", "ring_modes"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Quadrature of stiffness and mass: exact on straight-sided triangles.
ORDER = 4
#: Modes that are looked for, the three in which a free ring moves as a whole among them.
MODES = 30
#: Below this, Hz, a mode is the whole ring's motion.
STILL = 1.0
#: A mode is mostly of an order where so much of the yoke's motion is.
MOSTLY = 0.5


@dataclass(frozen=True, eq=False)
class RingModes:
    """Modes of a ring, by rising frequency.

    frequencies: ndarray, shape (n_modes,), Hz. orders: ndarray, shape (n_modes,): how many waves the yoke makes round
    the turn, mostly. shares: ndarray, shape (n_modes,): of that order in the yoke's motion along the radius. mount: as
    asked. points: ndarray, shape (n_nodes, 2), m. moves: ndarray, shape (n_modes, n_nodes, 2): how each node moves,
    the most by 1.
    """

    frequencies: Floats
    orders: Ints
    shares: Floats
    mount: Mount
    points: Floats
    moves: Floats

    def __post_init__(self) -> None:
        for array in (self.frequencies, self.orders, self.shares, self.points, self.moves):
            array.flags.writeable = False

    def of_order(self, order: int) -> float | None:
        """The lowest natural frequency of an order, Hz; None where none of the modes is mostly of it."""
        own = self.frequencies[(self.orders == order) & (self.shares > MOSTLY)]
        return float(own[0]) if own.size else None

    def by_order(self, orders: Iterable[int] = (0, 2, 3, 4)) -> dict[int, float]:
        """Those that were found, Hz, by order."""
        found = {order: self.of_order(order) for order in orders}
        return {order: hertz for order, hertz in found.items() if hertz is not None}


def ring_modes(whole: BuiltMachine, ring: Ring, mount: Mount = "free", count: int = MODES) -> RingModes:
    """Modes of the outer ring of a machine, `ring` as `outer_ring` gives it.

    Raises MeshFailed as the field does, SolveFailed where the modes do not converge.
    """
    model = whole.systems[0].model
    mesh = model.stator_mesh if ring.member == "stator" else model.rotor_mesh
    points, triangles = iron_of_turn(mesh)
    corners = points[triangles[:, :3]].mean(axis=1)
    pole = np.hypot(*corners.T) < ring.inner
    # What hangs on the poles makes their iron heavier; the ratio is that of masses as they are weighed.
    heavier = 1.0 + ring.copper_mass / ring.pole_mass if ring.pole_mass > 0.0 else 1.0
    density = np.where(pole, ring.density * heavier, ring.density)
    return plane_modes(points, triangles, density, ring, mount, count)


def natural_frequencies(
    whole: BuiltMachine, ring: Ring, mount: Mount = "free", orders: Iterable[int] = (0, 2, 3, 4, 6, 8)
) -> dict[int, float]:
    """Natural frequencies of the outer ring by order, Hz: of the modes as far as there are some, of a free ring by the
    handbook beyond them. Raises as `ring_modes`."""
    wanted = tuple(orders)
    found = ring_modes(whole, ring, mount).by_order(wanted)
    return {**(ring_frequencies(ring, wanted) if mount == "free" else {}), **found}


def iron_of_turn(mesh: Mesh) -> tuple[Floats, Ints]:
    """Points (m, shape (n, 2)) and triangles (shape (k, 6)) of the iron of a side, round the whole turn."""
    sector, nodes = mesh.triangles[mesh.of_material("iron")], len(mesh.points)
    z = mesh.points[:, 0] + 1j * mesh.points[:, 1]
    every = np.concatenate([z * np.exp(1j * copy * mesh.span) for copy in range(mesh.sectors)])
    number = np.arange(len(every))
    for copy in range(mesh.sectors):
        # The high end of each copy is the low end of the next.
        number[copy * nodes + mesh.high] = (copy + 1) % mesh.sectors * nodes + mesh.low
    triangles = number[np.concatenate([sector + copy * nodes for copy in range(mesh.sectors)])]
    used, compact = np.unique(triangles, return_inverse=True)
    at = every[used]
    return np.column_stack([at.real, at.imag]), compact.reshape(-1, 6)


def plane_modes(
    points: Floats, triangles: Ints, density: Floats, ring: Ring, mount: Mount, count: int = MODES
) -> RingModes:
    """Modes of a plane body of curved triangles (as in `Mesh`) with the stiffness of a ring.

    density: ndarray, shape (n_triangles,), kg/m3. Held at rest, where clamped: nodes on the ring's outside.
    """
    basis, node = _basis(points, triangles)
    stiff, mass = _matrices(basis, density, ring)
    dofs = np.zeros((len(points), 2), dtype=np.int64)
    dofs[node] = np.arange(basis.N).reshape(-1, 2)
    held = (
        np.hypot(*points.T) > ring.outer * (1 - 1e-6) if mount == "clamped" else np.zeros(len(points), bool)
    )
    free = np.setdiff1d(np.arange(basis.N), dofs[held].ravel())
    shift = -((2 * math.pi * 100.0) ** 2)  # below all: the matrix to be factored is then positive definite
    try:
        values, vectors = eigsh(
            stiff[free][:, free], k=count, M=mass[free][:, free], sigma=shift, v0=np.ones(len(free))
        )
    except RuntimeError as problem:
        raise SolveFailed(f"the modes of the ring were not found: {problem}") from problem
    moves = np.zeros((len(values), basis.N))
    moves[:, free] = vectors.T
    frequencies = np.sqrt(np.maximum(values, 0.0)) / (2 * math.pi)
    moving = frequencies > STILL
    order = np.argsort(frequencies[moving])
    nodal = moves[moving][order][:, dofs]
    nodal /= np.abs(nodal).max(axis=(1, 2), keepdims=True)
    orders, shares = _orders(points, nodal, ring)
    return RingModes(frequencies[moving][order], orders, shares, mount, points, nodal)


def _basis(points: Floats, triangles: Ints) -> tuple[Basis, Ints]:
    """The quadratic basis of two components, and the node of each pair of its degrees of freedom."""
    curved = MeshTri2(np.ascontiguousarray(points.T), np.ascontiguousarray(triangles.T))
    basis = Basis(curved, ElementVector(ElementTriP2()), intorder=ORDER)
    scalar = Basis(curved, ElementTriP2(), intorder=ORDER)
    node = np.empty(scalar.N, dtype=np.int64)
    node[scalar.element_dofs] = triangles.T
    return basis, node


def _matrices(basis: Basis, density: Floats, ring: Ring) -> tuple[sp.csr_matrix, sp.csr_matrix]:
    """Stiffness and mass per length, Hooke's law in plane stress."""
    shear = ring.modulus / (2 * (1 + ring.poisson))
    along = ring.modulus * ring.poisson / (1 - ring.poisson**2)

    @BilinearForm  # type: ignore[untyped-decorator]
    def stiffness(u: Any, v: Any, _: Any) -> Any:
        strain = sym_grad(u)
        return ddot(2 * shear * strain + along * eye(trace(strain), 2), sym_grad(v))

    @BilinearForm  # type: ignore[untyped-decorator]
    def inertia(u: Any, v: Any, w: Any) -> Any:
        return w.density * dot(u, v)

    each = basis.with_element(ElementDG(ElementTriP0()))
    heavy = np.zeros(each.N)
    heavy[each.element_dofs[0]] = density
    return stiffness.assemble(basis), inertia.assemble(basis, density=each.interpolate(heavy))


def _orders(points: Floats, moves: Floats, ring: Ring, most: int = 12) -> tuple[Ints, Floats]:
    """The order that is strongest in the yoke's motion along the radius, of each mode, and its share."""
    z = points[:, 0] + 1j * points[:, 1]
    yoke = np.abs(z) >= ring.inner * (1 - 1e-9)
    z = z[yoke]
    unit = z / np.abs(z)
    radial = moves[:, yoke, 0] * unit.real + moves[:, yoke, 1] * unit.imag
    waves = unit[:, None] ** -np.arange(most + 1)
    # A wave has its square shared by the orders above and below 0; the swelling has it all.
    power = np.abs(radial @ waves) ** 2 * np.where(np.arange(most + 1) == 0, 1.0, 2.0)
    total = np.maximum(power.sum(axis=1), 1e-300)
    strongest = power.argmax(axis=1)
    return strongest, power.max(axis=1) / total
