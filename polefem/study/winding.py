"""What a winding costs: its copper, its resistance, and the losses in it.

The coil sides are those of the outline. A turn runs the stack twice and goes round the pole's ends in half circles,
whose diameter is the distance between the middles of the two coil sides: mean turn = 2 * stack length + pi * that
distance (the handbook's round end turn; real ones are longer where they must clear the pole's corners).

Copper after IEC 60028 (from memory; universally quoted): 1/58 ohm mm2/m at 20 degC, 0.00393 /K, 8.89 kg/dm3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from polefem.outline import Outline, Region
from polefem.params import AxialMachine, Machine
from polefem.params.checks import within
from polefem.shapes.segments import area

__all__ = [
    "COPPER_DENSITY",
    "STEEL_DENSITY",
    "Copper",
    "WoundPhase",
    "bare_diameter",
    "copper_resistivity",
    "steel_mass",
    "wound_phase",
]

COPPER_DENSITY = 8890.0  #: kg/m3, IEC 60028
STEEL_DENSITY = (
    7650.0  #: kg/m3, where the steel says none: conventional, of M330-50A in EN 10106 (from memory)
)


@dataclass(frozen=True)
class Copper:
    """How coils are filled and how warm they run.

    fill_factor: bare copper over the area of a coil side; 0.4 to 0.5 for round wire wound by hand is common
    practice. temperature: of the copper, degC.
    """

    fill_factor: float = 0.45
    temperature: float = 100.0

    def __post_init__(self) -> None:
        within("a coil side is partly copper", "copper.fill_factor", self.fill_factor, 0.0, 1.0)
        within(
            "copper works at some temperature",
            "copper.temperature",
            self.temperature,
            -273.15,
            1000.0,
            "degC",
        )


@dataclass(frozen=True)
class WoundPhase:
    """One phase as wound.

    resistance: between its ends, ohm. conductor_area: bare copper of one turn, m2. parallel_paths: that share the
    current. coil_area: of one coil side, m2. mean_turn: length of one turn, m. copper_mass: of all phases, kg.
    """

    resistance: float
    conductor_area: float
    parallel_paths: int
    coil_area: float
    mean_turn: float
    copper_mass: float

    def current_density(self, current: float) -> float:
        """In the conductor, A/m2, while the phase carries `current` (A)."""
        return current / self.parallel_paths / self.conductor_area


def copper_resistivity(temperature: float) -> float:
    """Of copper at a temperature in degC, ohm m.

    >>> round(copper_resistivity(100.0) * 1e8, 4)
    2.2662
    """
    return 1e-6 / 58.0 * (1.0 + 0.00393 * (temperature - 20.0))


def bare_diameter(enamelled: float) -> float:
    """Diameter of the copper in a round wire of this diameter over its enamel, m.

    A straight line through the largest diameters of grade 2 in IEC 60317-0-1 for 0.5 and 1 mm (0.566 and 1.094
    mm; from memory): between and near them within a hundredth of a millimetre.

    >>> round(bare_diameter(1.094e-3) * 1e3, 6)
    1.0
    """
    return max((enamelled - 0.038e-3) / 1.056, 0.5 * enamelled)


def wound_phase(machine: Machine, outline: Outline, copper: Copper) -> WoundPhase:
    """The winding of one of the machine's phases, from the coil sides in its outline (of an axial machine: at
    the mean radius). The conductor is the winding's own wire where it names one, else what the fill factor gives."""
    winding = machine.winding
    plus, minus = (_coil_side(outline, side) for side in ("plus", "minus"))
    coil_area = area(plus.ring)
    mean_turn = 2.0 * outline.length + math.pi * abs(_middle(plus) - _middle(minus))
    conductor_area = copper.fill_factor * coil_area / machine.section_turns
    if winding.wire_diameter is not None:
        conductor_area = winding.strands * math.pi / 4.0 * bare_diameter(winding.wire_diameter) ** 2
    turns = machine.section_turns * _halves(machine)
    coil = copper_resistivity(copper.temperature) * turns * mean_turn / conductor_area
    coils = machine.stator_poles // machine.phases.count
    return WoundPhase(
        resistance=coil * coils / winding.parallel_paths**2,
        conductor_area=conductor_area,
        parallel_paths=winding.parallel_paths,
        coil_area=coil_area,
        mean_turn=mean_turn,
        copper_mass=COPPER_DENSITY * conductor_area * turns * mean_turn * machine.stator_poles,
    )


def steel_mass(machine: Machine, outline: Outline) -> float:
    """Of rotor and stator laminations, kg, as if the stack were solid."""
    total = 0.0
    for side, steel in (
        (outline.rotor, machine.rotor_steel or machine.steel),
        (outline.stator, machine.steel),
    ):
        density = steel.grade.density.value if steel.grade else STEEL_DENSITY
        iron = sum(_net_area(region) for region in side.regions if region.material == "iron")
        total += density * iron * side.poles / side.unit_poles
    return outline.length * _halves(machine) * total


def _halves(machine: Machine) -> int:
    return machine.halves if isinstance(machine, AxialMachine) else 1


def _coil_side(outline: Outline, side: str) -> Region:
    return next(r for r in outline.stator.regions if r.material == "coil" and r.name.endswith(side))


def _middle(region: Region) -> complex:
    return complex(np.mean([segment.start for segment in region.ring]))


def _net_area(region: Region) -> float:
    return abs(area(region.ring)) - sum(abs(area(hole)) for hole in region.holes)
