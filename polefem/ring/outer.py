"""The outer ring of a machine, weighed."""

from __future__ import annotations

import math

from polefem.errors import InvalidValue, refusal
from polefem.estimates import masses_of, steel_density
from polefem.field import BuiltMachine, built
from polefem.params import Machine
from polefem.ring.ring import Elastic, Ring

__all__ = ["outer_ring"]


def outer_ring(machine: Machine | BuiltMachine, elastic: Elastic | None = None) -> Ring:
    """The outer ring of a machine. Raises InvalidValue for an axial machine, whose discs are no rings, and as
    `masses_of`."""
    whole, sheet = built(machine), elastic or Elastic()
    known = whole.machine
    masses = masses_of(whole)
    steels, shares = known.core_steels, known.stacking_factors
    if known.flat:
        rule = "a ring is round"
        raise InvalidValue(refusal(rule, "machine", type(known).__name__, "a machine with a radial gap"))
    rotor, stator = known.rows()
    row = max(rotor, stator, key=lambda row: row.back)
    own = 0 if row is rotor else 1
    iron = (masses.rotor_steel, masses.stator_steel)[own]
    copper, share = masses.copper if row.windings else 0.0, shares[own]
    density = share * steel_density(steels[own])
    yoke = density * math.pi * (row.back**2 - row.root**2) * known.section_length
    modulus = share * sheet.modulus
    return Ring(
        row.name,
        row.root,
        row.back,
        known.section_length,
        density,
        modulus,
        sheet.poisson,
        iron - yoke,
        copper,
    )
