"""Parts as a cutter gets them: read back by the library's own reading of polylines, and by SVG's definition of arcs."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import ezdxf.units
import numpy as np
import pytest
import shapely
from export_machines import AXIAL, MACHINES, OUTER, PLAIN, RICH
from ezdxf.entities import DXFGraphic
from hypothesis import HealthCheck, given, settings

from polefem.errors import PolefemError
from polefem.export import write_svg
from polefem.export.dxf import write_dxf
from polefem.outline import Part, Side, outline_of, parts_of, sections
from polefem.params import AxialMachine, Machine
from polefem.shapes import Arc, area
from polefem.units import mm
from tests.shapes.draws import Draw, machines

Sizes = dict[str, float]
Radii = dict[str, list[float]]


def iron(side: Side) -> float:
    """Iron of a whole side, m2, from its repeating unit."""
    unit = sum(area(r.ring) - sum(map(area, r.holes)) for r in side.regions if r.material == "iron")
    return unit * side.row.poles / side.unit_poles


def arc_radii(parts: tuple[Part, ...]) -> Radii:
    """Radii of the arcs of each part, mm."""
    return {
        part.name: sorted(
            {round(p.radius / mm, 4) for ring in part.rings for p in ring if isinstance(p, Arc)}
        )
        for part in parts
    }


def of_dxf(path: Path) -> tuple[Sizes, Radii]:
    """Area (m2) and arc radii (mm) of each layer, lengths in the unit that the file states.

    The library takes polylines apart into lines and arcs, and these into corners that stray by 4e-6 of the file's unit.
    """
    document = ezdxf.readfile(path)
    unit = ezdxf.units.conversion_factor(ezdxf.units.InsertUnits(document.header["$INSUNITS"]), ezdxf.units.M)
    sizes: Sizes = {}
    radii: dict[str, set[float]] = {}
    rings: dict[str, list[shapely.Polygon]] = {}
    for entity in document.modelspace():
        layer = entity.dxf.layer
        pieces = [entity] if entity.dxftype() == "CIRCLE" else list(entity.virtual_entities())
        rings.setdefault(layer, []).append(shapely.Polygon(corners(pieces)))
        found = radii.setdefault(layer, set())
        found.update(round(p.dxf.radius * unit / mm, 4) for p in pieces if p.dxftype() in ("ARC", "CIRCLE"))
    for layer, polygons in rings.items():
        assert all(polygon.is_valid for polygon in polygons)
        # A ring inside an odd number of others is an opening.
        signs = [(-1) ** sum(o.contains(p) for o in polygons if o is not p) for p in polygons]
        sizes[layer] = sum(s * p.area for s, p in zip(signs, polygons, strict=True)) * unit**2
    return sizes, {layer: sorted(found) for layer, found in radii.items()}


def corners(pieces: list[DXFGraphic]) -> list[tuple[float, float]]:
    """A closed chain of lines and arcs as a polygon; the library's arcs all run counter-clockwise."""
    runs = []
    for piece in pieces:
        straight = piece.dxftype() == "LINE"
        along = (piece.dxf.start, piece.dxf.end) if straight else piece.flattening(4e-6)
        runs.append([complex(p.x, p.y) for p in along])
    for at, run in enumerate(runs):
        before, after = runs[at - 1], runs[(at + 1) % len(runs)]
        ends = {abs(run[0] - z) for z in (before[0], before[-1])}
        if len(runs) > 1 and min(ends) > 1e-9:
            run.reverse()
        assert len(runs) == 1 or min(abs(run[-1] - z) for z in (after[0], after[-1])) < 1e-9
    return [(z.real, z.imag) for run in runs for z in run[:-1]]


def agree(sizes: Sizes, radii: Radii, parts: tuple[Part, ...]) -> bool:
    """Whether a file holds these parts: the same names, areas to a millionth, the same radii of arcs."""
    return (
        sizes.keys() == {part.name for part in parts}
        and all(math.isclose(sizes[part.name], part.area, rel_tol=1e-6) for part in parts)
        and radii == arc_radii(parts)
    )


@pytest.mark.parametrize("machine", MACHINES.values(), ids=MACHINES)
def test_dxf_holds_every_part_with_its_arcs(machine: Machine, tmp_path: Path) -> None:
    path = write_dxf(machine, tmp_path / "parts.dxf", coils=True)
    assert agree(*of_dxf(path), parts_of(machine))


def test_dxf_in_another_unit_is_noticed(tmp_path: Path) -> None:
    path = write_dxf(RICH, tmp_path / "parts.dxf")
    document = ezdxf.readfile(path)
    document.units = ezdxf.units.IN
    document.saveas(path)
    assert not agree(*of_dxf(path), parts_of(RICH, coils=False))


def test_dxf_with_a_chord_for_an_arc_is_noticed(tmp_path: Path) -> None:
    path = write_dxf(RICH, tmp_path / "parts.dxf")
    document = ezdxf.readfile(path)
    polyline = document.modelspace().query("LWPOLYLINE").first
    corners = polyline.get_points("xyb")
    at = int(np.argmax([abs(bulge) for *_, bulge in corners]))
    corners[at] = (*corners[at][:2], 0.0)
    polyline.set_points(corners, format="xyb")
    document.saveas(path)
    assert not agree(*of_dxf(path), parts_of(RICH, coils=False))


def test_dxf_with_an_arc_turned_inside_out_is_noticed(tmp_path: Path) -> None:
    path = write_dxf(PLAIN, tmp_path / "parts.dxf")
    document = ezdxf.readfile(path)
    polyline = document.modelspace().query("LWPOLYLINE").first
    polyline.set_points([(x, y, -bulge) for x, y, bulge in polyline.get_points("xyb")], format="xyb")
    document.saveas(path)
    assert not agree(*of_dxf(path), parts_of(PLAIN, coils=False))


def test_circles_are_circles_and_coils_are_optional(tmp_path: Path) -> None:
    space = ezdxf.readfile(write_dxf(PLAIN, tmp_path / "parts.dxf")).modelspace()
    circles = {(c.dxf.layer, round(c.dxf.radius, 9)) for c in space.query("CIRCLE")}
    assert circles == {("rotor", 10.0), ("stator", 60.0)}
    assert {entity.dxf.layer for entity in space} == {"rotor", "stator"}


@pytest.mark.parametrize("machine", [PLAIN, RICH, OUTER])
def test_whole_parts_hold_the_iron_of_their_units(machine: Machine) -> None:
    outline = outline_of(machine)
    rotor, stator, *coils = parts_of(machine)
    assert rotor.area == pytest.approx(iron(outline.rotor), rel=1e-12)
    assert stator.area == pytest.approx(iron(outline.stator), rel=1e-12)
    assert len(coils) == 2 * machine.stator_poles


def test_holes_stay_holes() -> None:
    rotor = parts_of(RICH, coils=False)[0]
    # The outside, the shaft, and in two of the four poles a hole and a barrier.
    assert sorted(area(ring) > 0 for ring in rotor.rings) == [False] * 5 + [True]


def covers(parts: Sequence[Part], machine: Machine) -> bool:
    """Whether each part has the area of its units' regions, each ring is closed, and edges and openings are as many."""
    found = {part.name: part for part in parts}
    middle = machine.middle if isinstance(machine, AxialMachine) else None
    for outline in sections(machine):
        place = f" at {outline.radius / mm:.5g} mm" if isinstance(machine, AxialMachine) else ""
        for side in (outline.rotor, outline.stator):
            part, halves = found[side.row.name + place], 2 if side.row.name == middle else 1
            holes = (
                sum(len(region.holes) for region in side.regions) * side.row.poles // side.unit_poles * halves
            )
            inner = sum(area(ring) < 0 for ring in part.rings) - (not side.flat)
            joints = [abs(a.end - b.start) for ring in part.rings for a, b in pairwise((*ring, ring[0]))]
            if inner != holes or max(joints) > 1e-9:
                return False
            if not math.isclose(part.area, halves * iron(side), rel_tol=1e-9):
                return False
    return True


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much]
)
@given(machines())
def test_parts_of_random_machines_cover_their_units(draw: Draw) -> None:
    try:
        machine = draw()
        sections(machine)
    except PolefemError:
        return
    assert covers(parts_of(machine, coils=False), machine)


def test_a_part_that_lost_a_ring_is_noticed() -> None:
    rotor, stator = parts_of(RICH, coils=False)
    assert covers([rotor, stator], RICH)
    assert not covers([replace(rotor, rings=rotor.rings[:-1]), stator], RICH)


def sectors(arc: float, poles: int) -> float:
    """Faces of sectors between the radii of AXIAL, m2."""
    return poles * arc / 2 * (AXIAL.outer_radius**2 - AXIAL.inner_radius**2)


def parallel_faces(arc: float, poles: int) -> float:
    """Faces of poles of parallel flanks between the radii of AXIAL, m2: circle segments by their integral."""
    half = AXIAL.mean_radius * math.sin(arc / 2)

    def strip(radius: float) -> float:
        return half * math.sqrt(radius**2 - half**2) + radius**2 * math.asin(half / radius)

    return poles * (strip(AXIAL.outer_radius) - strip(AXIAL.inner_radius))


def round_faces(arc: float, poles: int) -> float:
    """Faces of round cores, m2, that reach over the arc along the mean radius."""
    return poles * math.pi * abs(AXIAL.mean_radius * (1 - np.exp(0.5j * arc))) ** 2


@pytest.mark.parametrize(
    ("name", "closed"),
    [
        ("axial", sectors),
        ("axial, parallel flanks", parallel_faces),
        ("axial, round cores between two rotors", round_faces),
    ],
)
def test_discs_show_their_poles(name: str, closed) -> None:
    machine = MACHINES[name]
    sizes = {part.name: part.area for part in parts_of(machine)}
    assert sizes["stator poles"] == pytest.approx(closed(machine.stator_pole.arc, 6), rel=1e-12)
    plate = math.pi * (AXIAL.outer_radius**2 - AXIAL.inner_radius**2)
    assert sizes["rotor plate"] == pytest.approx(plate, rel=1e-12)
    assert ("stator plate" in sizes) == (machine.stator_yoke_thickness > 0)


def test_the_disc_in_the_middle_is_whole() -> None:
    cores = MACHINES["axial, round cores between two rotors"]
    strips = [part for part in parts_of(cores, coils=False) if part.name.startswith("stator at")]
    assert len(strips) == cores.cuts
    for strip in strips:
        assert len(strip.rings) == cores.stator_poles
        x = [piece.start.real for piece in strip.rings[0]]
        assert max(x) - min(x) == pytest.approx(2 * cores.stator_pole_height, rel=1e-9)
    rotor = MACHINES["axial, two stators"]
    strips = [part for part in parts_of(rotor, coils=False) if part.name.startswith("rotor at")]
    for strip in strips:
        (ring,) = strip.rings
        x = [piece.start.real for piece in ring]
        thick = 2 * rotor.rotor_pole_height + rotor.rotor_yoke_thickness
        assert max(x) - min(x) == pytest.approx(thick, rel=1e-9)


def of_svg(path: Path) -> tuple[Sizes, Radii]:
    """Area (m2) and arc radii (mm) of each group of an SVG, by the width in mm that it claims.

    Arcs by the centre parametrisation of SVG 2 (W3C, appendix B.2.4; from memory), for circles that are not turned.
    """
    root = ElementTree.parse(path).getroot()
    unit = float(root.get("width").removesuffix("mm")) * mm / float(root.get("viewBox").split()[2])
    svg = "{http://www.w3.org/2000/svg}"
    sizes: Sizes = {}
    radii: Radii = {}
    for group in root.findall(f"{svg}g"):
        name = group.findtext(f"{svg}title")
        found = [_of_path(each.get("d")) for each in group.findall(f"{svg}path")]
        sizes[name] = (
            -sum(size for size, _ in found) * unit**2
        )  # y points down: counter-clockwise is negative
        radii[name] = sorted({round(r * unit / mm, 4) for _, arcs in found for r in arcs})
    return sizes, radii


def _of_path(text: str) -> tuple[float, list[float]]:
    total, radii, at = 0.0, [], 0j
    for letter, numbers in re.findall(r"([MLA])([^MLAZ]*)", text):
        *curve, x, y = map(float, numbers.split())
        to = complex(x, y)
        if letter != "M":
            total += (at.conjugate() * to).imag / 2
        if letter == "A":
            radius, _, _, large, sweep = curve
            radii.append(radius)
            turn = 2 * math.asin(min(1.0, abs(to - at) / 2 / radius))
            turn = (2 * math.pi - turn if large else turn) * (1 if sweep else -1)
            total += radius**2 * (turn - math.sin(turn)) / 2
        at = to
    return total, radii


@pytest.mark.parametrize("machine", MACHINES.values(), ids=MACHINES)
def test_svg_holds_every_part_at_full_size(machine: Machine, tmp_path: Path) -> None:
    path = write_svg(machine, tmp_path / "parts.svg")
    assert agree(*of_svg(path), parts_of(machine))


@pytest.mark.parametrize(
    ("pattern", "instead"),
    [
        (r'width="([\d.]+)mm"', r'width="4\1mm"'),
        (r"A (\S+) (\S+) 0 0 (\d) ", "L "),
        (r"A (\S+) (\S+) 0 0 0 ", r"A \1 \2 0 0 1 "),
    ],
    ids=["another size", "a chord for an arc", "an arc inside out"],
)
def test_svg_that_is_wrong_is_noticed(pattern: str, instead: str, tmp_path: Path) -> None:
    path = write_svg(RICH, tmp_path / "parts.svg")
    text = re.sub(pattern, instead, path.read_text("utf-8"), count=1)
    assert text != path.read_text("utf-8")
    path.write_text(text, "utf-8")
    assert not agree(*of_svg(path), parts_of(RICH))


def test_svg_is_as_large_as_the_machine(tmp_path: Path) -> None:
    root = ElementTree.parse(write_svg(PLAIN, tmp_path / "parts.svg")).getroot()
    assert root.get("width") == root.get("height") == "122mm"  # 120 mm and a rim of one all round
