"""The field of the whole machine at one angle or at several, for any set of phase currents."""

from __future__ import annotations

from collections.abc import Iterator

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
    rotor_a = model.rotor_tie.nodal(unknowns[: model.rotor_tie.size])
    stator_a = model.stator_tie.nodal(unknowns[model.rotor_tie.size :])
    parts = []
    members: tuple[Member, Member] = ("rotor", "stator")
    labels = sorted(
        {
            Label(label.material, member)
            for member, mesh in zip(members, (model.rotor_mesh, model.stator_mesh), strict=True)
            for label in mesh.labels
        },
        key=str,
    )
    for member, mesh, a, turn in zip(
        members, (model.rotor_mesh, model.stator_mesh), (rotor_a, stator_a), (angle, 0.0), strict=True
    ):
        number = np.array([labels.index(Label(label.material, member)) for label in mesh.labels])
        for sector in range(model.sectors):
            sign = -1.0 if model.antiperiodic and sector % 2 else 1.0
            points = _placed(mesh, turn, sector, model.rotor_trace.radius)
            parts.append((points, mesh.triangles, sign * a, number[mesh.region]))
    offsets = np.cumsum([0] + [len(part[0]) for part in parts])
    region = np.concatenate([part[3] for part in parts])
    points = np.concatenate([part[0] for part in parts])
    triangles = np.concatenate([part[1] + offset for part, offset in zip(parts, offsets, strict=False)])
    a = np.concatenate([part[2] for part in parts])
    b = _flux_density(points, triangles, a)
    return Field(points, triangles, a, b, region, tuple(labels))


def _placed(mesh: Mesh, turn: float, sector: int, radius: float) -> Floats:
    """Points of one copy of the sector, turned (flat: shifted) by `turn` rad."""
    if mesh.flat:
        moved: Floats = mesh.points + np.array([0.0, turn * radius + sector * mesh.span])
        return moved
    z = (mesh.points[:, 0] + 1j * mesh.points[:, 1]) * np.exp(1j * (turn + sector * mesh.span))
    return np.column_stack([z.real, z.imag])


def _flux_density(points: Floats, triangles: Ints, a: Floats) -> Floats:
    """B = curl A at the centre of each triangle, shape (n_triangles, 2), T."""
    corners = points[triangles[:, :3]]
    following, before = np.roll(corners, -1, axis=1), np.roll(corners, 1, axis=1)
    edges = (
        before - following
    )  # the gradient of each corner's coordinate is this, turned, over twice the area
    first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    double_area = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    weights = a[triangles] @ AT_CENTRE  # (n_triangles, 3)
    # grad lambda = (-e_y, e_x) / 2S with e the opposite edge; B = (dA/dy, -dA/dx) = sum of weight * e / 2S
    b: Floats = np.einsum("ti,tij->tj", weights, edges) / double_area[:, None]
    return b
