"""From a machine to the closed rings of its parts, and whether it can be built at all."""

from polefem.outline.build import outline_of, remarks, sections
from polefem.outline.drawn import DrawnMachine, drawn, machine_of
from polefem.outline.parts import Part, parts_of
from polefem.outline.values import Label, Material, Member, Outline, Region, Ring, Side

__all__ = [
    "DrawnMachine",
    "Label",
    "Material",
    "Member",
    "Outline",
    "Part",
    "Region",
    "Ring",
    "Side",
    "drawn",
    "machine_of",
    "outline_of",
    "parts_of",
    "remarks",
    "sections",
]
