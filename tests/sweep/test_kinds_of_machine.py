"""Coupled maps of every kind of machine, at nodes, against fields of the whole machine solved for themselves."""

from __future__ import annotations

from itertools import combinations, islice
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem import MeshSpec, Pole, RadialMachine, Steel, Winding, coupled_map
from polefem.field import built, field_series
from polefem.maps import CoupledMap, summed
from polefem.params import Machine
from polefem.params.toml import load_machine
from polefem.units import deg, mm

pytestmark = pytest.mark.slow

Floats = NDArray[np.float64]

SPEC = MeshSpec().coarser(4.0)
KINDS = {
    "8/6": "hand_mill",
    "12/8": "log_winch",
    "6/10": "cider_press",
    "outer rotor": "kick_wheel",
    "axial, three cuts": "honey_extractor",
}
#: Ampere-turns of a pole: enough to saturate.
AMPERE_TURNS = 1500.0


def many_phases(stator: int, rotor: int) -> RadialMachine:
    """A machine of five or six phases with a thin yoke."""
    return RadialMachine(
        stator_poles=stator,
        rotor_poles=rotor,
        stator_outer_radius=80 * mm,
        rotor_outer_radius=44 * mm,
        air_gap=0.4 * mm,
        stator_yoke_thickness=6 * mm,
        rotor_yoke_radius=31 * mm,
        shaft_radius=12 * mm,
        stack_length=60 * mm,
        stator_pole=Pole(arc=0.45 * 360 / stator * deg),
        rotor_pole=Pole(arc=0.4 * 360 / rotor * deg),
        winding=Winding(turns_per_pole=60, coil_width=4 * mm, face_inset=2 * mm, yoke_clearance=2 * mm),
        steel=Steel.named("M330-50A measured"),
    )


def machine_of(kind: str) -> Machine:
    if kind in KINDS:
        return load_machine(Path(__file__).parents[2] / "geometries" / f"{KINDS[kind]}.toml")
    stator, rotor = kind.split("/")
    return many_phases(int(stator), int(rotor))


def states_of(machine: Machine, current: float) -> tuple[Floats, Floats]:
    """Angles at nodes, rad, shape (n,), and currents with two phases on, A, shape (n, n_phases)."""
    count, pitch = machine.phases.count, machine.rotor_pitch
    pairs = list(islice(combinations(range(count), 2), 6))
    angles, rows = [], np.zeros((len(pairs), count))
    for at, pair in enumerate(pairs):
        angles.append((2 * at + 1) % (2 * count) * pitch / (2 * count))
        rows[at, list(pair)] = current
    return np.array(angles), rows


def same(found: CoupledMap, machine: Machine, current: float) -> bool:
    """Whether torque and the flux linkages of phases that conduct (of three phases, of the resting one too) are those
    of the fields."""
    angles, rows = states_of(machine, current)
    states = list(field_series(built(machine, SPEC), angles, rows))
    at = found.at(angles, rows)
    torque = np.abs(at.torque - [state.torque for state in states]).max() / np.abs(found.single.torque).max()
    off = np.abs(at.flux_linkages - [state.flux_linkages for state in states])
    counted = off if machine.phases.count == 3 else off[rows > 0]
    return bool(torque < 2e-3 and counted.max() < 2e-3 * np.abs(found.single.flux_linkage).max())


@pytest.mark.parametrize("kind", [*KINDS, "10/8", "12/10"])
def test_nodes_are_the_fields_own(kind: str) -> None:
    machine = machine_of(kind)
    count = machine.phases.count
    current = AMPERE_TURNS * machine.winding.parallel_paths / machine.winding.turns_per_pole
    angles = np.linspace(0.0, machine.rotor_pitch / 2, 7)
    found = coupled_map(
        machine,
        angles,
        current / 3 * np.arange(1, 4),
        SPEC,
        joint_currents=[current],
        joint_nodes=2 * count,
        at_once=3 if count == 3 else 2,
    )
    assert same(found, machine, current)
    assert not same(summed(found.single), machine, current)
