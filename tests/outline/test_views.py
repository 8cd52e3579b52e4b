"""The views of a drawing sheet stand beside each other."""

from __future__ import annotations

from itertools import pairwise

import pytest

from polefem.outline.parts import APART, circle, extent, parts_of
from polefem.shapes.segments import Arc, Line
from tests.export.export_machines import AXIAL


def test_views_of_an_axial_machine_stand_apart_about_one_height() -> None:
    parts = parts_of(AXIAL)
    views: dict[str, list[tuple[float, float, float, float]]] = {}
    for part in parts:
        side = (
            part.name.split()[0] if part.name.endswith(("poles", "plate")) else part.name.partition(" at ")[2]
        )
        views.setdefault(side, []).append(extent([part]))
    boxes = [
        (min(b[0] for b in view), min(b[1] for b in view), max(b[2] for b in view), max(b[3] for b in view))
        for view in views.values()
    ]
    assert len(boxes) >= 3
    for (*_, right, _), (left, *_) in pairwise(boxes):
        assert left - right == pytest.approx(APART)
    middles = [(low + high) / 2 for _, low, _, high in boxes]
    assert middles[1:] == pytest.approx([0.0] * (len(boxes) - 1), abs=1e-12)


def test_a_ring_that_is_a_whole_circle_is_known_wherever_it_lies() -> None:
    centre, radius = 0.02 + 0.03j, 5e-3
    start, end = centre + radius, centre - radius
    ring = (Arc(start, end, centre, True), Arc(end, start, centre, True))
    assert circle(ring) == (centre, pytest.approx(radius))
    other = (Arc(start, end, centre, True), Arc(end, start, centre + 1e-3j, True))
    assert circle(other) is None and circle((Line(start, end), Line(end, start))) is None
