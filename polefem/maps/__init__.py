"""What a phase does over angle and current: the sweep, the map, its energy-consistent interpolation, its files."""

from polefem.maps.field import Field, FieldState, field_series, solve_state
from polefem.maps.flux_map import FluxMap
from polefem.maps.linear import linear_map
from polefem.maps.pull import PolePull, pole_pull
from polefem.maps.stack import Slice, skewed, stacked
from polefem.maps.sweep import flux_map

__all__ = [
    "Field",
    "FieldState",
    "FluxMap",
    "PolePull",
    "Slice",
    "field_series",
    "flux_map",
    "linear_map",
    "pole_pull",
    "skewed",
    "solve_state",
    "stacked",
]
