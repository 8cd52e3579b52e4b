"""Mesh transfer: fields of one mesh of a section on another, or turned and mirrored, to start others from."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import KDTree

from polefem.mesh import Mesh
from polefem.model import Model

__all__ = ["transferred", "turned"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


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


def turned(model: Model, turns: tuple[float, float], mirrored: bool) -> tuple[Ints, Floats]:
    """Where a field's unknowns come from once it is mirrored about the axis of the first poles, then turned: index and
    sign of each, shape (size,).

    turns: of rotor and stator, each in its own frame, in parts of the whole turn. Exact where that takes the meshes
    onto themselves; elsewhere each node is given what the nearest has. Mirrored currents change their sign.
    """
    sides = (model.rotor_mesh, model.rotor_tie), (model.stator_mesh, model.stator_tie)
    indices, signs, first = [], [], 0
    for (mesh, tie), turn in zip(sides, turns, strict=True):
        source, wraps = _sources(mesh, turn, mirrored)
        sign = tie.signs[source] * np.where(wraps % 2, -1.0 if model.antiperiodic else 1.0, 1.0)
        free = np.flatnonzero(tie.signs)
        onto = np.zeros(tie.size, dtype=np.int64)
        onto[tie.index[free]] = free
        indices.append(first + tie.index[source][onto])
        signs.append((-1.0 if mirrored else 1.0) * sign[onto] * tie.signs[onto])
        first += tie.size
    return np.concatenate(indices), np.concatenate(signs)


def _sources(mesh: Mesh, turn: float, mirrored: bool) -> tuple[Ints, Ints]:
    """The node that comes to each node's place, and over how many sectors it is carried."""
    x, y = mesh.points.T
    level, along = (x, y) if mesh.flat else (np.hypot(x, y), np.arctan2(y, x))
    start = along[mesh.low[-1]]
    if not mesh.flat:
        along = start + (along - start + 1e-9) % (2 * np.pi) - 1e-9
    back = (along - turn * mesh.sectors * mesh.span) * (-1.0 if mirrored else 1.0)
    wraps = np.floor((back - start) / mesh.span + 1e-9).astype(np.int64)
    scale = 1.0 if mesh.flat else level.max()
    there = KDTree(np.column_stack([level, along * scale]))
    found: Ints = np.asarray(there.query(np.column_stack([level, (back - wraps * mesh.span) * scale]))[1])
    centre = np.flatnonzero(level < 1e-9 * level.max()) if not mesh.flat else np.empty(0, dtype=np.int64)
    found[centre] = centre  # whose angle says nothing
    return found, wraps
