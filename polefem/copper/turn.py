"""The shape of a coil, read off the outline: how long its turns are, and what of them lies outside the stack.

A turn runs the stack twice and goes round the pole's ends in half circles, whose diameter is the distance between the
middles of the two coil sides: mean turn = 2 * stack length + pi * that distance (the handbook's round end turn). The
shortest turn that clears the pole's corners, wound tight on a thin former, is a rectangle with quarter circles for
corners; a coil wound by hand lies between the two.

Round cores of an axial machine carry round coils: the mean turn is their circle. Half of it, a quarter at each end,
runs across the cuts, and is what the cuts do not see.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from polefem.outline import DrawnMachine, Region, drawn
from polefem.params import Machine
from polefem.shapes import area

__all__ = ["CoilShape", "coil_shape", "coils_per_pole"]


@dataclass(frozen=True)
class CoilShape:
    """One coil, as the mean over the poles of a unit where they differ.

    straight: length of a coil side within the stack, m. across: between the middles of the two coil sides, m.
    width, height: of a coil side, away from the flank (its mean, where it has steps) and along it, m. area: of the
    smallest coil side, m2. liner: between flank and coil, m. round_core: whether the coil is a circle round a core.
    blocks: width and height of each rectangle it is made of, m; empty where it is one.
    """

    straight: float
    across: float
    width: float
    height: float
    area: float
    liner: float
    round_core: bool = False
    blocks: tuple[tuple[float, float], ...] = ()

    @property
    def mean_turn(self) -> float:
        """Length of the mean turn, m."""
        return math.pi * self.across + (0.0 if self.round_core else 2.0 * self.straight)

    @property
    def shortest_turn(self) -> float:
        """Length of the mean turn of a coil wound tight on a thin former, m."""
        if self.round_core:
            return self.mean_turn
        corners = self.width + 2.0 * self.liner
        return 2.0 * (self.straight + self.across - corners) + math.pi * corners

    @property
    def end_turns(self) -> float:
        """Length of the mean turn that lies outside the stack, m: both ends together."""
        return math.pi * self.across * (0.5 if self.round_core else 1.0)

    @property
    def overhang(self) -> float:
        """How far the coil reaches out of each end of the stack, m."""
        return (self.across + self.width) / 2.0


def coil_shape(machine: Machine | DrawnMachine) -> CoilShape:
    """The coil in the outline of a machine (of an axial machine: in that at the mean radius).

    Raises GeometryRefused for a machine that cannot be built.
    """
    shape = drawn(machine)
    machine, outline = shape.machine, shape.outline
    coils = [region for region in outline.stator.regions if region.material == "coil"]
    pairs = [
        (region, outline.stator.region(region.label.mirrored))
        for region in coils
        if region.label.side == "minus"
    ]
    apart = [_middle(plus) - _middle(minus) for minus, plus in pairs]
    heights = [_height(minus, along) for (minus, _), along in zip(pairs, apart, strict=True)]
    areas = [abs(area(region.ring)) for region in coils]
    height, across = float(np.mean(heights)), float(np.mean(np.abs(apart)))
    steps = [(step.width, step.length) for step in machine.winding.steps]
    rest = machine.winding.coil_width, height - sum(length for _, length in steps)
    return CoilShape(
        straight=outline.length / machine.halves,
        across=across,
        width=float(np.mean(areas)) / height,
        height=height,
        area=min(areas),
        liner=machine.winding.liner,
        round_core=machine.round_cores,
        blocks=(*steps, rest) if steps else (),
    )


def coils_per_pole(machine: Machine) -> int:
    """Coils on one stator pole: 2 where both faces of a double-sided machine have their own."""
    shared = machine.section_turns < machine.winding.turns_per_pole
    return 1 if shared else machine.halves


def _middle(region: Region) -> complex:
    """Centre of the area inside a ring of straight lines."""
    moment = sum((p.start.conjugate() * p.end).imag * (p.start + p.end) for p in region.ring)
    return moment / (6 * area(region.ring))


def _height(region: Region, along: complex) -> float:
    """Length of the longest of the sides that run most nearly at right angles to `along`."""
    sides = [segment.end - segment.start for segment in region.ring]
    upright = min(
        sides,
        key=lambda side: (round(abs((side.conjugate() * along).real) / abs(side * along), 6), -abs(side)),
    )
    return abs(upright)
