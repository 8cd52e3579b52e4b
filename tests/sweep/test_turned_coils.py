"""A map of coils that are joined otherwise follows from the map before where phases meet as some did there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_joint import ANGLES, SPEC, thin_yoke

from polefem import Pole, coupled_map
from polefem.field import built
from polefem.maps import CoupledMap, Interaction, linear_map
from polefem.params import RadialMachine, joined_otherwise
from polefem.sweep import with_coils_turned
from polefem.units import deg

CURRENTS = np.array([8.0, 16.0])
USUAL = thin_yoke()


def joined(machine: RadialMachine) -> RadialMachine:
    """The machine with its coils joined the other usual way."""
    winding = replace(machine.winding, polarity=joined_otherwise(machine.phases))
    return replace(machine, winding=winding)


def computed(machine: RadialMachine) -> CoupledMap:
    angles = ANGLES if machine.rotor_pole.symmetric else np.concatenate([-ANGLES[:0:-1], ANGLES])
    return coupled_map(machine, angles, CURRENTS, SPEC, joint_currents=CURRENTS, joint_nodes=12, at_once=2)


def apart(found: CoupledMap, other: CoupledMap) -> float:
    """How far torques and flux linkages are apart, of the largest, over a pitch with any two phases on."""
    draw = np.random.default_rng(3)
    angles = draw.uniform(0.0, found.pitch, 300)
    currents = draw.uniform(0.0, CURRENTS[-1], (300, 3))
    currents[np.arange(300), draw.integers(0, 3, 300)] = 0.0
    one, two = found.at(angles, currents), other.at(angles, currents)
    return max(
        float(np.abs(a - b).max() / np.abs(b).max())
        for a, b in ((one.torque, two.torque), (one.flux_linkages, two.flux_linkages))
    )


@pytest.mark.parametrize("rotor_pole", [Pole(arc=32 * deg), Pole(arc=32 * deg, taper=(0.0, 8 * deg))])
def test_the_map_of_coils_joined_otherwise_takes_no_field(rotor_pole: Pole) -> None:
    usual = replace(USUAL, rotor_pole=rotor_pole)
    other = joined(usual)
    known, fields = computed(usual), computed(other)
    found = with_coils_turned(known, usual.phases, built(other, SPEC))
    assert found is not None
    assert apart(found, fields) < 1e-4
    assert apart(known, fields) > 0.05  # the twin: as if it did not matter how they are joined


def made_up(*sets: tuple[int, ...]) -> CoupledMap:
    """A map of sets of phases that add nothing to each other."""
    parts = [
        Interaction(
            on,
            np.linspace(0.0, 90.0, 4) * deg,
            CURRENTS,
            np.zeros((2,) * (1 + len(on)) + (3,) + (2,) * len(on)),
        )
        for on in sets
    ]
    return CoupledMap(linear_map(60e-3, 6e-3, full=1 * deg, apart=31 * deg, current=16.0), tuple(parts))


PAIRS = (0, 1), (0, 2), (1, 2)


def test_phases_that_meet_as_none_did_before_are_told() -> None:
    other = joined(USUAL)
    assert with_coils_turned(made_up(*PAIRS), USUAL.phases, built(other, SPEC)) is not None
    assert with_coils_turned(made_up(*PAIRS), other.phases, built(USUAL, SPEC)) is None
    assert with_coils_turned(made_up(*PAIRS, (0, 1, 2)), USUAL.phases, built(other, SPEC)) is None


def test_coils_of_one_phase_that_stand_otherwise_are_told() -> None:
    split = thin_yoke((1, 1, 1, 1, -1, -1))  # the poles of phase 0 no longer one way in and one way out
    assert with_coils_turned(made_up(*PAIRS), USUAL.phases, built(split, SPEC)) is None
