"""Fields as a viewer gets them: read back by meshio, by VTK's own reader and by gmsh, and held against Ampere's law."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import gmsh
import meshio
import numpy as np
import pytest
from export_machines import PLAIN
from numpy.typing import NDArray
from scipy.constants import mu_0
from scipy.integrate import quad
from scipy.spatial import cKDTree

from polefem.errors import InvalidValue
from polefem.export import magnetics, write_field, write_series
from polefem.field import Field, FieldState, field_series, solve_state
from polefem.materials import Steel
from polefem.outline import outline_of
from polefem.params import MeshSpec
from polefem.units import deg, mm

Floats = NDArray[np.float64]
CURRENT = 5.0
SATURATING = replace(PLAIN, steel=Steel.named("M400-50A"))


@pytest.fixture(scope="module")
def state() -> FieldState:
    """The first phase at 5 A, the rotor 20 degrees past aligned, in iron of constant permeability."""
    return solve_state(PLAIN, 20 * deg, [CURRENT, 0.0, 0.0])


@pytest.fixture(scope="module")
def saturated() -> FieldState:
    return solve_state(SATURATING, 0.0, [20.0, 0.0, 0.0], "coarse")


def names_of(field: Field) -> list[str]:
    return [str(label) for label in field.labels]


def read(state: FieldState, path: Path) -> meshio.Mesh:
    return meshio.read(write_field(state, PLAIN, path))


def cell(mesh: meshio.Mesh, name: str) -> NDArray:
    return mesh.cell_data_dict[name]["triangle6"]


@pytest.mark.parametrize("suffix", [".vtu", ".msh"])
def test_meshio_reads_back_what_was_written(state: FieldState, suffix: str, tmp_path: Path) -> None:
    mesh, field = read(state, tmp_path / f"field{suffix}"), state.field
    more = magnetics(field, PLAIN)
    assert np.array_equal(mesh.points, np.column_stack([field.points, np.zeros(len(field.points))]))
    assert np.array_equal(mesh.cells_dict["triangle6"], field.triangles)
    assert np.array_equal(mesh.point_data["A (Wb/m)"].ravel(), field.a)
    assert np.array_equal(cell(mesh, "B (T)")[:, :2], field.b)
    assert np.array_equal(cell(mesh, "H (A/m)")[:, :2], more.h)
    assert np.allclose(cell(mesh, "|B| (T)").ravel(), np.linalg.norm(field.b, axis=1), rtol=1e-14)
    assert np.array_equal(cell(mesh, "energy density (J/m3)").ravel(), more.energy)
    numbers = {name: int(np.atleast_1d(mesh.field_data[name])[0]) for name in names_of(field)}
    assert numbers == {name: at for at, name in enumerate(names_of(field), 1)}
    assert np.array_equal(cell(mesh, "material").ravel(), field.region + 1)


def test_vtu_holds_angle_torque_and_currents(state: FieldState, tmp_path: Path) -> None:
    facts = read(state, tmp_path / "field.vtu").field_data
    assert facts["TimeValue"][0] == pytest.approx(20.0)
    assert facts["torque (N m)"][0] == state.torque
    assert [facts[f"current of phase {k} (A)"][0] for k in range(3)] == [CURRENT, 0.0, 0.0]


def test_another_suffix_is_refused(state: FieldState, tmp_path: Path) -> None:
    with pytest.raises(
        InvalidValue, match=r"path is .*field\.stl, allowed is a file ending in \.vtu or \.msh"
    ):
        write_field(state, PLAIN, tmp_path / "field.stl")


# Laws the exported numbers must obey ----------------------------------------------------------------------------------


def round_the_coil_side(mesh: meshio.Mesh) -> float:
    """Line integral of H, A, counter-clockwise round the plus side of the first pole's coil.

    Out along the pole axis through the iron, along the yoke, in through the middle of the slot, back before the coil.
    """
    centres = mesh.points[mesh.cells_dict["triangle6"][:, :3], :2].mean(axis=1)
    outside = np.hypot(*centres.T) > PLAIN.stator_bore_radius
    nearest = cKDTree(centres[outside])
    h = cell(mesh, "H (A/m)")[outside]
    front, back, middle = 31.5 * mm, 55 * mm, np.exp(30j * deg)
    s = (np.arange(2000) + 0.5) / 2000
    out = front + (back - front) * s
    along = np.exp(30j * deg * s)
    legs = [
        (out, np.full(2000, back - front)),
        (back * along, 30j * deg * back * along),
        (out * middle, np.full(2000, (front - back) * middle)),
        (front * along, -30j * deg * front * along),
    ]
    total = 0.0
    for z, step in legs:
        at = h[nearest.query(np.column_stack([z.real, z.imag]))[1]]
        total += float(np.mean(at[:, 0] * step.real + at[:, 1] * step.imag))
    return total


def obeys_ampere(mesh: meshio.Mesh) -> bool:
    """Ampere's law within 2 %: H is one value a triangle. The current runs away from the reader (`polefem.field`)."""
    return math.isclose(round_the_coil_side(mesh), -CURRENT * PLAIN.winding.turns_per_pole, rel_tol=0.02)


def test_h_obeys_ampere_s_law(state: FieldState, tmp_path: Path) -> None:
    assert obeys_ampere(read(state, tmp_path / "field.vtu"))


@pytest.mark.parametrize("wrong", ["sign", "factor", "no iron"])
def test_h_that_breaks_ampere_s_law_is_noticed(state: FieldState, wrong: str, tmp_path: Path) -> None:
    mesh = read(state, tmp_path / "field.vtu")
    h = mesh.cell_data["H (A/m)"][0]
    if wrong == "no iron":
        h[:] = mesh.cell_data["B (T)"][0] / mu_0
    else:
        h *= -1.0 if wrong == "sign" else 1.05
    assert not obeys_ampere(mesh)


def between_the_circles(mesh: meshio.Mesh) -> float:
    """Energy per length (J/m) of the air between both circles in the gap, from A on them, by its closed solution.

    A = sum of n-th harmonics solves Laplace's equation there (Egger and others, 2022; see `polefem.gap`): from memory.
    """
    outline = outline_of(PLAIN)
    radii = outline.rotor.gap, outline.stator.gap
    ratio = math.log(radii[1] / radii[0])
    z, a = mesh.points[:, 0] + 1j * mesh.points[:, 1], mesh.point_data["A (Wb/m)"].ravel()
    grid = np.linspace(0, 2 * np.pi, 4096, endpoint=False)
    inner, outer = (
        np.fft.rfft(np.interp(grid, *on_circle(z, a, radius), period=2 * np.pi)) / 2048 for radius in radii
    )
    n = np.arange(1, 400)
    p, q = inner[n], outer[n]
    size = (np.abs(p) ** 2 + np.abs(q) ** 2) / np.tanh(n * ratio) - 2 * (p * q.conj()).real / np.sinh(
        n * ratio
    )
    return math.pi / (2 * mu_0) * float(np.sum(n * size))


def on_circle(z: NDArray[np.complex128], a: Floats, radius: float) -> tuple[Floats, Floats]:
    at = np.flatnonzero(abs(abs(z) - radius) < 1e-9)
    order = at[np.argsort(np.angle(z[at]) % (2 * np.pi))]
    return np.angle(z[order]) % (2 * np.pi), a[order]


def energies_agree(mesh: meshio.Mesh, state: FieldState) -> bool:
    """In iron of constant permeability the energy is half of flux linkage times current."""
    corners = mesh.points[mesh.cells_dict["triangle6"][:, :3]]
    sizes = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2] / 2
    meshed = float(sizes @ cell(mesh, "energy density (J/m3)").ravel())
    whole = (meshed + between_the_circles(mesh)) * PLAIN.stack_length
    return math.isclose(whole, state.flux_linkages[0] * CURRENT / 2, rel_tol=5e-3)


def test_the_energy_is_half_of_flux_linkage_times_current(state: FieldState, tmp_path: Path) -> None:
    assert energies_agree(read(state, tmp_path / "field.vtu"), state)


def test_an_energy_density_of_h_times_b_is_noticed(state: FieldState, tmp_path: Path) -> None:
    mesh = read(state, tmp_path / "field.vtu")
    mesh.cell_data["energy density (J/m3)"][0] *= 2
    assert not energies_agree(mesh, state)


def follows_the_steel(field: Field, h: Floats, energy: Floats) -> bool:
    """In the most and the least saturated iron: H along B, as strong as the law says; energy the integral of H dB."""
    iron = np.flatnonzero(field.region == names_of(field).index("stator iron"))
    size = np.linalg.norm(field.b, axis=1)
    order = iron[np.argsort(size[iron])]
    for at in order[[0, len(order) // 2, -1]]:
        wanted, _ = quad(SATURATING.steel.h, 0.0, size[at], limit=200)
        right = np.allclose(h[at] * size[at], SATURATING.steel.h(size[at]) * field.b[at], rtol=1e-9)
        if not (right and math.isclose(energy[at], wanted, rel_tol=1e-4, abs_tol=1e-9)):
            return False
    return bool(size[order[-1]] > 1.5)


def test_h_and_energy_follow_the_steel(saturated: FieldState) -> None:
    more = magnetics(saturated.field, SATURATING)
    assert follows_the_steel(saturated.field, more.h, more.energy)
    assert not follows_the_steel(saturated.field, more.h[:, ::-1], more.energy)
    assert not follows_the_steel(saturated.field, more.h, (more.h * saturated.field.b).sum(axis=1) / 2)


def test_each_side_has_its_own_steel(saturated: FieldState) -> None:
    two = replace(SATURATING, rotor_steel=Steel.linear(500))
    field, one_law, other = (
        saturated.field,
        magnetics(saturated.field, SATURATING),
        magnetics(saturated.field, two),
    )
    changed = ~np.isclose(one_law.h, other.h, rtol=1e-6, atol=1e-9).all(axis=1)
    assert {names_of(field)[k] for k in np.unique(field.region[changed])} == {"rotor iron"}


# Other programs' readers ----------------------------------------------------------------------------------------------


def in_order(ring: Floats) -> bool:
    """Whether nodes 3, 4, 5 lie between corners 0-1, 1-2, 2-0; ring: shape (n, 6, 3)."""
    ends = ring[:, [[0, 1], [1, 2], [2, 0]]]
    astray = np.linalg.norm(ring[:, 3:] - ends.mean(axis=2), axis=2)
    return bool((astray < 0.2 * np.linalg.norm(ends[:, :, 0] - ends[:, :, 1], axis=2)).all())


def test_vtk_s_own_reader_opens_it(state: FieldState, tmp_path: Path) -> None:
    xml = pytest.importorskip("vtkmodules.vtkIOXML")
    reader = xml.vtkXMLUnstructuredGridReader()
    reader.SetFileName(str(write_field(state, PLAIN, tmp_path / "field.vtu")))
    reader.Update()
    grid, field = reader.GetOutput(), state.field
    assert (grid.GetNumberOfPoints(), grid.GetNumberOfCells()) == (len(field.points), len(field.triangles))
    assert {grid.GetCellType(k) for k in range(grid.GetNumberOfCells())} == {22}  # VTK's quadratic triangle
    assert grid.GetBounds() == pytest.approx((-0.06, 0.06, -0.06, 0.06, 0.0, 0.0))
    assert grid.GetPointData().GetArray("A (Wb/m)").GetRange() == (field.a.min(), field.a.max())
    size = np.linalg.norm(field.b, axis=1)
    assert grid.GetCellData().GetArray("|B| (T)").GetRange() == pytest.approx((size.min(), size.max()))
    assert grid.GetCellData().GetArray("B (T)").GetRange(0) == (field.b[:, 0].min(), field.b[:, 0].max())
    assert grid.GetCellData().GetArray("material").GetRange() == (1, len(field.labels))
    assert grid.GetFieldData().GetArray("stator coil").GetValue(0) == names_of(field).index("stator coil") + 1
    ring = []
    for edge in (grid.GetCell(k).GetEdge(e).GetPoints() for k in range(0, 4000, 97) for e in range(3)):
        ring.append([edge.GetPoint(0), edge.GetPoint(2)])  # VTK's edge: both ends, then the middle
    ring = np.array(ring).reshape(-1, 3, 2, 3).swapaxes(1, 2).reshape(-1, 6, 3)
    assert in_order(ring)


def test_triangles_in_another_order_are_noticed(state: FieldState) -> None:
    field = state.field
    points = np.column_stack([field.points, np.zeros(len(field.points))])
    assert in_order(points[field.triangles])
    assert not in_order(points[field.triangles[:, [0, 1, 2, 3, 5, 4]]])


def test_gmsh_opens_it(state: FieldState, tmp_path: Path) -> None:
    path = write_field(state, PLAIN, tmp_path / "field.msh")
    gmsh.initialize()
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.open(str(path))
        groups = gmsh.model.getPhysicalGroups()
        assert [gmsh.model.getPhysicalName(*group) for group in groups] == names_of(state.field)
        elements = gmsh.model.mesh.getElements(2)[1][0]
        assert len(elements) == len(state.field.triangles)
        # Scaled Jacobian of the curved triangles: below 0 for nodes in a wrong order.
        assert gmsh.model.mesh.getElementQualities(elements, "minSJ").min() > 0
        views = [gmsh.view.option.getString(tag, "Name") for tag in gmsh.view.getTags()]
        assert {"A (Wb/m)", "B (T)", "H (A/m)", "energy density (J/m3)", "material"} <= set(views)
    finally:
        gmsh.finalize()


# Sweeps ---------------------------------------------------------------------------------------------------------------

ROUGH = MeshSpec.named("coarse")


def test_a_series_is_the_single_states() -> None:
    angles = np.array([5.0, 25.0]) * deg
    currents = [[CURRENT, 0.0, 0.0], [0.0, CURRENT, 2.0]]
    for series, angle, row in zip(
        field_series(PLAIN, angles, currents, ROUGH), angles, currents, strict=True
    ):
        alone = solve_state(PLAIN, angle, row, ROUGH)
        assert series.torque == pytest.approx(alone.torque, rel=1e-5)
        assert series.flux_linkages == pytest.approx(alone.flux_linkages, rel=1e-5, abs=1e-9)
        assert series.phase_currents.tolist() == row
        assert np.allclose(series.field.a, alone.field.a, rtol=0, atol=1e-4 * abs(alone.field.a).max())


def test_a_series_needs_a_current_for_each_phase() -> None:
    with pytest.raises(
        InvalidValue, match=r"each phase has one current: phase_currents is .* allowed is 3 finite"
    ):
        field_series(PLAIN, [0.0, 0.1], [[1.0, 0.0]], ROUGH)


def test_a_collection_shows_the_rotor_turn(tmp_path: Path) -> None:
    angles = np.array([-10.0, 0.0, 15.0]) * deg
    states = list(field_series(PLAIN, angles, [CURRENT, 0.0, 0.0], ROUGH))
    listed = ElementTree.parse(write_series(states, PLAIN, tmp_path / "sweep.pvd")).findall(".//DataSet")
    assert [float(each.get("timestep")) for each in listed] == pytest.approx([-10.0, 0.0, 15.0])
    grids = [meshio.read(tmp_path / each.get("file")) for each in listed]
    z = [grid.points[:, 0] + 1j * grid.points[:, 1] for grid in grids]
    rotor = abs(z[0]) < PLAIN.rotor_outer_radius + PLAIN.air_gap / 2
    for state, place in zip(states, z, strict=True):
        turn = np.exp(1j * (state.angle - angles[0]))
        assert np.allclose(place[rotor], z[0][rotor] * turn, rtol=0, atol=1e-12)
        assert np.array_equal(place[~rotor], z[0][~rotor])
