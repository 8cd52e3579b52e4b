"""What is refused at the door of a map or a state, before any meshing."""

import math
from collections.abc import Sequence

import pytest

from polefem import MeshSpec, Pole, RadialMachine, Steel, Winding, flux_map, solve_state
from polefem.errors import InvalidValue
from polefem.field import built_machine
from polefem.units import deg, mm

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
    rotor_pole=Pole(arc=32 * deg),
    winding=Winding(turns_per_pole=100, coil_width=6 * mm, face_inset=2 * mm, yoke_clearance=3 * mm),
    steel=Steel.linear(1000.0),
)


@pytest.fixture(autouse=True)
def no_mesh(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise AssertionError("meshed before the door was shut")

    monkeypatch.setattr(built_machine, "mesh_sides", refuse)


@pytest.mark.parametrize(
    ("angles", "currents", "sentence"),
    [
        (
            [0.2, 0.1],
            [1.0],
            r"the angles of a map must increase: angles\[1\] is 5\.72958 deg, allowed is above 11\.4592",
        ),
        ([0.1, 0.1], [1.0], r"the angles of a map must increase: angles\[1\] is 5\.72958 deg"),
        ([0.0, math.nan], [1.0], r"angles\[1\] is nan, allowed is a finite number"),
        ([[0.0], [0.1, 0.2]], [1.0], r"allowed is a flat list of numbers"),
        ([0.0], ["one"], r"currents is \['one'\], allowed is a flat list of numbers"),
        ([0.0], [], r"allowed is a flat list of one number or more"),
        ([0.0], [0.0], r"the currents of a map must flow: currents\[0\] is 0 A, allowed is above 0 A"),
        ([0.0], [-1.0, 1.0], r"the currents of a map must flow: currents\[0\] is -1 A, allowed is above 0 A"),
    ],
)
def test_lists_are_refused(angles: Sequence[float], currents: Sequence[float], sentence: str) -> None:
    with pytest.raises(InvalidValue, match=sentence):
        flux_map(MACHINE, angles, currents)


def test_states_and_meshes_are_refused() -> None:
    with pytest.raises(InvalidValue, match=r"each phase has one current: phase_currents is \[1, 2\]"):
        solve_state(MACHINE, 0.0, [1, 2])
    with pytest.raises(InvalidValue, match="the rotor stands at an angle"):
        solve_state(MACHINE, math.nan, [1, 0, 0])
    with pytest.raises(InvalidValue, match="mesh is 'tiny', allowed is coarse, normal, fine"):
        flux_map(MACHINE, [0.0], [1.0], mesh="tiny")
    with pytest.raises(AssertionError, match="meshed"):  # the door opens for what is right
        flux_map(MACHINE, [0.0], [1.0], mesh=MeshSpec())
