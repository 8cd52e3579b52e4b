"""Copper and steel of a machine against sums done by hand."""

import math
from collections.abc import Callable

import pytest

from polefem import Pole
from polefem.copper import Copper, copper_resistivity, wound_phase
from polefem.errors import InvalidValue
from polefem.estimates import steel_mass
from polefem.params.fields import with_fields
from polefem.units import deg, mm
from tests.record.check import Check
from tests.study.fake_solver import MACHINE

CASE = "ends and windings by handbook formulas"
Record = Callable[..., None]


def test_resistivity_is_that_of_the_standard(record: Record) -> None:
    # IEC 60028: 1/58 ohm mm2/m at 20 degC, 0.00393 /K; the warm values follow by hand.
    warm = ((20, 17.241), (75, 20.968), (100, 22.662), (120, 24.017), (155, 26.389), (180, 28.083))
    for temperature, expected in warm:
        name = f"resistivity of copper at {temperature} degC"
        check = Check(CASE, name, expected, "nohm m", "IEC 60028", "from memory", 5e-5)
        record(check, 1e9 * copper_resistivity(temperature), broken=1e9 * copper_resistivity(temperature + 1))


def test_a_wound_phase_is_the_sum_by_hand() -> None:
    chord = 2 * 30.4 * math.sin(15 * deg)
    height = (49 - 3) - (30.4 + 2)  # slot radius less clearance, bore radius plus inset, mm
    turn = 2 * 60 + math.pi * (chord + 2 * 0.3 + 6)  # mm: two stack lengths, two half circles
    bare = 0.45 * 6 * height / 100  # mm2
    ohm = 2 * 100 * turn * 1e-3 * 0.0226621 / bare
    phase = wound_phase(MACHINE, Copper(0.45, 100.0))
    assert phase.coil_area == pytest.approx(6 * height * 1e-6, rel=1e-6)
    assert phase.mean_turn == pytest.approx(turn * 1e-3, rel=1e-6)
    assert phase.resistance == pytest.approx(ohm, rel=1e-5)
    assert phase.loss(10.0) == pytest.approx(100 * ohm, rel=1e-5)
    assert phase.copper_mass == pytest.approx(6 * 100 * bare * 1e-6 * turn * 1e-3 * 8890, rel=1e-6)
    assert phase.current_density(10.0) == pytest.approx(10 / bare * 1e6, rel=1e-6)


def test_two_paths_carry_half_each_through_a_quarter_of_the_resistance() -> None:
    one = wound_phase(MACHINE, Copper())
    split = with_fields(MACHINE, {"winding.parallel_paths": 2})
    two = wound_phase(split, Copper())
    assert two.resistance == pytest.approx(one.resistance / 4)
    assert two.current_density(10.0) == pytest.approx(one.current_density(5.0))


def test_a_named_wire_is_the_conductor() -> None:
    wired = with_fields(MACHINE, {"winding.wire_diameter": 0.566 * mm, "winding.strands": 2})
    bare = 2 * math.pi / 4 * 0.5**2  # mm2; IEC 60317-0-1: 0.566 over its enamel
    phase = wound_phase(wired, Copper(0.3, 20.0))
    assert phase.conductor_area == pytest.approx(bare * 1e-6)
    assert phase.resistance == pytest.approx(2 * 100 * phase.mean_turn / 58 / bare)


def test_steel_is_weighed() -> None:
    # Rings exactly, poles as rectangles: their faces and feet are arcs, whose segments make the few per cent left.
    yokes = math.pi * (60**2 - 49**2 + 19**2 - 10**2)
    poles = 6 * 2 * 30.4 * math.sin(15 * deg) * (49 - 30.4) + 4 * 2 * 30 * math.sin(16 * deg) * 11
    assert steel_mass(MACHINE) == pytest.approx(7650 * (yokes + poles) * 60 * 1e-9, rel=0.03)
    wider = with_fields(MACHINE, {"rotor_pole": Pole(arc=40 * deg)})
    more = 4 * 2 * 30 * (math.sin(20 * deg) - math.sin(16 * deg)) * 11 * 60 * 1e-9 * 7650
    assert steel_mass(wider) - steel_mass(MACHINE) == pytest.approx(more, rel=0.1)


def test_steel_knows_millimetres() -> None:
    longer = with_fields(MACHINE, {"stack_length": 120 * mm})
    assert steel_mass(longer) == pytest.approx(2 * steel_mass(MACHINE))


@pytest.mark.parametrize(
    ("fill", "temperature"), [(0.0, 20.0), (1.0, 20.0), (0.4, -300.0), (float("nan"), 20.0)]
)
def test_impossible_copper_is_refused(fill: float, temperature: float) -> None:
    with pytest.raises(InvalidValue, match=r"copper\."):
        Copper(fill, temperature)
