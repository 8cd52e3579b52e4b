"""Fields as values: what one is, and what a machine does with it at one angle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.outline import Label

__all__ = ["Field", "FieldState"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Field:
    """The field over the whole turn, the rotor at its angle.

    points: ndarray, shape (n_points, 2), m. triangles: ndarray, shape (n_triangles, 6): corners, then edge middles,
    as in `Mesh`. a: ndarray, shape (n_points,), Wb/m: vector potential. b: ndarray, shape (n_triangles, 2), T: flux
    density at the triangles' centres. region: ndarray, shape (n_triangles,): index into
    `labels`, which tell member and material. The air between the two gap circles carries no triangles.
    """

    points: Floats
    triangles: Ints
    a: Floats
    b: Floats
    region: Ints
    labels: tuple[Label, ...]

    def __post_init__(self) -> None:
        for array in (self.points, self.triangles, self.a, self.b, self.region):
            array.flags.writeable = False


@dataclass(frozen=True, eq=False)
class FieldState:
    """What a machine does at one angle under one set of phase currents.

    angle: rad. phase_currents: ndarray, shape (n_phases,), A. torque: N m. flux_linkages: ndarray, shape (n_phases,),
    Wb. coenergy: J. field: over the whole turn, of an axial machine on its middle
    cut. message: how the solution ended.
    """

    angle: float
    phase_currents: Floats
    torque: float
    flux_linkages: Floats
    coenergy: float
    field: Field
    message: str
