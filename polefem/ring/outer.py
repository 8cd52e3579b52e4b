"""The outer ring of a machine, weighed."""

from __future__ import annotations

import math

from polefem.errors import InvalidValue, refusal
from polefem.estimates import masses_of, steel_density
from polefem.field import BuiltMachine, built
from polefem.outline import Member
from polefem.params import Machine, OuterRotorMachine, RadialMachine
from polefem.ring.ring import Elastic, Ring

__all__ = ["outer_ring"]


def outer_ring(machine: Machine | BuiltMachine, elastic: Elastic | None = None) -> Ring:
    """The outer ring of a machine. Raises InvalidValue for an axial machine, whose discs are no rings, and as
    `masses_of`."""
    whole, sheet = built(machine), elastic or Elastic()
    known = whole.machine
    masses = masses_of(whole)
    steels, shares = known.core_steels, known.stacking_factors
    if isinstance(known, RadialMachine):
        member: Member = "stator"
        inner, outer = known.slot_radius, known.stator_outer_radius
        steel, share, iron, copper = steels[1], shares[1], masses.stator_steel, masses.copper
    elif isinstance(known, OuterRotorMachine):
        member, inner, outer = "rotor", known.valley_radius, known.rotor_outer_radius
        steel, share, iron, copper = steels[0], shares[0], masses.rotor_steel, 0.0
    else:
        rule = "a ring is round"
        raise InvalidValue(refusal(rule, "machine", type(known).__name__, "a machine with a radial gap"))
    density = share * steel_density(steel)
    yoke = density * math.pi * (outer**2 - inner**2) * known.stack_length
    modulus = share * sheet.modulus
    return Ring(
        member, inner, outer, known.stack_length, density, modulus, sheet.poisson, iron - yoke, copper
    )
