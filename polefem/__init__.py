"""polefem: decide the pole shapes of a switched reluctance machine before cutting steel.

A study describes a machine and the shapes it might have; the rooms of this package turn each shape into an outline,
meshes, nonlinear fields over angle and current, a flux map, torque and its ripple, and a ranking.
"""

from polefem.maps import FluxMap, flux_map, solve_state
from polefem.materials import Steel
from polefem.params import MeshSpec, Notch, Pole, RadialMachine, Shoe, Winding
from polefem.version import __version__

__all__ = [
    "FluxMap",
    "MeshSpec",
    "Notch",
    "Pole",
    "RadialMachine",
    "Shoe",
    "Steel",
    "Winding",
    "__version__",
    "flux_map",
    "solve_state",
]
