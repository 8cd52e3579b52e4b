"""From a built machine to its maps: fields solved over angle and current, each from its neighbours."""

from polefem.sweep.joint import coupled_map, met_map
from polefem.sweep.single import (
    COARSER,
    Teller,
    Watch,
    checked_lists,
    distinct_angles,
    flux_map,
    points_of,
    swept,
)

__all__ = [
    "COARSER",
    "Teller",
    "Watch",
    "checked_lists",
    "coupled_map",
    "distinct_angles",
    "flux_map",
    "met_map",
    "points_of",
    "swept",
]
