"""polefem: decide the pole shapes of a switched reluctance machine before cutting steel.

A study describes a machine and the shapes it might have; the rooms of this package turn each shape into an outline,
meshes, nonlinear fields over angle and current, a flux map, torque and its ripple, and a ranking.
"""

from polefem.maps import FluxMap, Slice, flux_map, pole_pull, skewed, solve_state, stacked
from polefem.materials import Steel
from polefem.params import (
    AxialMachine,
    Barrier,
    CoilStep,
    FreeFace,
    Hole,
    Machine,
    MeshSpec,
    Notch,
    OuterRotorMachine,
    Pole,
    RadialMachine,
    RoundFace,
    Shoe,
    SlopedFace,
    Winding,
)
from polefem.version import __version__

__all__ = [
    "AxialMachine",
    "Barrier",
    "CoilStep",
    "FluxMap",
    "FreeFace",
    "Hole",
    "Machine",
    "MeshSpec",
    "Notch",
    "OuterRotorMachine",
    "Pole",
    "RadialMachine",
    "RoundFace",
    "Shoe",
    "Slice",
    "SlopedFace",
    "Steel",
    "Winding",
    "__version__",
    "flux_map",
    "pole_pull",
    "skewed",
    "solve_state",
    "stacked",
]
