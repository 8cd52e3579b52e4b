"""What becomes of a random machine on its way to a field: refused in a sentence, or meshed, checked and solved."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from polefem.errors import GeometryRefused, InvalidValue
from polefem.field import built
from polefem.materials import Steel
from polefem.outline import Outline, sections
from polefem.params import Machine, MeshSpec
from polefem.shapes import area
from polefem.solve import FactorCache, System, minimise
from tests.mesher.mesh_checks import areas_match, closed, curves_met, ends_match, shaped, upright

__all__ = ["converges", "outcome", "sound"]

#: Rule, name, value and what is allowed, in one sentence.
SENTENCE = re.compile(r"^[^:]+: .+ (is|are) .+, allowed is .+$")
STEEL = Steel.named("M330-50A")
DENSITY = 20e6  # A/m2 over the whole coil side


def outcome(draw: Callable[[], Machine], mesh: MeshSpec | str, thinnest: float = 0.0) -> str:
    """The rule that refused the draw, or "solved"; raises where neither is true.

    thinnest: air gap over gap radius below which a draw counts as "too thin a gap", for want of time.
    """
    try:
        machine = replace(draw(), steel=STEEL)
        outlines = sections(machine)
    except (GeometryRefused, InvalidValue) as refused:
        assert SENTENCE.match(str(refused)), str(refused)
        return str(refused).split(":")[0]
    if any(o.rotor.air_gap < thinnest * (o.radius if o.rotor.flat else o.rotor.gap) for o in outlines):
        return "too thin a gap"
    known = built(machine, mesh)
    for system, outline in zip(known.systems, known.sections, strict=True):
        assert sound(system, outline)
        assert converges(system, outline, machine)
    return "solved"


def sound(system: System, outline: Outline) -> bool:
    """Whether both meshes are what their outlines say."""
    model = system.model
    pairs = ((model.rotor_mesh, outline.rotor), (model.stator_mesh, outline.stator))
    return all(
        upright(mesh)
        and shaped(mesh)
        and closed(mesh, side)
        and ends_match(mesh)
        and areas_match(mesh, side, 1e-4)
        and curves_met(mesh, side, middles=False)
        for mesh, side in pairs
    )


def converges(system: System, outline: Outline, machine: Machine) -> bool:
    """Whether the field of one phase converges from zero, with energies that add up, off and near alignment."""
    coil = next(region for region in outline.stator.regions if region.material == "coil")
    current = DENSITY * area(coil.ring) / (machine.section_turns / machine.winding.parallel_paths)
    load = current * system.model.loads[0]
    for angle in (-0.4 * machine.rotor_pitch, -0.1 * machine.rotor_pitch):
        coupled = system.at(angle)
        found = minimise(coupled, load, np.zeros(system.size), FactorCache())
        # Half the work is co-energy in linear iron, more in saturated, somewhat less at the foot of a curve.
        share = (found.work - found.energy) / found.work
        if not (found.converged and 0.4 <= share < 1.0 and np.isfinite(coupled.torque(found.unknowns))):
            return False
    return True
