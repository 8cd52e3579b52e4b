"""A shaft of steel and the air round a machine, against sections that must come to the same."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from polefem import FluxMap, flux_map, solve_state
from polefem.export.fields import magnetics
from polefem.materials import Steel
from polefem.outline import Label
from polefem.params import RadialMachine
from polefem.units import deg, mm
from tests.field.built_machines import ROUGH, half_turn

ANGLES = np.array([-30.0, -12.0, 0.0]) * deg
#: So little permeable that flux looks for other ways than the yokes.
POOR = Steel.linear(60)


def solved(**changes: object) -> FluxMap:
    machine: RadialMachine = replace(half_turn(), steel=POOR, **changes)  # type: ignore[arg-type]
    return flux_map(machine, ANGLES, [8.0], ROUGH)


def same(one: FluxMap, two: FluxMap, within: float) -> bool:
    flux = np.abs(one.flux_linkage / two.flux_linkage - 1).max()
    torque = np.abs(one.torque - two.torque).max() / np.abs(two.torque).max()
    return bool(flux < within and torque < within)


def test_a_shaft_of_no_permeability_of_its_own_is_no_shaft() -> None:
    assert same(solved(shaft_steel=Steel.vacuum()), solved(), 1e-4)


def test_a_shaft_of_the_rotors_steel_is_a_rotor_without_a_hole() -> None:
    filled, bored = solved(shaft_steel=POOR), solved(shaft_radius=0.3 * mm)
    assert same(filled, bored, 2e-3)
    # The twin: the hole matters by more than that.
    assert not same(solved(), bored, 2e-3)


def test_a_solid_shaft_is_not_stacked() -> None:
    """Of a stack of half iron in linear steel, the shaft alone keeps all its permeability."""
    machine = replace(half_turn(), steel=POOR, shaft_steel=POOR, stacking_factor=0.5)
    state = solve_state(machine, -12 * deg, [8.0, 0.0, 0.0], ROUGH)
    h, field = magnetics(state.field, machine).h, state.field
    for material, mu_r in (("shaft", 60.0), ("iron", 30.5)):
        at = field.region == field.labels.index(Label(material, "rotor"))
        ratio = np.hypot(*field.b[at].T) / (4e-7 * math.pi * np.hypot(*h[at].T))
        assert np.allclose(ratio, mu_r, rtol=1e-4), material


def test_flux_outside_the_yoke_dies_away() -> None:
    none, near, far, further = (solved(surrounding_air=air * mm) for air in (0, 10, 60, 120))
    linkage = [float(m.flux_linkage[0, 2]) for m in (none, near, far, further)]
    assert linkage == sorted(linkage)
    assert linkage[2] / linkage[0] - 1 > 5e-3  # such iron leaks
    assert not same(near, far, 5e-3) and same(far, further, 5e-3)
