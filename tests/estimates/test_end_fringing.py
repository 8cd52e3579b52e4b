"""Fringing at the ends of a stack: Roters' values, a closed field, energy, and a measured machine with a short one."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from polefem import FluxMap, Steel, flux_map
from polefem.estimates import end_effects, end_fringing, with_end_effects, with_end_fringing
from polefem.estimates.end_fringing import fringe_permeance
from polefem.maps import linear_map
from polefem.materials import MU0
from polefem.params.fields import with_fields
from polefem.params.toml import load_machine
from polefem.units import deg, mm
from tests.maps.saturating import PITCH, sampled
from tests.outline.test_builds import AXIAL
from tests.record.check import Check
from tests.study.fake_solver import MACHINE

CASE = "ends and windings by handbook formulas"
ROTERS = "Roters, Electromagnetic Devices, 1941"
CONFORMAL = "conformal map of a square corner over a plane (Schwarz, Christoffel)"
Record = Callable[..., None]

Permeance = Callable[[float, float], float]


def test_roters_values(record: Record) -> None:
    # Roters 1941, coefficients read in a text that names him; edges of 0.1 m, half cylinder 3.27e-8 H, half hollow
    # cylinder as thick as half the gap 2.77e-8 H (computed).
    half_cylinder = fringe_permeance(1e-3, 0.0)
    assert MU0 * 0.1 * half_cylinder == pytest.approx(3.27e-8, rel=2e-3)
    hollow = fringe_permeance(1e-3, 0.5e-3) - half_cylinder
    assert MU0 * 0.1 * hollow == pytest.approx(2.77e-8, rel=2e-3)
    assert MU0 * 0.1 * 2 * half_cylinder != pytest.approx(3.27e-8, rel=2e-3)
    # An edge over a face is half of two opposed edges, twice as permeable.
    for name, published, found in (
        ("half cylinder between edges of 0.1 m", 3.27e-8, half_cylinder),
        ("quarter cylinder between an edge of 0.1 m and a face", 6.53e-8, 2 * half_cylinder),
        ("half hollow cylinder as thick as half the gap, 0.1 m", 2.77e-8, hollow),
    ):
        check = Check(CASE, name, 1e9 * published, "nH", ROTERS, "read in a second text", 2e-3)
        record(check, 1e9 * MU0 * 0.1 * found, broken=1e9 * MU0 * 0.1 * found * 1.01)


def corner_over_plane(gap: float, depth: float) -> float:
    """What the end of two opposed square-edged poles adds to the gap's flux, over mu0, per length, in closed form.

    Half of it is a square corner over a plane at h = gap / 2, mapped from the upper half plane by
    dz/dw = (i h / pi) sqrt(w - 1) / w (Schwarz and Christoffel): its side to a depth t passes ln(1 + s^2) / pi with
    t = (2 h / pi)(s - atan s), its underside (2 - ln 4) / pi more than an endless one.
    """
    h = gap / 2
    s = brentq(lambda s: 2 * h / math.pi * (s - math.atan(s)) - depth, 0.0, 10 + math.pi * depth / h)
    return ((2 - math.log(4)) / math.pi + math.log(1 + s**2) / math.pi) / 2


def near_the_closed_field(permeance: Permeance) -> bool:
    """Within 9 %, from a depth of half a gap to one of forty gaps."""
    return all(
        abs(permeance(1e-3, depth) / corner_over_plane(1e-3, depth) - 1) < 0.09
        for depth in (0.5e-3, 1e-3, 3e-3, 10e-3, 40e-3)
    )


def test_roters_formula_is_near_the_closed_field(record: Record) -> None:
    assert near_the_closed_field(fringe_permeance)
    for depth in (0.5, 1, 3, 10, 40):
        name = f"Roters' fringe over mu0 and length, to a depth of {depth} gaps, over the closed field"
        check = Check(CASE, name, corner_over_plane(1e-3, depth * mm), "", CONFORMAL, "formula", 0.09)
        record(check, fringe_permeance(1e-3, depth * mm), broken=fringe_permeance(1e-3, depth * mm) + 0.26)
    # A quarter cylinder, 0.52, belongs between an edge and a face, not between two edges.
    assert not near_the_closed_field(lambda gap, depth: fringe_permeance(gap, depth) + 0.26)
    # The inner radius of the hollow cylinder is half the gap, not the gap.
    assert not near_the_closed_field(lambda gap, depth: fringe_permeance(2 * gap, depth))


def test_an_unsaturated_map_gains_the_fringe_at_both_ends() -> None:
    straight = linear_map(60e-3, 6e-3, full=1 * deg, apart=31 * deg, current=10.0)
    fringe = end_fringing(straight, MACHINE)
    face, depth = 2 * 30.4 * mm * math.sin(15 * deg), (2 + 13.6 / 4) * mm
    per_length = MU0 * 2 * 100**2 * face  # two coils of 100 turns, each on a face
    assert fringe.aligned == pytest.approx(2 * per_length * fringe_permeance(0.4 * mm, depth), rel=2e-2)
    # The unaligned gap is the one that would have 6 mH over the whole face.
    gap = per_length * 60 * mm / 6e-3
    assert fringe.unaligned == pytest.approx(2 * per_length * fringe_permeance(gap, depth), rel=2e-2)
    after = with_end_fringing(straight, MACHINE)
    for angle, more in ((0.0, fringe.aligned), (PITCH / 2, fringe.unaligned)):
        assert after.at(angle, 10.0)[0] - straight.at(angle, 10.0)[0] == pytest.approx(10 * more, rel=1e-6)
    # Between, torque grows by the share that the inductance's slope does.
    slope = (fringe.aligned - fringe.unaligned) / 54e-3
    assert after.at(15 * deg, 10.0)[1] / straight.at(15 * deg, 10.0)[1] == pytest.approx(1 + slope, rel=1e-4)


def makes_no_energy(m: FluxMap) -> bool:
    """At each node, flux linkage and torque are the differences of the co-energy between its neighbours."""
    psi = np.gradient(m.coenergy, m.currents, axis=0, edge_order=2)[1:-1, 1:-1]
    torque = np.gradient(m.coenergy, m.angles, axis=1, edge_order=2)[1:-1, 1:-1]
    return (
        np.abs(psi - m.flux_linkage[1:-1, 1:-1]).max() < 3e-3 * m.flux_linkage.max()
        and np.abs(torque - m.torque[1:-1, 1:-1]).max() < 3e-3 * np.abs(m.torque).max()
    )


def test_fringing_makes_no_energy_while_steel_saturates() -> None:
    before = sampled(121, 41)
    assert makes_no_energy(before)
    after = with_end_fringing(before, MACHINE)
    assert after.coenergy[-1, -1] > 1.05 * before.coenergy[-1, -1]
    assert makes_no_energy(after)
    # One factor on the flux linkage alone, as a longer stack would have, is no map.
    factor = 1 + end_fringing(before, MACHINE).aligned / end_fringing(before, MACHINE).most
    assert not makes_no_energy(dataclasses.replace(before, flux_linkage=factor * before.flux_linkage))


def test_saturated_steel_passes_little_of_the_fringe_on() -> None:
    before = sampled(61, 21)
    after = with_end_fringing(before, MACHINE)
    gained = after.flux_linkage / before.flux_linkage - 1
    assert gained[-1, 0] < 0.4 * gained[0, 0]
    assert gained[-1, -1] == pytest.approx(gained[0, -1], rel=0.05)  # unaligned nothing saturates


def test_estimates_are_told_apart_from_the_field() -> None:
    m = sampled()
    assert with_end_effects(m, MACHINE, end_winding=False, fringing=False) is m
    both = with_end_effects(m, MACHINE)
    assert [remark.count("an estimate and no field solution") for remark in both.remarks] == [1, 1]
    effects = end_effects(m, MACHINE)
    more = both.flux_linkage[0] - m.flux_linkage[0]
    assert more[-1] / m.currents[0] == pytest.approx(
        effects.end_winding + effects.fringing.unaligned, rel=1e-2
    )
    assert str(effects).startswith("field solution: 45.4") and "estimates apart from it: end turns" in str(
        effects
    )


def test_a_longer_stack_has_the_same_ends() -> None:
    m = sampled()
    long = with_fields(MACHINE, {"stack_length": 0.6, "unusual": True})
    assert end_fringing(m, long).aligned == pytest.approx(end_fringing(m, MACHINE).aligned)


def test_two_rotors_have_twice_the_ends_of_one() -> None:
    """The same poles and turns at two gaps: what bulges out doubles."""
    m = sampled()
    ends = [end_fringing(m, replace(AXIAL, build=build)).aligned for build in ("one gap", "two rotors")]
    assert ends[1] == pytest.approx(2 * ends[0])


# TEAM Workshop Problem 24, N. Allen and D. Rodger, University of Bath (read): a locked rotor at 22 deg, a stack of 25.4
# mm behind a gap of 2.7 mm, measured at 7.41 A: 3.22 N m, 0.472 mWb through a rotor pole. Flat sections of general
# libraries give 2.59 to 3.11 N m and 0.376 to 0.414 mWb, as the steel's missing first points are filled in (computed).
RIG = replace(
    load_machine(Path(__file__).parents[2] / "geometries" / "rotational_rig.toml"), steel=Steel.named("EN9")
)


def nearer_to_the_measurement(flat: FluxMap, ends: FluxMap) -> bool:
    """Torque nearer to 3.22 N m and not past it by 5 %; flux larger by what the flat sections lack, 14 to 25 %."""
    at = (-22 * deg, 7.41)
    torque, was = float(ends.at(*at)[1]), float(flat.at(*at)[1])
    flux = float(ends.at(*at)[0] / flat.at(*at)[0])
    return was < torque < 1.05 * 3.22 and abs(torque - 3.22) < abs(was - 3.22) and 1.14 < flux < 1.255


@pytest.mark.slow
def test_a_short_stack_comes_nearer_to_what_was_measured() -> None:
    flat = flux_map(RIG, np.linspace(0, 90, 31) * deg, [1.0, 3.0, 5.0, 7.41], mesh="coarse")
    assert float(flat.at(-22 * deg, 7.41)[1]) == pytest.approx(2.9, abs=0.3)
    assert nearer_to_the_measurement(flat, with_end_fringing(flat, RIG))
    # Twice the ends, or none, do not explain it.
    half = with_fields(RIG, {"stack_length": RIG.stack_length / 2})
    twice = dataclasses.replace(
        flat, **{n: getattr(flat, n) / 2 for n in ("flux_linkage", "torque", "coenergy")}
    )
    assert not nearer_to_the_measurement(twice, with_end_fringing(twice, half))
    assert not nearer_to_the_measurement(flat, flat)
