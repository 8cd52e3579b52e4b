"""From a built machine to its maps: fields solved over angle and current, each from its neighbours."""

from polefem.sweep.alike import Site
from polefem.sweep.joint import MET, coupled_map, met_map
from polefem.sweep.points import SiteWatch
from polefem.sweep.single import (
    Watch,
    checked_lists,
    distinct_angles,
    flux_map,
    points_of,
    swept,
)
from polefem.sweep.sites import Sites
from polefem.sweep.teller import Teller
from polefem.sweep.turned_coils import with_coils_turned

__all__ = [
    "MET",
    "Site",
    "SiteWatch",
    "Sites",
    "Teller",
    "Watch",
    "checked_lists",
    "coupled_map",
    "distinct_angles",
    "flux_map",
    "met_map",
    "points_of",
    "swept",
    "with_coils_turned",
]
