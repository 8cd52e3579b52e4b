"""The weak forms of the field, and the discrete curl that all nonlinear work is done with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from skfem import Basis, BilinearForm, ElementTriP2, MeshTri2
from skfem.assembly import Dofs
from skfem.helpers import dot, grad

from polefem.mesh import Mesh
from polefem.model.constraints import Tie

__all__ = ["AIR_ORDER", "CurlRows", "ShapeRows", "curl_rows", "density_loads", "shape_rows", "stiffness"]

#: Quadrature of all that is not iron is exact to this degree on straight-sided triangles.
AIR_ORDER = 4

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@BilinearForm  # type: ignore[untyped-decorator]
def laplace(u: Any, v: Any, _: Any) -> Any:
    """Inner product of two flux densities: B = (dA/dy, -dA/dx), so the product of gradients."""
    return dot(grad(u), grad(v))


def _basis(mesh: Mesh, triangles: Ints, order: int) -> tuple[Basis, Ints]:
    """The quadratic basis on some triangles, and the mesh node of each of its degrees of freedom."""
    curved, dofs, node = _numbered(mesh)
    return Basis(curved, ElementTriP2(), elements=triangles, intorder=order, dofs=dofs), node


@lru_cache(maxsize=2)  # those of a machine's two sides, which are asked for material by material
def _numbered(mesh: Mesh) -> tuple[MeshTri2, Dofs, Ints]:
    """The mesh, its degrees of freedom and the node of each."""
    curved = MeshTri2(np.ascontiguousarray(mesh.points.T), np.ascontiguousarray(mesh.triangles.T))
    dofs = Dofs(curved, ElementTriP2())
    node = np.empty(dofs.N, dtype=np.int64)
    node[dofs.element_dofs] = mesh.triangles.T
    return curved, dofs, node


def _expansion(tie: Tie, node: Ints) -> sp.csr_matrix:
    """Matrix from unknowns to degrees of freedom, shape (n_dofs, size)."""
    return sp.csr_matrix(
        (tie.signs[node], (np.arange(len(node)), tie.index[node])), shape=(len(node), tie.size)
    )


def stiffness(mesh: Mesh, tie: Tie, triangles: Ints) -> sp.csr_matrix:
    """Integral of grad u . grad v over some triangles, between unknowns, shape (size, size)."""
    basis, node = _basis(mesh, triangles, AIR_ORDER)
    expand = _expansion(tie, node)
    return sp.csr_matrix(expand.T @ laplace.assemble(basis) @ expand)


@dataclass(frozen=True, eq=False)
class ShapeRows:
    """The shape functions at every quadrature point of some triangles, over the nodes of their mesh.

    nodes: ndarray, shape (n_points, 6). values, along_x, along_y: ndarrays, shape (n_points, 6): shape functions and
    their derivatives, 1/m. weights: ndarray, shape (n_points,), m2. triangles: ndarray, shape (n_points,): the triangle
    each point lies in.
    """

    nodes: Ints
    values: Floats
    along_x: Floats
    along_y: Floats
    weights: Floats
    triangles: Ints


def shape_rows(mesh: Mesh, triangles: Ints, order: int) -> ShapeRows:
    """The shape functions at the quadrature points (exact to polynomial degree `order`) of some triangles."""
    basis, node = _basis(mesh, triangles, order)
    points = basis.dx.shape[1]
    shapes = [field[0] for field in basis.basis]
    gradients = np.stack([shape.grad for shape in shapes], axis=-1)  # (2, n_triangles, n_points, 6)
    values = np.stack([np.broadcast_to(np.asarray(shape), basis.dx.shape) for shape in shapes], axis=-1)
    return ShapeRows(
        np.repeat(node[basis.element_dofs].T, points, axis=0),
        values.reshape(-1, 6),
        gradients[0].reshape(-1, 6),
        gradients[1].reshape(-1, 6),
        basis.dx.ravel(),
        np.repeat(triangles, points),
    )


def density_loads(mesh: Mesh, tie: Tie, regions: Sequence[Ints]) -> list[tuple[Floats, float]]:
    """Of each region, the numbers of some triangles: the integral of each unknown's shape, shape (size,), m2, and the
    area, m2."""
    if not regions:
        return []
    found: list[tuple[Floats, float]] = []
    rows = shape_rows(mesh, np.concatenate(regions), AIR_ORDER)
    parts, unknowns = rows.weights[:, None] * rows.values * tie.signs[rows.nodes], tie.index[rows.nodes]
    ends = np.cumsum([len(region) for region in regions]) * (len(rows.weights) // sum(map(len, regions)))
    for part, weights, at in zip(
        *(np.split(each, ends[:-1]) for each in (parts, rows.weights, unknowns)), strict=True
    ):
        load = np.bincount(at.ravel(), weights=part.ravel(), minlength=tie.size)
        found.append((np.asarray(load, dtype=np.float64), float(weights.sum())))
    return found


@dataclass(frozen=True, eq=False)
class CurlRows:
    """Flux density at every quadrature point of some triangles, as rows over the unknowns.

    columns: ndarray, shape (n_points, 6): unknowns each point depends on. x, y: ndarrays, shape (n_points, 6), 1/m:
    B_x = sum of x * unknowns[columns], likewise B_y; zero where the node's value is held at zero. weights: ndarray,
    shape (n_points,), m2. triangles: ndarray, shape (n_points,): the triangle each point lies in.
    """

    columns: Ints
    x: Floats
    y: Floats
    weights: Floats
    triangles: Ints


def curl_rows(mesh: Mesh, tie: Tie, triangles: Ints, order: int) -> CurlRows:
    """The rows of B = curl A at the quadrature points (exact to polynomial degree `order`) of some triangles."""
    rows = shape_rows(mesh, triangles, order)
    signs = tie.signs[rows.nodes]
    # A held node borrows a neighbour's number (its values are zero), so that it adds no entry to any matrix.
    columns = np.where(signs != 0.0, tie.index[rows.nodes], -1)
    columns = np.where(columns < 0, columns.max(axis=1, keepdims=True), columns)
    return CurlRows(columns, rows.along_y * signs, -rows.along_x * signs, rows.weights, rows.triangles)
