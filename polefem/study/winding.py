"""The copper and steel of a design, from the rooms that reckon them."""

from polefem.copper import Copper, WoundPhase, copper_resistivity, wound_phase
from polefem.estimates import steel_mass

__all__ = ["Copper", "WoundPhase", "copper_resistivity", "steel_mass", "wound_phase"]
