"""polefem: decide the pole shapes of a switched reluctance machine before cutting steel.

A study describes a machine and the shapes it might have; the rooms of this package turn each shape into an outline,
meshes, nonlinear fields over angle and current, a flux map, torque and its ripple, and a ranking.

Names are taken from their rooms when first asked for (PEP 562), so that a room loads what it needs and no more: a drive
needs no mesher.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from polefem.version import __version__

if TYPE_CHECKING:
    from polefem.field import pole_pull, solve_state
    from polefem.maps import CoupledMap, FluxMap, Slice, skewed, stacked
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
    from polefem.sweep import coupled_map, flux_map

__all__ = [
    "AxialMachine",
    "Barrier",
    "CoilStep",
    "CoupledMap",
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
    "coupled_map",
    "flux_map",
    "pole_pull",
    "skewed",
    "solve_state",
    "stacked",
]

#: Rooms other than `params` that names come from.
_ROOMS = {
    "CoupledMap": "maps",
    "FluxMap": "maps",
    "Slice": "maps",
    "Steel": "materials",
    "coupled_map": "sweep",
    "flux_map": "sweep",
    "pole_pull": "field",
    "skewed": "maps",
    "solve_state": "field",
    "stacked": "maps",
}


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_ROOMS.get(name, 'params')}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
