"""From a machine to the closed rings of its parts, and whether it can be built at all."""

from polefem.outline.build import outline_of, remarks, sections
from polefem.outline.parts import Part, parts_of
from polefem.outline.values import Outline, Region, Ring, Side

__all__ = ["Outline", "Part", "Region", "Ring", "Side", "outline_of", "parts_of", "remarks", "sections"]
