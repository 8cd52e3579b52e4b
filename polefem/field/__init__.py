"""From a machine to its fields: drawn, wound and meshed once, then solved at any angle under any phase currents.

What meshes and solves is loaded when it is asked for itself: those who only show a field do not wait for it.
"""

from typing import TYPE_CHECKING

from polefem.field.values import Field, FieldState
from polefem.later import front

if TYPE_CHECKING:
    from polefem.field.built_machine import COARSER, BuiltMachine, assembled, built
    from polefem.field.pull import PolePull, pole_pull
    from polefem.field.series import Image, images, solved_series
    from polefem.field.states import field_series, solve_state
    from polefem.field.stress import closest, gap_radius, gap_stress
    from polefem.field.transfer import transferred, turned

__all__ = [
    "COARSER",
    "BuiltMachine",
    "Field",
    "FieldState",
    "Image",
    "PolePull",
    "assembled",
    "built",
    "closest",
    "field_series",
    "gap_radius",
    "gap_stress",
    "images",
    "pole_pull",
    "solve_state",
    "solved_series",
    "transferred",
    "turned",
]

__getattr__, __dir__ = front(
    __name__,
    __all__,
    {
        ".built_machine": "COARSER BuiltMachine assembled built",
        ".pull": "PolePull pole_pull",
        ".series": "Image images solved_series",
        ".states": "field_series solve_state",
        ".stress": "closest gap_radius gap_stress",
        ".transfer": "transferred turned",
    },
)
