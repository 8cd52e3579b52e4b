"""The mesh as a value: curved second-order triangles of one side of the gap, with named regions and boundaries."""

from __future__ import annotations

import html
import io
from collections.abc import Mapping, Sequence
from contextlib import redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import meshio
import numpy as np
from numpy.typing import NDArray

from polefem.errors import InvalidValue, StoreRefused, refusal
from polefem.files import complete
from polefem.outline import Label, Material

__all__ = ["EDGES", "Mesh", "least_jacobian", "load", "quality", "save", "write_grid"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Node pairs whose middle is node 3, 4, 5 of a triangle.
EDGES = ((0, 1), (1, 2), (0, 2))


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles of the rotor or the stator over one sector, nodes at corners and (curved) edge middles.

    points: ndarray, shape (n_nodes, 2), m; corner nodes come before middle nodes.
    triangles: ndarray, shape (n_triangles, 6): three corners counter-clockwise, then the middles of corners 0-1, 1-2
    and 0-2.
    region: ndarray, shape (n_triangles,): index into `labels`.
    labels: what each region is, its pole counted within the sector.
    gap: ndarray, shape (2 n_edges + 1,): nodes along the circle in the air gap, by increasing angle.
    low, high: ndarrays of equal length: nodes on the sector's two ends, from the far end to the gap.
    far: nodes where A = 0 (empty where the far end is free or is the centre).
    sectors: how many sectors make the whole turn (period). span: extent of the sector, rad (flat: m). flat: an
    unrolled section.
    """

    points: Floats
    triangles: Ints
    region: Ints
    labels: tuple[Label, ...]
    gap: Ints
    low: Ints
    high: Ints
    far: Ints
    sectors: int
    span: float
    flat: bool

    def __post_init__(self) -> None:
        for array in (self.points, self.triangles, self.region, self.gap, self.low, self.high, self.far):
            array.flags.writeable = False

    def __repr__(self) -> str:
        counts = ", ".join(
            f"{label}: {int((self.region == index).sum())}" for index, label in enumerate(self.labels)
        )
        return f"Mesh({len(self.points)} nodes, {len(self.triangles)} triangles; {counts})"

    def of_region(self, label: Label) -> Ints:
        """Triangles of the region of that label, shape (n,)."""
        return np.flatnonzero(self.region == self.labels.index(label))

    def of_material(self, material: Material) -> Ints:
        """Triangles of every region of the `material`, shape (n,)."""
        wanted = [index for index, label in enumerate(self.labels) if label.material == material]
        return np.flatnonzero(np.isin(self.region, wanted))


def quality(mesh: Mesh) -> Floats:
    """Shape of each triangle: twice the inscribed over the circumscribed radius of its corners; 1 is equilateral.

    Returns an ndarray, shape (n_triangles,); negative where a triangle is inverted.
    """
    corners = mesh.points[mesh.triangles[:, :3]]
    a, b, c = (np.linalg.norm(corners[:, i] - corners[:, j], axis=1) for i, j in EDGES)
    first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    double_area = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    shape: Floats = 4.0 * double_area * np.abs(double_area) / (a * b * c * (a + b + c))
    return shape


def least_jacobian(points: Floats, triangles: Ints) -> Floats:
    """What the map of each curved triangle shrinks area by at most, over what its straight-sided twin's does.

    points: ndarray, shape (n_nodes, 2). triangles: ndarray, shape (n_triangles, 6). Returns an ndarray, shape
    (n_triangles,): 1 where all sides are straight; above 0, the triangle is nowhere turned over. The determinant is
    quadratic; the least of its Bezier coefficients bounds it from below, since Bernstein's polynomials are nowhere
    below 0 and sum to 1.
    """
    nodes = points[triangles]
    a, b, c = nodes[:, 0], nodes[:, 1], nodes[:, 2]
    bends = [4 * nodes[:, 3 + k] - 2 * (nodes[:, i] + nodes[:, j]) for k, (i, j) in enumerate(EDGES)]
    ab, bc, ac = bends
    # Derivatives along a-b and a-c at the corners; in between they are linear, so their product there is a mean.
    along = [(b - a + ab, c - a + ac), (b - a - ab, c - a + bc - ab), (b - a + bc - ac, c - a - ac)]
    coefficients = [_cross(x, y) for x, y in along]
    for i, j in EDGES:
        coefficients.append((_cross(along[i][0], along[j][1]) + _cross(along[j][0], along[i][1])) / 2)
    least: Floats = np.min(coefficients, axis=0) / np.abs(_cross(b - a, c - a))
    return least


def _cross(one: Floats, two: Floats) -> Floats:
    product: Floats = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    return product


def save(mesh: Mesh, path: str | Path) -> None:
    """Write the mesh to any format that meshio writes by the suffix of `path`, regions as cell data "region"."""
    grid = _grid(mesh.points, mesh.triangles, {}, {"region": mesh.region})
    with complete(path) as part:
        grid.write(part)


def write_grid(
    path: str | Path,
    points: Floats,
    triangles: Ints,
    group: Ints,
    names: Sequence[str],
    point_data: Mapping[str, Floats],
    cell_data: Mapping[str, Floats],
    facts: Mapping[str, float],
) -> None:
    """Write triangles with quantities on them as .vtu (VTK's format) or .msh (gmsh's), by the suffix of `path`.

    points: shape (n_points, 2), m. triangles: shape (n_triangles, 6), as in `Mesh`. group: shape (n_triangles,): index
    into `names`. Cell data "material" holds it counted from 1; the number of each name is field data in .vtu, and the
    physical group of that name in .msh. point_data, cell_data: by name, shape (n,) or (n, 3). facts: numbers that hold
    for all of it, field data in .vtu, left out of .msh.

    Raises InvalidValue for another suffix.
    """
    material = group + 1
    cells: dict[str, Any] = {**cell_data, "material": material}
    if Path(path).suffix == ".vtu":
        grid = _grid(points, triangles, point_data, cells)
        with complete(path) as part:
            grid.write(part)
            _add_field_data(part, {**{name: at for at, name in enumerate(names, 1)}, **facts})
    elif Path(path).suffix == ".msh":
        tags = {"gmsh:physical": material, "gmsh:geometrical": material}
        grid = _grid(points, triangles, point_data, {**cells, **tags})
        grid.field_data = {name: np.array([at, 2]) for at, name in enumerate(names, 1)}
        # Version 2.2 tags each triangle; what meshio writes as 4.1 wants a geometry behind the mesh.
        with complete(path) as part:
            grid.write(part, file_format="gmsh22")
    else:
        rule = "a field is written in a format that keeps its names"
        raise InvalidValue(refusal(rule, "path", str(path), "a file ending in .vtu or .msh"))


def _grid(
    points: Floats, triangles: Ints, point_data: Mapping[str, Any], cell_data: Mapping[str, Any]
) -> meshio.Mesh:
    # meshio's six-node triangle closes its ring (middle of 2-0 last), as here.
    return meshio.Mesh(
        np.column_stack([points, np.zeros(len(points))]),
        [("triangle6", triangles)],
        point_data=dict(point_data),
        cell_data={name: [values] for name, values in cell_data.items()},
    )


def _add_field_data(path: Path, numbers: Mapping[str, float]) -> None:
    """Put numbers by name into a .vtu file, where VTK keeps what belongs to the whole: meshio leaves it out."""
    arrays = "".join(
        f'<DataArray type="Float64" Name="{html.escape(name)}" NumberOfTuples="1" format="ascii">'
        f"{number!r}</DataArray>\n"
        for name, number in numbers.items()
    )
    grid = "<UnstructuredGrid>"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(grid, f"{grid}<FieldData>\n{arrays}</FieldData>", 1), encoding="utf-8")


def load(path: str | Path) -> tuple[Floats, Ints, Ints]:
    """Read back points (n_nodes, 2), triangles (n, 6) and region numbers (n,); raises StoreRefused."""
    try:
        with redirect_stdout(
            io.StringIO()
        ):  # meshio prints what it cannot read, and ends the process: SystemExit
            stored = meshio.read(path)
        triangles = np.asarray(stored.cells_dict["triangle6"], dtype=np.int64)
        region = np.asarray(stored.cell_data_dict["region"]["triangle6"], dtype=np.int64)
        points = np.asarray(stored.points[:, :2], dtype=np.float64)
        if triangles.size and not 0 <= triangles.min() <= triangles.max() < len(points):
            raise ValueError("triangles of points that are not there")
    except (Exception, SystemExit) as problem:
        allowed = "a mesh of six-node triangles with cell data 'region'"
        found = f"{path} ({type(problem).__name__}: {problem})"
        raise StoreRefused(refusal("a mesh file must hold our mesh", "path", found, allowed)) from problem
    return points, triangles, region
