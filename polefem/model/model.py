"""Meshes and steels as the discrete magnetic energy of one sector, per length: what is fixed before any angle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.constants import mu_0

from polefem.materials import Steel
from polefem.mesh import Mesh
from polefem.model.constraints import Tie, tie
from polefem.model.forms import CurlRows, curl_rows, density_loads, stiffness
from polefem.model.trace import Trace, trace_of
from polefem.outline import Label

__all__ = ["IRON_ORDER", "Iron", "Model", "Source", "build_model"]

#: The tangent of quadratic elements is exact to this degree on straight-sided triangles of one permeability.
IRON_ORDER = 2


@dataclass(frozen=True)
class Source:
    """A coil side as a source: the stator region that holds it, its phase, its current per ampere of phase current."""

    region: Label
    phase: int
    current: float


@dataclass(frozen=True, eq=False)
class Iron:
    """All iron of one side, or a shaft: its steel and the flux density at its quadrature points, over the unknowns."""

    steel: Steel
    rows: CurlRows


@dataclass(frozen=True, eq=False)
class Model:
    """One sector, ready to be solved at any angle and current; rotor unknowns come before stator unknowns.

    air: sparse, shape (size, size), m/H: second derivative of the energy of all that is not iron (gap apart).
    irons: of rotor and stator, then of a shaft that carries flux. loads: ndarray, shape (n_phases, size), A per
    (Wb/m) and ampere: source of each phase, and flux linkage of each phase per length. rotor_trace, stator_trace:
    at the gap; rotor_at, stator_at: their unknowns among the model's. scale: sectors times stack length, m: from a
    sector's integral per length to the machine's. log_ratio: L of the gap's annulus. rotor_tie, stator_tie: from
    unknowns to nodal values. sources: the coil sides whose loads these are.
    """

    air: sp.csr_matrix
    irons: tuple[Iron, ...]
    loads: NDArray[np.float64]
    rotor_trace: Trace
    stator_trace: Trace
    rotor_at: NDArray[np.int64]
    stator_at: NDArray[np.int64]
    scale: float
    log_ratio: float
    sectors: int
    antiperiodic: bool
    rotor_mesh: Mesh
    stator_mesh: Mesh
    rotor_tie: Tie
    stator_tie: Tie
    sources: tuple[Source, ...]

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return self.rotor_tie.size + self.stator_tie.size

    def __repr__(self) -> str:
        kind = "antiperiodic" if self.antiperiodic else "periodic"
        return f"Model({self.size} unknowns; 1 of {self.sectors} {kind} sectors)"


def build_model(
    meshes: tuple[Mesh, Mesh],
    steels: tuple[Steel, Steel],
    sources: tuple[Source, ...],
    phases: int,
    length: float,
    log_ratio: float,
    radius: float,
    antiperiodic: bool,
    shaft: Steel | None = None,
) -> Model:
    """The model of a rotor and a stator mesh (in that order) with their steels, sources and symmetry.

    shaft: the steel of triangles of the material "shaft"; None where there are none.
    """
    ties = tuple(tie(mesh, antiperiodic) for mesh in meshes)
    offsets = (0, ties[0].size)
    size = ties[0].size + ties[1].size
    blocks, irons, shafts, traces, chosen = [], [], [], [], []
    for mesh, own, steel, offset in zip(meshes, ties, steels, offsets, strict=True):
        iron, core = mesh.of_material("iron"), mesh.of_material("shaft")
        other = np.setdiff1d(np.arange(len(mesh.triangles)), [*iron, *core])
        blocks.append(stiffness(mesh, own, other) / mu_0)
        irons.append(Iron(steel, _shifted(curl_rows(mesh, own, iron, IRON_ORDER), offset)))
        if shaft is not None and len(core):
            shafts.append(Iron(shaft, _shifted(curl_rows(mesh, own, core, IRON_ORDER), offset)))
        trace, at = trace_of(mesh, own, radius)
        traces.append(trace)
        chosen.append(at + offset)
    loads = np.zeros((phases, size))
    coils = density_loads(meshes[1], ties[1], [meshes[1].of_region(source.region) for source in sources])
    for source, (shape, area) in zip(sources, coils, strict=True):
        loads[source.phase, offsets[1] :] += source.current * shape / area
    return Model(
        air=sp.csr_matrix(sp.block_diag(blocks, format="csr")),
        irons=(*irons, *shafts),
        loads=loads,
        rotor_trace=traces[0],
        stator_trace=traces[1],
        rotor_at=chosen[0],
        stator_at=chosen[1],
        scale=meshes[0].sectors * length,
        log_ratio=log_ratio,
        sectors=meshes[0].sectors,
        antiperiodic=antiperiodic,
        rotor_mesh=meshes[0],
        stator_mesh=meshes[1],
        rotor_tie=ties[0],
        stator_tie=ties[1],
        sources=sources,
    )


def _shifted(rows: CurlRows, offset: int) -> CurlRows:
    return CurlRows(rows.columns + offset, rows.x, rows.y, rows.weights, rows.triangles)
