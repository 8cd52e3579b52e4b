"""What pictures show, as numbers; that they can be drawn; and that their colours tell what they should."""

from __future__ import annotations

import warnings
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread
from matplotlib.path import Path as Curve

from polefem import Notch, Pole, RadialMachine, Steel, Winding
from polefem.field import Field
from polefem.files import file_name
from polefem.maps import linear_map, summed
from polefem.outline import Label, outline_of
from polefem.params import AxialMachine, RectangularCurrent
from polefem.params.toml import load_machine
from polefem.report import curves, sections
from polefem.report.pictures import density_of
from polefem.report.style import save
from polefem.units import deg, mm

MAP = linear_map(60e-3, 6e-3, full=1 * deg, apart=31 * deg, current=10.0)
DRIVEN = {"one": (summed(MAP), RectangularCurrent(-31 * deg, -1 * deg), 10.0)}
MACHINE = RadialMachine(
    stator_poles=6,
    rotor_poles=4,
    stator_outer_radius=60 * mm,
    rotor_outer_radius=30 * mm,
    air_gap=0.4 * mm,
    stator_yoke_thickness=11 * mm,
    rotor_yoke_radius=19 * mm,
    shaft_radius=10 * mm,
    stack_length=60 * mm,
    stator_pole=Pole(arc=30 * deg),
    rotor_pole=Pole(arc=32 * deg, notches=(Notch(0.0, 2 * mm, 1 * mm),)),
    winding=Winding(turns_per_pole=100, coil_width=6 * mm, face_inset=2 * mm, yoke_clearance=3 * mm),
    steel=Steel.linear(1000.0),
)


def test_curves_are_the_map_s() -> None:
    torque = curves.torque_against_angle(MAP)
    (y,) = torque.y.values()
    assert np.interp(-15.0, torque.x, y) == pytest.approx(float(MAP.at(-15 * deg, 10.0)[1]))
    assert np.interp(15.0, torque.x, y) == pytest.approx(-np.interp(-15.0, torque.x, y))
    inductance = curves.inductance_against_angle(MAP)
    assert max(max(values) for values in inductance.y.values()) == pytest.approx(60.0, rel=1e-3)
    linkage = curves.flux_linkage_against_current(MAP)
    assert linkage.y["0 deg (aligned)"][-1] == pytest.approx(0.6, rel=1e-3)
    assert linkage.y["45 deg (unaligned)"][-1] == pytest.approx(0.06, rel=1e-6)


def test_designs_are_shown_side_by_side_with_their_ripple() -> None:
    shown = curves.torque_of_designs(DRIVEN, "equal current of 10 A")
    ((label, torque),) = shown.y.items()
    assert (
        label == "one: ripple 50 %"
    )  # turned on in the middle of the corner, where half of the torque is there
    assert torque.max() == pytest.approx(10.0**2 / 2 * 54e-3 / (30 * deg), rel=1e-3)
    assert "(max - min) / |mean|" in shown.note


def brakes(shown: curves.Curves) -> bool:
    """Whether a picture shows braking torque, above 0, and says so."""
    return shown.y_name == "braking torque (N m)" and all(y.mean() > 0.0 for y in shown.y.values())


def test_a_generator_s_torque_is_shown_as_braking_above_nought() -> None:
    m, drive, current = DRIVEN["one"]
    late = replace(drive, turn_on=drive.turn_on + 30 * deg, turn_off=drive.turn_off + 30 * deg)
    generator = {"one": (m, late, current)}
    for shown, motor in (
        (curves.torque_of_designs(generator, "equal"), curves.torque_of_designs(DRIVEN, "equal")),
        (curves.torque_of_phases(m, late, current), curves.torque_of_phases(m, drive, current)),
    ):
        assert brakes(shown) and not brakes(motor)
        assert not brakes(replace(shown, y={name: -y for name, y in shown.y.items()}))
    both = curves.torque_of_designs({**DRIVEN, "late": (m, late, current)}, "equal")
    assert both.y_name == "torque, below 0 braking (N m)"


def sums_to(whole: np.ndarray, parts: list[np.ndarray], at: np.ndarray) -> bool:
    """Whether parts add up to a whole, at some places."""
    return bool(np.allclose(whole[at], sum(parts)[at], rtol=1e-9, atol=1e-9 * np.abs(whole).max()))


def test_single_phases_sum_to_the_whole_and_a_phase_left_out_is_noticed() -> None:
    whole, *phases = curves.torque_of_phases(*DRIVEN["one"]).y.values()
    x = curves.torque_of_phases(*DRIVEN["one"]).x
    clear = np.abs((x + 1.0) % 30.0 - 15.0) < 14.0  # a degree from where phases switch
    assert sums_to(whole, phases, clear)
    assert not sums_to(whole, phases[1:], clear)


def of_pulses(spectrum: curves.Spectrum, height: float, share: float) -> bool:
    """Whether harmonics are those of pulses over a share of the period: 2 h / (n pi) |sin(n pi share)|, Fourier's."""
    n = np.arange(1, spectrum.amplitudes.size + 1)
    strokes = spectrum.amplitudes[2::3]
    m = np.arange(1, strokes.size + 1)
    pulses = 2 * height / (m * np.pi) * np.abs(np.sin(m * np.pi * share))
    between = np.delete(
        spectrum.amplitudes, np.arange(2, n.size, 3)
    )  # harmonics of a pitch, not of a stroke: none
    return bool(np.allclose(strokes, pulses, atol=2e-3 * height) and between.max() < 2e-3 * height)


def test_the_spectrum_of_torque_in_pulses_is_theirs_and_not_that_of_longer_ones() -> None:
    spectrum = curves.spectrum_of_torque(summed(MAP), RectangularCurrent(-22 * deg, -4 * deg), 10.0)
    height = 10.0**2 / 2 * 54e-3 / (30 * deg)
    assert spectrum.per_turn[0] == 4 and spectrum.per_turn[2] == 12  # rotor pitches and strokes a turn
    assert of_pulses(spectrum, height, 18 / 30)
    assert not of_pulses(spectrum, height, 19 / 30)


def inside(path: Curve) -> float:
    """Area within a path, mm2, by the shoelace of a fine polygon."""
    return sum(
        abs(np.sum(p[:-1, 0] * p[1:, 1] - p[1:, 0] * p[:-1, 1])) / 2
        for p in path.to_polygons(closed_only=True)
    )


def cubics(path: Curve) -> list[np.ndarray]:
    """Points along each cubic curve of a path, by its Bernstein polynomials."""
    t = np.linspace(0, 1, 11)[:, None]
    starts = [k for k, code in enumerate(path.codes) if code == Curve.CURVE4][::3]
    found = []
    for k in starts:
        a, b, c, d = path.vertices[k - 1 : k + 3]
        found.append((1 - t) ** 3 * a + 3 * (1 - t) ** 2 * t * b + 3 * (1 - t) * t**2 * c + t**3 * d)
    return found


def test_a_section_s_arcs_are_true() -> None:
    paths = sections.section_paths(outline_of(MACHINE))
    coils = [path for material, path in paths if material == "coil"]
    assert len(coils) == 12
    assert sum(inside(path) for path in coils) == pytest.approx(12 * 6 * (46 - 32.4), rel=1e-6)
    radii = np.concatenate([np.hypot(*points.T) for _, path in paths for points in cubics(path)])
    for radius in (10, 19, 30, 30.4, 49, 60):  # every arc of this machine is about the shaft's centre
        assert np.isclose(radii, radius, rtol=1e-6, atol=0).any()
    assert all(np.isclose(radius, [10, 19, 30, 30.4, 49, 60], rtol=1e-6, atol=0).any() for radius in radii)


def on_seams(straight: list[np.ndarray]) -> int:
    """How many straight pieces, shape (2, 2), run along the ends of the stator's units."""
    count = 0
    for piece in straight:
        middle, along = piece.mean(axis=0), piece[1] - piece[0]
        at, turned = np.degrees(np.arctan2(middle[1], middle[0])), np.degrees(np.arctan2(along[1], along[0]))
        astray = (turned - at + 90) % 180 - 90
        count += abs(astray) < 1e-6 and abs(at % 60 - 30) < 1e-6
    return count


def test_seams_between_units_are_not_shown() -> None:
    vertices = [
        path.vertices[path.codes != Curve.CURVE4] for _, path in sections.section_paths(outline_of(MACHINE))
    ]
    straight = [np.array(pair) for each in vertices for pair in pairwise(each)]
    assert len(straight) > 50
    assert on_seams(straight) == 0
    assert on_seams([*straight, np.array([[49.0, 0.0], [60.0, 0.0]]) @ turned(30)]) == 1


def turned(angle: float) -> np.ndarray:
    """The matrix that turns a row of x and y by an angle, degrees."""
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    return np.array([[c, s], [-s, c]])


FIELD = Field(
    np.array([[0, 0], [2, 0], [2, 2], [0, 2], [1, 0], [2, 1], [1, 1], [1, 2], [0, 1]]) * 0.01,
    np.array([[0, 1, 2, 4, 5, 6], [0, 2, 3, 6, 7, 8]]),
    np.arange(9.0),
    np.array([[0.3, 0.4], [1.2, 0.5]]),
    np.array([0, 1]),
    (Label("iron", "rotor"), Label("air", "rotor")),
)


def test_flux_density_is_the_field_s() -> None:
    density = sections.flux_density(FIELD, "made up")
    assert density.triangles.shape == (8, 3)
    assert density.size.tolist() == pytest.approx([0.5] * 4 + [1.3] * 4)
    p = density.points[density.triangles]
    double = (p[:, 1, 0] - p[:, 0, 0]) * (p[:, 2, 1] - p[:, 0, 1]) - (p[:, 2, 0] - p[:, 0, 0]) * (
        p[:, 1, 1] - p[:, 0, 1]
    )
    assert double.sum() / 2 == pytest.approx(400.0)
    # Iron meets air along the diagonal, which is in two pieces.
    assert density.edges.shape == (2, 2, 2)
    assert np.ptp(density.edges[..., 0] - density.edges[..., 1]) == pytest.approx(0.0)


def test_pictures_can_be_drawn_without_a_warning(tmp_path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        drawn = [
            save(curves.draw_curves(curves.torque_against_angle(MAP)), tmp_path / "torque.png"),
            save(sections.draw_section(outline_of(MACHINE), "a section"), tmp_path / "section.png"),
            save(sections.draw_flux_density(sections.flux_density(FIELD, "a field")), tmp_path / "field.png"),
            save(curves.draw_curves(curves.torque_of_designs(DRIVEN, "equal current")), tmp_path / "t.png"),
            save(curves.draw_curves(curves.torque_of_designs({}, "nothing at all")), tmp_path / "none.png"),
            save(curves.draw_curves(curves.torque_of_phases(*DRIVEN["one"])), tmp_path / "summed.png"),
            save(curves.draw_spectrum(curves.spectrum_of_torque(*DRIVEN["one"])), tmp_path / "spectrum.png"),
        ]
    for path in drawn:
        assert np.ptp(imread(path)[..., :3]) > 0.5


def test_names_become_file_names() -> None:
    assert [file_name(n) for n in ("wide rotor", "arc = 30 deg / 2", "...", "a-b_c")] == [
        "wide_rotor",
        "arc_30_deg_2",
        "unnamed",
        "a-b_c",
    ]


def orientation(triangles: np.ndarray) -> np.ndarray:
    """Signed areas, shape (n,), of triangles of shape (n, 3, 2)."""
    first, second = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    return (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / 2


def is_a_turn(before: np.ndarray, after: np.ndarray) -> bool:
    """Whether triangles keep their areas and the way they run round: turned and shifted, not mirrored."""
    return bool(np.allclose(orientation(before), orientation(after)))


def test_an_axial_machine_s_field_is_turned_about_a_pole_of_its_first_phase() -> None:
    machine = load_machine(Path(__file__).parents[2] / "geometries" / "stream_generator.toml")
    assert isinstance(machine, AxialMachine)
    flat, shown = sections.flux_density(FIELD, "f"), density_of(machine, FIELD, "f")
    before, after = flat.points[flat.triangles], shown.points[shown.triangles]
    assert is_a_turn(before, after)
    assert not is_a_turn(before, after * [-1, 1])
    # At 0 stands a pole of the first phase: where this number of stator pitches lies along the motion.
    pole = (
        (shown.points[0, 0] + flat.points[0, 1])
        * mm
        / (2 * np.pi * machine.mean_radius)
        * machine.stator_poles
    )
    assert machine.phases.of_pole[round(pole)] == 0 and pole == pytest.approx(round(pole))
    assert shown.window is not None and 0 < shown.window[1] < np.pi * machine.mean_radius / mm
    assert density_of(MACHINE, FIELD, "f").window is None
