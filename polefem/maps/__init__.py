"""What a phase does over angle and current: the map, its energy-consistent interpolation, its files."""

from polefem.maps.flux_map import FluxMap
from polefem.maps.linear import linear_map

__all__ = ["FluxMap", "linear_map"]
