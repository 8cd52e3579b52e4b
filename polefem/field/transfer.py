"""Mesh transfer: fields on one mesh of a section, on another, where a solution that is known on a finer one starts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import KDTree

from polefem.model import Model

__all__ = ["transferred"]

Floats = NDArray[np.float64]


def transferred(fields: Floats, source: Model, target: Model) -> Floats:
    """Fields of shape (n_fields, source.size) as unknowns of another model of the section, (n_fields, target.size).

    Linear between the nodes of the source; outside them (its arcs cut off less than the target's) as at the nearest.
    """
    found = np.empty((len(fields), target.size))
    first, into = 0, 0
    for mesh, tie, other, other_tie in (
        (source.rotor_mesh, source.rotor_tie, target.rotor_mesh, target.rotor_tie),
        (source.stator_mesh, source.stator_tie, target.stator_mesh, target.stator_tie),
    ):
        values = tie.signs[:, None] * fields.T[first + tie.index]
        nodal = LinearNDInterpolator(mesh.points, values)(other.points)
        outside = np.isnan(nodal[:, 0])
        nodal[outside] = values[KDTree(mesh.points).query(other.points[outside])[1]]
        free = other_tie.signs != 0.0
        found[:, into + other_tie.index[free]] = (other_tie.signs[free, None] * nodal[free]).T
        first, into = first + tie.size, into + other_tie.size
    return found
