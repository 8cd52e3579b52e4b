"""What a phase does over angle and current: the map, its energy-consistent interpolation, its stacks, its files."""

from polefem.maps.flux_map import FluxMap
from polefem.maps.linear import linear_map
from polefem.maps.stack import Slice, skewed, stacked

__all__ = [
    "FluxMap",
    "Slice",
    "linear_map",
    "skewed",
    "stacked",
]
