"""From a machine to its fields: drawn, wound and meshed once, then solved at any angle under any phase currents."""

from polefem.field.built_machine import BuiltMachine, assembled, built
from polefem.field.pull import PolePull, pole_pull
from polefem.field.states import Field, FieldState, field_series, solve_state
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
