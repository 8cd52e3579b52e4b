"""Slopes in every dimension: how co-energy, flux linkages and torque change with the fields of a machine."""

from polefem.slopes.fields import Following, Move, continuous_fields
from polefem.slopes.forces import Forces, LoadedField
from polefem.slopes.state import Movable, StateSlopes
from polefem.slopes.sweep import Swept, map_with_slopes, sloped_map

__all__ = [
    "Following",
    "Forces",
    "LoadedField",
    "Movable",
    "Move",
    "StateSlopes",
    "Swept",
    "continuous_fields",
    "map_with_slopes",
    "sloped_map",
]
