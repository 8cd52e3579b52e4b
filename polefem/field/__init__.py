"""From a machine to its fields: drawn, wound and meshed once, then solved at any angle under any phase currents.

What meshes and solves is loaded when it is asked for itself: those who only show a field do not wait for it.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from polefem.field.values import Field, FieldState

if TYPE_CHECKING:
    from polefem.field.built_machine import BuiltMachine, assembled, built
    from polefem.field.pull import PolePull, pole_pull
    from polefem.field.states import field_series, solve_state
    from polefem.field.stress import closest, gap_radius, gap_stress
    from polefem.field.transfer import transferred

__all__ = [
    "BuiltMachine",
    "Field",
    "FieldState",
    "PolePull",
    "assembled",
    "built",
    "closest",
    "field_series",
    "gap_radius",
    "gap_stress",
    "pole_pull",
    "solve_state",
    "transferred",
]

_LATER = {
    "built_machine": ("BuiltMachine", "assembled", "built"),
    "pull": ("PolePull", "pole_pull"),
    "states": ("field_series", "solve_state"),
    "stress": ("closest", "gap_radius", "gap_stress"),
    "transfer": ("transferred",),
}


def __getattr__(name: str) -> Any:
    for module, names in _LATER.items():
        if name in names:
            found = globals()[name] = getattr(import_module(f"{__name__}.{module}"), name)
            return found
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
