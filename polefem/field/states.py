"""The field of the whole machine at one angle or at several, for any set of phase currents."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.field.built_machine import BuiltMachine, built
from polefem.field.series import images, solved_series
from polefem.field.values import Field, FieldState
from polefem.mesh import Mesh
from polefem.model import Model
from polefem.outline import Label, Member
from polefem.params import Machine, MeshSpec

__all__ = ["field_series", "solve_state", "whole_field"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Gradients of the quadratic shape functions at a triangle's centre, over those of its three corner coordinates.
AT_CENTRE = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [4, 4, 0], [0, 4, 4], [4, 0, 4]]) / 3.0


def solve_state(
    machine: Machine | BuiltMachine,
    angle: float,
    phase_currents: ArrayLike,
    mesh: MeshSpec | str | None = None,
) -> FieldState:
    """Solve the nonlinear field at one angle (rad) with a current (A) in each phase, shape (n_phases,).

    Raises InvalidValue for a wrong number of currents, SolveFailed where Newton's method does not converge, and what
    `flux_map` raises for machines that cannot be built or meshed.
    """
    return next(field_series(machine, [angle], phase_currents, mesh))


def field_series(
    machine: Machine | BuiltMachine,
    angles: ArrayLike,
    phase_currents: ArrayLike,
    mesh: MeshSpec | str | None = None,
) -> Iterator[FieldState]:
    """Solve the nonlinear fields at angles (rad), shape (n_angles,), one after the other as they are asked for.

    phase_currents: A, the same at every angle, shape (n_phases,), or a row for each, (n_angles, n_phases). A state
    that is an earlier one turned or mirrored, as a stroke later, is taken from there; the others start from the one
    before where that is near.

    Raises InvalidValue for a wrong number of currents; the iterator raises as `solve_state` does.
    """
    turned = np.atleast_1d(np.array(angles, dtype=float))
    if not np.isfinite(turned).all():
        raise InvalidValue(refusal("the rotor stands at an angle", "angle", angles, "a finite number of rad"))
    whole = built(machine, mesh)
    count = whole.machine.phases.count
    currents = np.array(phase_currents, dtype=float)
    shapes = (count,), (len(turned), count)
    if currents.shape not in shapes or not np.isfinite(currents).all():
        allowed = f"{count} finite numbers"
        raise InvalidValue(refusal("each phase has one current", "phase_currents", phase_currents, allowed))
    return _states(whole, turned, np.broadcast_to(currents, shapes[1]).copy())


def _states(whole: BuiltMachine, angles: Floats, currents: Floats) -> Iterator[FieldState]:
    known, middle = images(whole, angles, currents), len(whole.sections) // 2
    sections = [
        solved_series(outline, system, angles, currents, known)
        for outline, system in zip(whole.sections, whole.systems, strict=True)
    ]
    for angle, row, *found in zip(angles.tolist(), currents, *sections, strict=True):
        linkages = np.zeros(currents.shape[1])
        for system, one in zip(whole.systems, found, strict=True):
            linkages += system.model.scale * (system.model.loads @ one.unknowns)
        torque, coenergy = sum(one.torque for one in found), sum(one.coenergy for one in found)
        field = whole_field(whole.systems[middle].model, angle, found[middle].unknowns)
        yield FieldState(angle, row, torque, linkages, coenergy, field, found[middle].message)


def whole_field(model: Model, angle: float, unknowns: Floats) -> Field:
    """The sector's solution copied round the turn, its rotor turned by `angle` (rad)."""
    triangles, region, labels, slopes = _whole_mesh(model)
    size, points, a, b = model.rotor_tie.size, [], [], []
    for mesh, nodal, slope, turn in (
        (model.rotor_mesh, model.rotor_tie.nodal(unknowns[:size]), slopes[0], angle),
        (model.stator_mesh, model.stator_tie.nodal(unknowns[size:]), slopes[1], 0.0),
    ):
        # B = (dA/dy, -dA/dx), at the triangles' centres.
        own = np.einsum("ti,tij->tj", nodal[mesh.triangles] @ AT_CENTRE, slope)
        for sector in range(model.sectors):
            sign = -1.0 if model.antiperiodic and sector % 2 else 1.0
            points.append(_placed(mesh, turn, sector, model.rotor_trace.radius))
            a.append(sign * nodal)
            b.append(sign * (own if mesh.flat else _turned(own, turn + sector * mesh.span)))
    return Field(np.concatenate(points), triangles, np.concatenate(a), np.concatenate(b), region, labels)


@lru_cache(maxsize=4)  # asked for state by state
def _whole_mesh(model: Model) -> tuple[Ints, Ints, tuple[Label, ...], tuple[Floats, Floats]]:
    """Triangles and regions round the turn, the labels of these, and by side what a sector's triangles make of the
    values at their corners: B, shape (n_triangles, 3, 2), 1/m."""
    members: tuple[Member, Member] = ("rotor", "stator")
    sides = tuple(zip(members, (model.rotor_mesh, model.stator_mesh), strict=True))
    labels = sorted(
        {Label(label.material, member) for member, mesh in sides for label in mesh.labels}, key=str
    )
    triangles, region, offset = [], [], 0
    for member, mesh in sides:
        number = np.array([labels.index(Label(label.material, member)) for label in mesh.labels])
        for _ in range(model.sectors):
            triangles.append(mesh.triangles + offset)
            region.append(number[mesh.region])
            offset += len(mesh.points)
    slopes = _slopes(model.rotor_mesh), _slopes(model.stator_mesh)
    return np.concatenate(triangles), np.concatenate(region), tuple(labels), slopes


def _placed(mesh: Mesh, turn: float, sector: int, radius: float) -> Floats:
    """Points of one copy of the sector, turned (flat: shifted) by `turn` rad."""
    if mesh.flat:
        moved: Floats = mesh.points + np.array([0.0, turn * radius + sector * mesh.span])
        return moved
    return _turned(mesh.points, turn + sector * mesh.span)


def _turned(vectors: Floats, turn: float) -> Floats:
    """Vectors, shape (n, 2), turned by an angle, rad."""
    cosine, sine = math.cos(turn), math.sin(turn)
    found: Floats = vectors @ np.array([[cosine, sine], [-sine, cosine]])
    return found


def _slopes(mesh: Mesh) -> Floats:
    """What B is made of, by corner: grad lambda = (-e_y, e_x) / 2S with e the opposite edge, so B = sum of weight
    times e / 2S; shape (n_triangles, 3, 2), 1/m."""
    corners = mesh.points[mesh.triangles[:, :3]]
    first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    double_area = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    slopes: Floats = (corners[:, [2, 0, 1]] - corners[:, [1, 2, 0]]) / double_area[:, None, None]
    return slopes
