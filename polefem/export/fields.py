"""Fields as files for a viewer: VTK's unstructured grid, a collection of them over a sweep, or gmsh's mesh.

Points lie where they are at the state's angle, the rotor turned. The names of quantities hold their units. Vector
potential belongs to points; B, H, their sizes, energy density and the number of the material belong to triangles, at
their centres. The air between both circles in the gap is not meshed: there the files show a narrow ring of nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
from numpy.typing import NDArray

from polefem.field import Field, FieldState
from polefem.files import complete
from polefem.materials import NU0, Steel
from polefem.mesh import write_grid
from polefem.outline import DrawnMachine, Label, machine_of
from polefem.params import Machine
from polefem.units import deg

__all__ = ["Magnetics", "magnetics", "write_field", "write_series"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Magnetics:
    """What the B-H laws make of a field.

    h: ndarray, shape (n_triangles, 2), A/m. energy: density, ndarray, shape (n_triangles,), J/m3.
    """

    h: Array
    energy: Array

    def __post_init__(self) -> None:
        for array in (self.h, self.energy):
            array.flags.writeable = False


def magnetics(field: Field, machine: Machine | DrawnMachine) -> Magnetics:
    """Field strength and energy density at the centre of each triangle, by the steel it lies in or as in vacuum."""
    machine, size = machine_of(machine), np.hypot(field.b[:, 0], field.b[:, 1])
    nu, energy = np.full(len(size), NU0), NU0 / 2 * size**2
    rotor, stator = machine.stacked_steels
    steels = {Label("iron", "rotor"): rotor, Label("iron", "stator"): stator}
    if machine.magnetic_shaft is not None:
        steels |= dict.fromkeys((Label("shaft", "rotor"), Label("shaft", "stator")), machine.magnetic_shaft)
    for at, label in enumerate(field.labels):
        if label in steels:
            iron = field.region == at
            nu[iron], energy[iron] = _of_steel(steels[label], size[iron])
    return Magnetics(nu[:, None] * field.b, energy)


def _of_steel(steel: Steel, size: Array) -> tuple[Array, Array]:
    return steel.reluctivity(size)[0], steel.evaluate(size)[2]


def write_field(state: FieldState, machine: Machine | DrawnMachine, path: str | Path) -> Path:
    """Write the field of a state as .vtu or .msh, by the suffix of `path`.

    A .vtu holds, as field data, the number of each material by its name, the angle (deg) as "TimeValue", the torque
    (N m) and the current of each phase (A); a .msh has the materials as physical groups.

    Raises InvalidValue for another suffix.
    """
    field = state.field
    more = magnetics(field, machine)
    cells = {
        "B (T)": _upright(field.b),
        "|B| (T)": np.hypot(field.b[:, 0], field.b[:, 1]),
        "H (A/m)": _upright(more.h),
        "energy density (J/m3)": more.energy,
    }
    facts = {"TimeValue": state.angle / deg, "torque (N m)": state.torque}
    facts |= {f"current of phase {at} (A)": float(current) for at, current in enumerate(state.phase_currents)}
    write_grid(
        path,
        field.points,
        field.triangles,
        field.region,
        [str(label) for label in field.labels],
        {"A (Wb/m)": field.a},
        cells,
        facts,
    )
    return Path(path)


def _upright(vectors: Array) -> Array:
    """Vectors in the plane as three components, the form in which viewers take vectors."""
    return np.column_stack([vectors, np.zeros(len(vectors))])


def write_series(states: Iterable[FieldState], machine: Machine | DrawnMachine, path: str | Path) -> Path:
    """Write the fields of some states, such as `field_series` yields, as a ParaView collection (.pvd).

    The collection lists a .vtu for each state, in a folder of its own name beside it; its time is the angle in degrees.
    A collection and not one file with one mesh, since the rotor's points move from state to state.
    """
    place = Path(path).with_suffix(".pvd")
    folder = place.with_suffix("")
    folder.mkdir(parents=True, exist_ok=True)
    root = ElementTree.Element("VTKFile", type="Collection", version="0.1")
    collection = ElementTree.SubElement(root, "Collection")
    for at, state in enumerate(states):
        file = write_field(state, machine, folder / f"{at:04d}.vtu")
        ElementTree.SubElement(
            collection,
            "DataSet",
            timestep=f"{state.angle / deg:.9g}",
            part="0",
            file=f"{folder.name}/{file.name}",
        )
    ElementTree.indent(root)
    with complete(place) as part:
        ElementTree.ElementTree(root).write(part, encoding="utf-8", xml_declaration=True)
    return place
