"""Plane geometry against what a compass shows: tangency, radii, areas of corners."""

from __future__ import annotations

import cmath
import math
from itertools import pairwise

import numpy as np
import pytest

from polefem.shapes import Arc, Line, Segment, area, distance, moved, points, turned_back
from polefem.shapes.curves import chamfered, crossing, heading, joined, part, rounded, smooth, through

#: A quarter of the unit circle and the way back through its centre.
QUARTER: tuple[Segment, ...] = (Arc(1, 1j, 0j, True), Line(1j, 0j), Line(0j, 1))


def joints(path: tuple[Segment, ...]) -> float:
    """The largest gap between one segment's end and the next one's start."""
    return max(abs(a.end - b.start) for a, b in pairwise(path))


def kinks(path: tuple[Segment, ...]) -> float:
    """The largest change of direction from one segment to the next, rad."""
    turns = [heading(b, b.start) / heading(a, a.end) for a, b in pairwise(path)]
    return max(abs(cmath.phase(turn)) for turn in turns)


def test_area_of_a_ring_counts_its_arcs_exactly() -> None:
    assert area(QUARTER) == pytest.approx(math.pi / 4, rel=1e-14)
    assert area(turned_back(QUARTER)) == pytest.approx(-math.pi / 4, rel=1e-14)
    # The twin: the same ring with its arc taken for a chord.
    assert area([Line(s.start, s.end) for s in QUARTER]) == pytest.approx(0.5)


def test_a_moved_ring_keeps_its_area_and_its_sense() -> None:
    placed = moved(QUARTER, turn=cmath.rect(1, 0.7), shift=3 - 2j, mirror=True)
    assert area(placed) == pytest.approx(math.pi / 4, rel=1e-13)
    assert joints(placed) < 1e-15


def test_chords_miss_an_arc_by_no_more_than_asked() -> None:
    for sagitta in (1e-2, 1e-4):
        z = points(QUARTER[:1], sagitta)
        middles = (z[1:] + z[:-1]) / 2
        missed = 1 - np.abs(middles).min()
        assert sagitta / 4 < missed <= sagitta


def test_a_line_crosses_lines_and_arcs_only_between_their_ends() -> None:
    found = crossing(QUARTER, 0.6 - 5j, 1j)
    assert found is not None and found[0] == 2 and found[1] == pytest.approx(0.6)
    found = crossing(QUARTER, 0.6 + 5j, 1j)
    assert found is not None and found[0] == 0 and found[1] == pytest.approx(0.6 + 0.8j)
    assert crossing(QUARTER, -0.5 + 0j, 1j) is None
    assert crossing(QUARTER, 2j, 1 + 0j) is None


def test_distance_is_to_the_nearest_point_of_lines_and_arcs() -> None:
    assert distance(QUARTER, 0.9 * cmath.rect(1, 0.7)) == pytest.approx(0.1)
    assert distance(QUARTER, 0.3 + 0.2j) == pytest.approx(0.2)
    assert distance(QUARTER, 1 - 2j) == pytest.approx(2)  # of its start, not of the rest of its circle
    assert distance((Arc(1, 1j, 0j, True),), 0j) == 1
    assert distance((Arc(1, 1j, 0j, False),), cmath.rect(2, 0.7)) == pytest.approx(
        abs(cmath.rect(2, 0.7) - 1)
    )


def test_a_part_of_a_path_lies_between_its_ends() -> None:
    start, end = crossing(QUARTER, 0.6 + 5j, 1j), crossing(QUARTER, 0.5j - 1, 1 + 0j)
    assert start is not None and end is not None
    piece = part(QUARTER, start, end)
    assert (piece[0].start, piece[-1].end) == (start[1], end[1])
    assert [type(segment) for segment in piece] == [Arc, Line]
    assert sum(abs(s.end - s.start) for s in part(QUARTER, None, start)) == pytest.approx(abs(0.4 - 0.8j))


@pytest.mark.parametrize("angle", [30, 90, 150])
def test_a_rounded_corner_of_two_lines_has_the_area_of_the_textbook(angle: float) -> None:
    alpha, radius = math.radians(angle), 0.1
    far = cmath.rect(1, alpha)
    fitted = rounded(Line(1, 0), Line(0, far), radius)
    assert fitted is not None
    lost = area([Line(fitted[1].start, 0), Line(0, fitted[1].end), *turned_back(fitted[1:2])])
    # Two right triangles less the sector between them.
    assert abs(lost) == pytest.approx(
        radius**2 * (1 / math.tan(alpha / 2) - (math.pi - alpha) / 2), rel=1e-12
    )
    assert kinks(fitted) < 1e-12


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (Line(2, 1), Arc(1, 1j, 0j, True)),
        (Arc(-1j, 1, 0j, True), Line(1, 2)),
        (Line(0, 1), Arc(1, 1j, 0j, True)),
        (Arc(1j, 1, 0j, False), Line(1, 0)),
        (Arc(1 + 1j, 1, 1 + 0.5j, True), Arc(1, 1j, 0j, True)),
        (Arc(-1 + 2j, 1, 0 + 1j, False), Arc(1, 3, 2 + 0j, False)),
    ],
)
def test_a_corner_is_rounded_tangent_to_lines_and_arcs(before: Segment, after: Segment) -> None:
    fitted = rounded(before, after, 0.05)
    assert fitted is not None
    assert joints(fitted) < 1e-12 and kinks(fitted) < 1e-9
    assert fitted[1].radius == pytest.approx(0.05)
    assert abs(fitted[1].sweep) < math.pi


def test_a_rounding_larger_than_its_sides_does_not_fit() -> None:
    assert rounded(Line(1, 0), Line(0, 1j), 0.99) is not None
    assert rounded(Line(1, 0), Line(0, 1j), 1.01) is None
    assert chamfered(Line(1, 0), Line(0, 1j), 0.5, 0.5) is not None
    assert chamfered(Line(1, 0), Line(0, 1j), 1.0, 0.5) is None


def test_a_chamfer_is_measured_along_both_sides() -> None:
    fitted = chamfered(Arc(-1j, 1, 0j, True), Line(1, 0), 0.2, 0.3)
    assert fitted is not None
    assert fitted[1].start == pytest.approx(cmath.rect(1, -0.2))
    assert fitted[1].end == pytest.approx(0.7)


def test_an_arc_through_three_points_goes_through_them() -> None:
    one, two = through(1, cmath.rect(1, 1.0), cmath.rect(1, 3.0))
    assert isinstance(one, Arc) and isinstance(two, Arc)
    assert one.centre == pytest.approx(0) and one.ccw and two.sweep == pytest.approx(2.0)
    assert through(0, 1, 2) == joined([0, 1, 2])


def test_a_smooth_path_passes_its_points_without_a_kink() -> None:
    turns = np.linspace(0, 2, 7)
    spiral = (1 + 0.1 * turns) * np.exp(1j * turns)
    along = (0.1 + 1j * (1 + 0.1 * turns)) * np.exp(1j * turns)
    path = smooth(list(spiral), list(along / np.abs(along)))
    assert joints(path) < 1e-15 and kinks(path) < 1e-9
    assert {complex(z) for z in spiral} <= {s.start for s in path} | {path[-1].end}


def test_a_smooth_path_closes_in_on_a_spiral_as_the_cube_of_its_steps() -> None:
    def missed(steps: int) -> float:
        turns = np.linspace(0, 1, steps + 1)
        along = (0.1 + 1j * (1 + 0.1 * turns)) * np.exp(1j * turns)
        path = smooth(list((1 + 0.1 * turns) * np.exp(1j * turns)), list(along / np.abs(along)))
        z = points(path, 1e-10)
        return float(np.abs(np.abs(z) - (1 + 0.1 * np.angle(z))).max())

    errors = [missed(steps) for steps in (2, 4, 8)]
    rates = np.log2(np.array(errors[:-1]) / errors[1:])
    assert ((rates > 2.7) & (rates < 3.3)).all(), (errors, rates)
    assert errors[-1] < 2e-6


def test_a_smooth_path_along_a_line_is_lines() -> None:
    assert all(isinstance(s, Line) for s in smooth([0, 1, 3], [1, 1, 1]))
