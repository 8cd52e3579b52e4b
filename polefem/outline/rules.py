"""What makes a machine that can be drawn unfit to run or awkward to build: rules of the trade."""

from __future__ import annotations

import math

import numpy as np

from polefem.errors import GeometryRefused, refusal
from polefem.outline.builds import Build
from polefem.outline.coils import CoilSide
from polefem.outline.values import Outline
from polefem.params import Machine
from polefem.shapes import area, points

__all__ = ["fill", "needs_winding_in_place", "refuse_overfull", "refuse_unstartable", "start_remarks"]

#: Arcs that miss a limit by less than this are on it, rad.
SAME = 1e-9
#: The feasible region of pole arcs: P. J. Lawrenson, J. M. Stephenson, P. T. Blenkinsop, J. Corda, N. N. Fulton,
#: Variable-speed switched reluctance motors, IEE Proceedings B 127(4), 1980 (from memory).
SOURCE = "Lawrenson and others, 1980"


def _arcs(machine: Machine) -> tuple[float, float, float, float]:
    """Narrowest and widest stator arc, narrowest and widest rotor arc, rad."""
    stator = [pole.arc for pole in machine.stator_pattern]
    rotor = [pole.arc for pole in machine.rotor_pattern]
    return min(stator), max(stator), min(rotor), max(rotor)


def refuse_unstartable(machine: Machine) -> None:
    """Raise GeometryRefused where arcs leave rest angles at which no phase pulls, unless `must_start` is False.

    With three phases or more the narrower of both arcs must span a stroke, so that one phase overlaps before
    the one ahead of it lets go (a side of Lawrenson's triangle). Two phases pull in turn but never both ways
    from everywhere: symmetric poles cannot start from every angle, which is left to `remarks`.
    """
    if not machine.must_start or machine.phases.count < 3 or machine.winding.phase_of_pole is not None:
        return
    narrowest_stator, _, narrowest_rotor, _ = _arcs(machine)
    for name, arc in (("stator_pole.arc", narrowest_stator), ("rotor_pole.arc", narrowest_rotor)):
        if arc < machine.stroke - SAME:
            least = f"the stroke of {_deg(machine.stroke)} or more ({SOURCE}), or must_start=False"
            rule = "a machine that starts from every angle has pole arcs of a stroke at least"
            raise GeometryRefused(refusal(rule, name, _deg(arc), least))


def start_remarks(machine: Machine) -> list[str]:
    """Sentences on arcs outside the feasible region, and on angles from which a machine cannot start."""
    said = []
    narrowest_stator, widest_stator, narrowest_rotor, widest_rotor = _arcs(machine)
    count = machine.phases.count
    if count == 1:
        said.append(
            "a single phase can pull one way only from half of all angles, and not at all from two of them"
        )
    if count == 2 and all(pole.symmetric for pole in (*machine.stator_pattern, *machine.rotor_pattern)):
        said.append(
            "two phases with symmetric poles cannot start from every angle: favour one direction by the shape"
        )
    if count > 2 and min(narrowest_stator, narrowest_rotor) < machine.stroke - SAME:
        said.append(
            f"pole arcs below the stroke of {_deg(machine.stroke)} leave angles from which no phase can start it "
            f"({SOURCE})"
        )
    if widest_stator > narrowest_rotor + SAME:
        said.append(
            f"stator arcs ({_deg(widest_stator)}) are usually no wider than rotor arcs ({_deg(narrowest_rotor)}), "
            f"which leaves more room for copper ({SOURCE})"
        )
    if widest_stator + widest_rotor > machine.rotor_pitch + SAME:
        said.append(
            f"stator and rotor arcs together ({_deg(widest_stator + widest_rotor)}) exceed the rotor pitch of "
            f"{_deg(machine.rotor_pitch)}: poles overlap even at the unaligned angle ({SOURCE})"
        )
    return said


def fill(machine: Machine, outline: Outline) -> float | None:
    """Part of the smallest coil side that its wires fill, enamel included; None where the wire is left open."""
    winding = machine.winding
    if winding.wire_diameter is None:
        return None
    room = min(abs(area(region.ring)) for region in outline.stator.regions if region.material == "coil")
    wire = math.pi / 4 * winding.wire_diameter**2
    return machine.section_turns * winding.strands * wire / room


def refuse_overfull(machine: Machine, outline: Outline) -> None:
    """Raise GeometryRefused where the wires fill more of a coil side than `winding.most_fill`."""
    filled = fill(machine, outline)
    winding = machine.winding
    if filled is not None and filled > winding.most_fill:
        turns = math.floor(winding.turns_per_pole * winding.most_fill / filled)
        found = f"{winding.turns_per_pole} (filling {filled:.0%} of a coil side)"
        most = f"{turns} turns of this wire at most, for a fill of {winding.most_fill:.0%}"
        raise GeometryRefused(
            refusal("a coil side must hold its turns", "winding.turns_per_pole", found, most)
        )


def needs_winding_in_place(build: Build) -> bool:
    """Whether a coil cannot be slid over its pole from the gap: iron in front of it reaches past its inside."""
    return any(_caught(build, coil) for coil in build.coils)


def _caught(build: Build, coil: CoilSide) -> bool:
    sign = -1.0 if coil.side == "minus" else 1.0
    inward = -build.seat.out
    iron = points(build.edges[coil.pole].path)
    iron = iron[sign * iron.imag > 0]
    for inside in coil.corners[:2]:
        ahead = iron[inward * iron.real < inward * inside.real]
        if np.max(sign * ahead.imag, initial=0.0) > sign * inside.imag:
            return True
    return False


def _deg(angle: float) -> str:
    return f"{math.degrees(angle):.4g} deg"
