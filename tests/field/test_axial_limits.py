"""Axial machines against what they must agree with: a radial machine of very large radius, and their own finer cuts."""

from __future__ import annotations

import math

import numpy as np
import pytest

from polefem.maps import FluxMap
from polefem.materials import Steel
from polefem.params import AxialMachine, Pole, RadialMachine, Winding
from polefem.sweep import flux_map
from polefem.units import deg, mm

#: 400 rotor poles on a radius of 10 m: over the depth of a section the circumference changes by half a per cent.
POLES = (600, 400)
RADIUS = 10_000 * mm
GAP, HEIGHT, DEPTH, YOKE = 1 * mm, 30 * mm, 20 * mm, 30 * mm
STATOR_ARC, ROTOR_ARC = 0.31 * deg, 0.33 * deg
WINDING = Winding(turns_per_pole=10, coil_width=10 * mm, face_inset=3 * mm, yoke_clearance=3 * mm)
STEEL = Steel.linear(1000.0)
ANGLES, CURRENTS = (0.0, 0.2 * deg, 0.3 * deg), (10.0,)


def radial() -> FluxMap:
    machine = RadialMachine(
        stator_poles=POLES[0],
        rotor_poles=POLES[1],
        stator_outer_radius=RADIUS + GAP + HEIGHT + YOKE,
        rotor_outer_radius=RADIUS,
        air_gap=GAP,
        stator_yoke_thickness=YOKE,
        rotor_yoke_radius=RADIUS - DEPTH,
        shaft_radius=RADIUS - DEPTH - YOKE,
        stack_length=100 * mm,
        stator_pole=Pole(arc=STATOR_ARC),
        rotor_pole=Pole(arc=ROTOR_ARC),
        winding=WINDING,
        steel=STEEL,
        unusual=True,
    )
    return flux_map(machine, ANGLES, CURRENTS, mesh="coarse")


def axial(cuts: int = 1) -> FluxMap:
    machine = AxialMachine(
        stator_poles=POLES[0],
        rotor_poles=POLES[1],
        inner_radius=RADIUS - 50 * mm,
        outer_radius=RADIUS + 50 * mm,
        air_gap=GAP,
        stator_pole_height=HEIGHT,
        rotor_pole_height=DEPTH,
        stator_yoke_thickness=YOKE,
        rotor_yoke_thickness=YOKE,
        stator_pole=Pole(arc=STATOR_ARC),
        rotor_pole=Pole(arc=ROTOR_ARC),
        winding=WINDING,
        steel=STEEL,
        cuts=cuts,
        unusual=True,
    )
    return flux_map(machine, ANGLES, CURRENTS, mesh="coarse")


def alike(one: FluxMap, other: FluxMap, share: float = 0.006) -> bool:
    """Same flux linkage, and torque within the same share of its peak."""
    peak = np.abs(other.torque).max()
    return bool(
        np.allclose(one.flux_linkage, other.flux_linkage, rtol=share)
        and np.allclose(one.torque, other.torque, atol=share * peak)
    )


def test_sector_poles_are_a_radial_machine_of_very_large_radius() -> None:
    """The same flux per length, to the curvature that is left (a limit of the geometry, no published number)."""
    flat, round_one = axial(), radial()
    assert alike(flat, round_one)
    longer = FluxMap(
        flat.angles,
        flat.currents,
        1.02 * flat.flux_linkage,
        1.02 * flat.torque,
        flat.coenergy,
        flat.phases,
        flat.rotor_poles,
        flat.mirror,
    )
    assert not alike(longer, round_one)


@pytest.mark.slow
def test_a_few_cuts_are_enough() -> None:
    """Gauss-Legendre cuts converge fast where the fields vary smoothly with the radius."""

    def disc(cuts: int) -> FluxMap:
        machine = AxialMachine(
            stator_poles=6,
            rotor_poles=4,
            inner_radius=30 * mm,
            outer_radius=60 * mm,
            air_gap=0.5 * mm,
            stator_pole_height=25 * mm,
            rotor_pole_height=12 * mm,
            stator_yoke_thickness=12 * mm,
            rotor_yoke_thickness=12 * mm,
            stator_pole=Pole(arc=30 * deg),
            rotor_pole=Pole(arc=32 * deg),
            winding=Winding(turns_per_pole=80, coil_width=6 * mm, face_inset=2 * mm, yoke_clearance=3 * mm),
            steel=Steel.named("M330-50A measured"),
            cuts=cuts,
        )
        return flux_map(machine, [0.0, 15 * deg, 45 * deg], [4.0, 12.0])

    best = disc(7)
    distance = [float(np.abs(disc(cuts).flux_linkage / best.flux_linkage - 1).max()) for cuts in (1, 2, 3)]
    assert distance[0] > distance[1] > distance[2]
    assert distance[2] < 2e-3
    assert math.isfinite(distance[0]) and distance[0] > 1e-3  # one cut does not do, so the check can fail
