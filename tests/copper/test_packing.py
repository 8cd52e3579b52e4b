"""Whether turns fit, counted by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from polefem.copper import Wire, coil_shape, largest_wire, packing, preferred_diameters, wound_phase
from polefem.copper.turn import CoilShape
from polefem.copper.winding import Copper
from polefem.errors import GeometryRefused
from polefem.params.fields import with_fields
from polefem.units import mm
from tests.study.fake_solver import MACHINE

SIDE = CoilShape(60 * mm, 30 * mm, 6 * mm, 14 * mm, 84 * mm**2, 0.3 * mm)
WIRE = Wire(0.9 * mm, 1.0 * mm)


def test_rows_are_counted_by_hand() -> None:
    found = packing(SIDE, WIRE, 60, MACHINE.winding)
    assert (found.layers, found.per_layer, found.places, found.wires) == (6, 14, 84, 60)
    assert found.fill == pytest.approx(60 * math.pi / 4 / 84)
    assert found.copper_fill == pytest.approx(0.81 * found.fill)
    assert found.fits
    assert str(found) == (
        "60 wires on 84 places (6 layers of 14), filling 56% of the coil side of at most 65%, 45% with copper: fits"
    )


def test_hands_reach_less_than_rows_do() -> None:
    most = math.floor(0.65 * 84 / (math.pi / 4))  # 69 of 84 places
    assert packing(SIDE, WIRE, most, MACHINE.winding).fits
    assert not packing(SIDE, WIRE, most + 1, MACHINE.winding).fits


def test_an_odd_width_wastes_a_layer() -> None:
    """Ten thick wires fill 0.55 of the area, but the width takes one layer only."""
    thick = Wire(2.9 * mm, 3.1 * mm)
    found = packing(SIDE, thick, 5, MACHINE.winding)
    assert (found.layers, found.per_layer) == (1, 4)
    assert found.fill < found.most_fill and not found.fits


def test_strands_lie_side_by_side() -> None:
    winding = replace(MACHINE.winding, strands=3)
    assert packing(SIDE, WIRE, 20, winding) == packing(SIDE, WIRE, 60, MACHINE.winding)


def test_the_largest_wire_is_the_last_that_fits() -> None:
    shape = coil_shape(MACHINE)
    best = largest_wire(shape, MACHINE)
    sizes = [Wire.metric(bare) for bare in preferred_diameters(0.1 * mm, 3 * mm)]
    fitting = [wire for wire in sizes if packing(shape, wire, 100, MACHINE.winding).fits]
    assert best == max(fitting, key=lambda wire: wire.bare)
    named = with_fields(MACHINE, {"winding.wire_diameter": best.overall})
    phase = wound_phase(named, Copper())
    assert phase.packing is not None and phase.packing.fits
    assert phase.conductor_area == pytest.approx(best.area)


def test_too_many_turns_are_refused() -> None:
    crowded = with_fields(MACHINE, {"winding.turns_per_pole": 100_000})
    with pytest.raises(
        GeometryRefused, match=r"a coil side must hold its turns: winding.turns_per_pole is 100000 of 1"
    ):
        largest_wire(coil_shape(MACHINE), crowded)
