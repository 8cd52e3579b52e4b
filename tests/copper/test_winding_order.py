"""What a winder is given, worked by hand; where wires lie; and which end is joined to which, held against the field."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
import shapely

from polefem.copper import (
    CoilShape,
    Copper,
    JoinedCoil,
    JoiningPlan,
    Wire,
    coil_shape,
    joining_plan,
    laid_wires,
    packing,
    winding_order,
    wound_phase,
)
from polefem.field import Field, solve_state
from polefem.params import AxialMachine, CoilStep, Machine, Pole, joined_otherwise
from polefem.units import deg, mm
from tests.study.fake_solver import MACHINE

#: Nominal diameters of IEC 60317-0-1 (mm), series R20 with R40 between, and the largest diameters over enamel of grade
#: 2 beside some; from memory.
LISTED = (0.5, 0.53, 0.56, 0.6, 0.63, 0.67, 0.71, 0.75, 0.8, 0.85, 0.9, 0.95, 1.0, 1.06, 1.12, 1.18, 1.25)
OVER_ENAMEL = {0.5: 0.566, 0.63: 0.704, 0.71: 0.789, 0.8: 0.884, 0.9: 0.989, 1.0: 1.094}


def test_next_sizes_are_the_standard_s() -> None:
    for at, bare in enumerate(LISTED[1:-1], start=1):
        overall = Wire.metric(bare * mm).overall
        winding = replace(MACHINE.winding, turns_per_pole=20, wire_diameter=overall)
        order = winding_order(replace(MACHINE, winding=winding))
        assert order.named and order.smaller is not None and order.larger is not None
        found = [order.smaller.wire.bare / mm, order.wire.bare / mm, order.larger.wire.bare / mm]
        assert found == pytest.approx(LISTED[at - 1 : at + 2])
    for bare, over in OVER_ENAMEL.items():
        assert Wire.metric(bare * mm).overall / mm == pytest.approx(over, abs=1e-3)
        assert Wire.metric(bare * mm, grade=1).overall / mm != pytest.approx(over, abs=1e-3)


def by_hand(strands: int, paths: int, temperature: float) -> tuple[float, float, float, float]:
    """Metres and kilograms of wire in all, ohms of a coil and of a phase, of 6 coils of 40 turns of 0.71 mm wire.

    A turn runs the stack of 60 mm twice and round its ends in a circle whose diameter is the pole's width of 15.73 mm,
    a coil's of 6 mm and two liners of 0.3 mm; a metre of the wire has 58 m/(ohm mm2) at 20 degC, 0.393 % more
    resistance a kelvin, and 8.89 g/cm3.
    """
    turn = 2 * 60 + math.pi * (2 * 30.4 * math.sin(15 * deg) + 6 + 0.6)
    metres = 40 * turn / 1000 * strands
    section = math.pi / 4 * 0.71**2
    ohms = metres / strands**2 / (58 * section) * (1 + 0.00393 * (temperature - 20))
    return 6 * metres, 6 * metres * section * 8.89e-3, ohms, ohms * 2 / paths**2


@pytest.mark.parametrize("temperature", [20.0, 100.0])
@pytest.mark.parametrize(("strands", "paths"), [(1, 1), (2, 1), (1, 2)])
def test_lengths_masses_and_resistances_are_those_worked_by_hand(
    strands: int, paths: int, temperature: float
) -> None:
    winding = replace(
        MACHINE.winding,
        turns_per_pole=40,
        wire_diameter=Wire.metric(0.71 * mm).overall,
        strands=strands,
        parallel_paths=paths,
        coil_width=6 * mm,
        liner=0.3 * mm,
    )
    assert (MACHINE.stator_pole.arc, MACHINE.stack_length) == (30 * deg, 60 * mm)
    order = winding_order(replace(MACHINE, winding=winding))

    def holds(strands: int, paths: int, temperature: float) -> bool:
        found = (order.length, order.mass, order.coil_resistance(at), order.phase_resistance(at))
        return found == pytest.approx(by_hand(strands, paths, temperature), rel=1e-6)

    at = temperature
    assert holds(strands, paths, temperature)
    assert not holds(strands + 1, paths, temperature)
    assert not holds(strands, paths + 1, temperature)
    assert not holds(strands, paths, temperature + 10)


def test_the_resistance_is_that_of_the_figures_where_the_wire_is_named() -> None:
    named = replace(MACHINE, winding=replace(MACHINE.winding, turns_per_pole=60, wire_diameter=0.789 * mm))
    order, phase = winding_order(named), wound_phase(named, Copper())
    assert order.phase_resistance(100.0) == pytest.approx(phase.resistance) == pytest.approx(order.counted)
    assert order.mass == pytest.approx(phase.copper_mass)


def test_a_wire_left_open_is_a_standard_size_near_to_what_is_counted_with() -> None:
    order = winding_order(MACHINE, Copper(fill_factor=0.4))
    assert not order.named and order.packing.fits
    counted = wound_phase(MACHINE, Copper(fill_factor=0.4)).conductor_area
    assert order.smaller is not None and order.larger is not None
    assert order.smaller.wire.area < counted < order.larger.wire.area
    crammed = winding_order(MACHINE, Copper(fill_factor=0.75))
    assert crammed.packing.fits and crammed.larger is not None and not crammed.larger.packing.fits


STEPPED = replace(
    MACHINE, winding=replace(MACHINE.winding, steps=(CoilStep(5 * mm, 4 * mm), CoilStep(3 * mm, 5 * mm)))
)


def has_room(shape: CoilShape, places: Sequence[complex], diameter: float) -> bool:
    """Whether circles about these places overlap neither each other nor the coil side's edge, within a nanometre."""
    blocks, end, inside = shape.blocks or ((shape.width, shape.height),), 0.0, []
    for width, height in blocks:
        inside.append(shapely.box(0, end, width, end + height))
        end += height
    coil = shapely.unary_union(inside).buffer(1e-9, join_style="mitre")
    wires = [shapely.Point(z.real, z.imag).buffer(diameter / 2 - 1e-9, 32) for z in places]
    free = shapely.MultiPoint([(z.real, z.imag) for z in places])
    apart = min(abs(a - b) for at, a in enumerate(places) for b in places[at + 1 :])
    return len(free.geoms) > 1 and apart > diameter - 1e-9 and all(coil.covers(wire) for wire in wires)


@pytest.mark.parametrize("machine", [MACHINE, STEPPED], ids=["rectangle", "steps"])
def test_every_wire_has_room(machine: Machine) -> None:
    shape, wire = coil_shape(machine), Wire.metric(0.63 * mm)
    packed = packing(shape, wire, 60, machine.winding)
    places = laid_wires(shape, wire, packed.wires)
    assert len(places) == packed.wires == 60
    assert has_room(shape, places.tolist(), wire.overall)
    assert not has_room(shape, places.tolist(), 1.05 * wire.overall)
    assert not has_room(shape, (places * 1.3).tolist(), wire.overall)
    assert len(laid_wires(shape, wire, 10**6)) == packed.places


def fluxes(plan: JoiningPlan, phase: int) -> dict[int, int]:
    """Which way a coil's current drives flux, by the right-hand rule: 1 out of the pole, of coils that are wound
    counter-clockwise from S to F for who looks at the face."""
    return {coil.pole: 1 if coil.enters == "S" else -1 for path in plan.paths[phase] for coil in path}


def field_signs(field: Field, machine: Machine, poles: Sequence[int]) -> dict[int, int]:
    """1 where the flux density behind a pole's face points towards the rotor, -1 where away from it."""
    found = {}
    for pole in poles:
        triangle = field.points[field.triangles[:, :3]].mean(axis=1) @ [1, 1j]
        if isinstance(machine, AxialMachine):
            spot = machine.air_gap + 0.5 * machine.stator_pole_height
            spot += 1j * pole * 2 * math.pi / machine.stator_poles * machine.mean_radius
            inwards = -1.0 + 0j
        else:
            turn = np.exp(2j * math.pi * pole / machine.stator_poles)
            spot, inwards = 36 * mm * turn, -turn
        at = int(np.argmin(abs(triangle - spot)))
        b = complex(*field.b[at])
        found[pole] = int(np.sign((b * inwards.conjugate()).real))
    return found


AXIAL = AxialMachine(
    stator_poles=6,
    rotor_poles=4,
    inner_radius=45 * mm,
    outer_radius=80 * mm,
    air_gap=0.6 * mm,
    stator_pole_height=25 * mm,
    rotor_pole_height=15 * mm,
    stator_yoke_thickness=10 * mm,
    rotor_yoke_thickness=9 * mm,
    stator_pole=Pole(arc=30 * deg),
    rotor_pole=Pole(arc=32 * deg),
    winding=MACHINE.winding,
    steel=MACHINE.steel,
    cuts=1,
)
OTHER = replace(MACHINE, winding=replace(MACHINE.winding, polarity=joined_otherwise(MACHINE.phases)))


@pytest.mark.parametrize("machine", [MACHINE, OTHER, AXIAL], ids=["usual", "otherwise", "axial"])
def test_the_joints_give_the_polarity_of_the_field(machine: Machine) -> None:
    plan = joining_plan(machine)
    for phase in range(2):
        currents = [5.0 if own == phase else 0.0 for own in range(3)]
        field = solve_state(machine, phase * 30 * deg, currents, "coarse").field
        signs = field_signs(field, machine, machine.phases.poles(phase))
        assert fluxes(plan, phase) == signs
        turned = JoiningPlan(tuple(_one_turned(paths) for paths in plan.paths))
        assert fluxes(turned, phase) != signs


def _one_turned(paths: tuple[tuple[JoinedCoil, ...], ...]) -> tuple[tuple[JoinedCoil, ...], ...]:
    (first, *others), *further = paths
    return ((replace(first, polarity=-first.polarity), *others), *further)


def walked(plan: JoiningPlan) -> list[list[str]]:
    """The ends in the order in which a current passes them, a path a list, read off the sentences."""
    found = []
    for said in plan.sentences():
        joints = said.rstrip(".").partition(": ")[2].split("; ")
        found.append([end for joint in joints for end in joint.split(" to ")])
    return found


def test_every_coil_is_joined_once_and_every_path_has_coils_all_round() -> None:
    machine = replace(
        MACHINE,
        stator_poles=12,
        rotor_poles=8,
        stator_pole=Pole(arc=14 * deg),
        rotor_pole=Pole(arc=16 * deg),
        winding=replace(MACHINE.winding, coil_width=3 * mm, parallel_paths=2),
    )
    plan = joining_plan(machine)
    assert [len(paths) for paths in plan.paths] == [2, 2, 2]
    for paths in plan.paths:
        for path in paths:
            first, second = (coil.pole for coil in path)
            assert second - first == 6  # opposite each other: one gap widens where the other narrows
    assert sorted(coil.pole for paths in plan.paths for path in paths for coil in path) == list(range(12))
    ends = [end for path in walked(plan) for end in path if end not in ("+", "-")]
    assert sorted(ends) == sorted(f"{pole} {end}" for pole in range(1, 13) for end in "SF")


@pytest.mark.parametrize(("through", "second"), [(True, "F"), (False, "S")])
def test_a_second_stator_drives_flux_on_or_against(through: bool, second: str) -> None:
    machine = replace(AXIAL, build="two stators", through_flux=through)
    first, back = joining_plan(machine).paths[0][0][:2]
    assert (first.name, first.enters, back.name, back.enters) == ("1 front", "S", "1 back", second)


def test_one_coil_through_the_middle_is_one_coil() -> None:
    machine = replace(AXIAL, build="two rotors", stator_yoke_thickness=0.0)
    assert [coil.name for coil in joining_plan(machine).paths[0][0]] == ["1", "4"]
    assert winding_order(machine).coils == 6
    assert winding_order(replace(AXIAL, build="two stators")).coils == 12
