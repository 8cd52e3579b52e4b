"""From a built machine to its maps: fields solved over angle and current, each from its neighbours."""

from polefem.sweep.joint import coupled_map
from polefem.sweep.single import flux_map

__all__ = ["coupled_map", "flux_map"]
