"""What a phase or a whole machine does over angle and current: maps, their interpolation, their stacks, their files."""

from polefem.maps.coupled_map import CoupledMap, CoupledPoint, summed
from polefem.maps.coupled_stack import CoupledSlice, coupled_stack, skewed_machine
from polefem.maps.flux_map import FluxMap
from polefem.maps.interaction import Interaction, Joint
from polefem.maps.linear import linear_map
from polefem.maps.slopes import MapSlopes
from polefem.maps.stack import Slice, skewed, stacked

__all__ = [
    "CoupledMap",
    "CoupledPoint",
    "CoupledSlice",
    "FluxMap",
    "Interaction",
    "Joint",
    "MapSlopes",
    "Slice",
    "coupled_stack",
    "linear_map",
    "skewed",
    "skewed_machine",
    "stacked",
    "summed",
]
