"""Masses of steel and copper, and the rotor's moment of inertia.

Steel is weighed by the area of its outline, exact for lines and arcs, times the stack length and the stacking factor.
Shaft, bearings, case, insulation and everything else a machine needs is not in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polefem.field import BuiltMachine, built
from polefem.materials import Steel
from polefem.outline import DrawnMachine, Region, Side, drawn
from polefem.params import Machine
from polefem.shapes import Arc, Segment, area

__all__ = ["STEEL_DENSITY", "Masses", "masses_of", "steel_density", "steel_mass"]

STEEL_DENSITY = (
    7650.0  #: kg/m3, where the steel says none: conventional, of M330-50A in EN 10106 (from memory)
)
Complexes = NDArray[np.complexfloating[Any, Any]]

#: Points of Gauss and Legendre along one segment: exact for lines, to 1e-12 for arcs up to half a turn.
PLACES, WEIGHTS = np.polynomial.legendre.leggauss(16)


@dataclass(frozen=True)
class Masses:
    """copper, stator_steel, rotor_steel: kg. rotor_inertia: about the shaft, of the rotor's steel, kg m2."""

    copper: float
    stator_steel: float
    rotor_steel: float
    rotor_inertia: float

    @property
    def active(self) -> float:
        """Copper and steel, kg."""
        return self.copper + self.stator_steel + self.rotor_steel


def masses_of(machine: Machine | BuiltMachine) -> Masses:
    """What a machine weighs, from its outline and winding; the steel of an axial machine from its cuts.

    Raises GeometryRefused for a machine that cannot be built.
    """
    known = built(machine)
    rotor, stator = _steel_masses(known)
    return Masses(known.winding.copper_mass, stator, rotor, rotor * _mean_square_radius(known))


def steel_mass(machine: Machine | DrawnMachine) -> float:
    """Of rotor and stator together, kg."""
    return sum(_steel_masses(drawn(machine)))


def steel_density(steel: Steel) -> float:
    """Of the steel itself, kg/m3."""
    return steel.grade.density.value if steel.grade else STEEL_DENSITY


def _steel_masses(known: DrawnMachine) -> tuple[float, float]:
    """Of rotor and stator, kg. The length of an outline counts both halves of a double-sided machine."""
    machine = known.machine
    rotor = sum(_iron_area(cut.rotor) * cut.length for cut in known.sections)
    stator = sum(_iron_area(cut.stator) * cut.length for cut in known.sections)
    rotor_density, stator_density = map(steel_density, machine.core_steels)
    rotor_share, stator_share = machine.stacking_factors
    return rotor_share * rotor_density * rotor, stator_share * stator_density * stator


def _iron_area(side: Side) -> float:
    """Of all poles and the yoke, m2."""
    iron = sum(_net_area(region) for region in side.regions if region.material == "iron")
    return iron * side.row.poles / side.unit_poles


def _net_area(region: Region) -> float:
    return abs(area(region.ring)) - sum(abs(area(hole)) for hole in region.holes)


def _mean_square_radius(known: DrawnMachine) -> float:
    """Mean over the rotor's steel of the square of the distance from the shaft's axis, m2."""
    machine = known.machine
    if machine.disc_radii is not None:
        inner, outer = machine.disc_radii
        return (inner**2 + outer**2) / 2
    iron = [region for region in known.outline.rotor.regions if region.material == "iron"]
    moment = sum(_net_moment(region) for region in iron)
    return moment / sum(_net_area(region) for region in iron)


def _net_moment(region: Region) -> float:
    return abs(polar_moment(region.ring)) - sum(abs(polar_moment(hole)) for hole in region.holes)


def polar_moment(ring: Sequence[Segment]) -> float:
    """Integral of the squared distance from the origin over the inside of a closed ring, m4, by Green's theorem:
    a quarter of the integral of |z|^2 Im(conj(z) dz) round it. Positive when walked counter-clockwise."""
    total = 0.0
    for segment in ring:
        z, dz = _along(segment)
        total += float(np.sum(WEIGHTS / 2 * np.abs(z) ** 2 * (z.conj() * dz).imag)) / 4
    return total


def _along(segment: Segment) -> tuple[Complexes, Complexes]:
    """Points along a segment at the places of Gauss, and the derivative there over a parameter from 0 to 1."""
    t = (PLACES + 1) / 2
    if not isinstance(segment, Arc):
        step = segment.end - segment.start
        return segment.start + step * t, step * np.ones_like(t)
    arm = (segment.start - segment.centre) * np.exp(1j * segment.sweep * t)
    return segment.centre + arm, 1j * segment.sweep * arm
