"""Figures of designs near one whose map has slopes: the map changed to first order, all else as in any design.

No field is solved: outline, copper, masses, current and torque are computed as ever, from a changed map. So the slope
of a figure is exact in the map, and a difference in what is known in closed form.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import PolefemError, SolveFailed
from polefem.field import BuiltMachine, FieldState
from polefem.maps import MapSlopes
from polefem.params.fields import field_value
from polefem.study.design import Design, of_plan, quantity_of_field
from polefem.study.pipeline import attempt
from polefem.study.record import Figures, Outcome, Status
from polefem.study.solver import KnownMap, Solver

__all__ = ["figure_slopes", "near_outcome", "shifted", "step_of"]

Array = NDArray[np.float64]

#: Steps of differences by a field's unit, SI: small beside any dimension, large beside rounding.
STEPS = {"mm": 1e-6, "deg": 1e-5, "": 1e-5}
#: What a plan asks of fields that no map gives.
_WITHOUT_FIELDS = {"slopes": (), "meshed_as": None, "turning": None, "hearing": None, "rotor_offset": 0.0}


def step_of(field: str) -> float:
    """How far a field is changed for a difference, SI."""
    how = quantity_of_field(field)
    return STEPS.get(how.unit if how else "", STEPS[""])


def near_outcome(design: Design, slopes: MapSlopes, near: Design) -> Outcome:
    """What a near design gives, to first order of the map of this one; `near` asks for no field solution (`shifted`).

    Refused where the near machine cannot be built. Its machine differs in fields alone that slopes are of.
    """
    try:
        machine = near.machine
    except PolefemError as problem:
        return Outcome(Status.REFUSED, str(problem))
    steps = {f: field_value(machine, f) - field_value(design.machine, f) for f in slopes.fields}
    changed = slopes.changed_machine(steps)
    return attempt(near, Solver(KnownMap(changed.single), KnownMap(changed), _no_fields))


def shifted(design: Design, changes: Mapping[str, Any]) -> Design:
    """The design with further changes, that asks for no field solution."""
    return replace(design, changes={**design.changes, **changes, **_WITHOUT_FIELDS})


def figure_slopes(design: Design, slopes: MapSlopes, field: str) -> dict[str, float]:
    """Slopes of all figures of a design in a field, per SI unit, by the figure's name; from one side where the other
    cannot be built. Figures that need fields of their own, and those not known, are left out."""
    step, value = step_of(field), field_value(design.plan if of_plan(field) else design.machine, field)
    sides: dict[float, Mapping[str, float]] = {}
    for sign in (1.0, -1.0):
        near = shifted(design, {field: value + sign * step})
        figures = near_outcome(design, slopes, near).figures
        if figures is not None:
            sides[sign] = _known(figures)
    if len(sides) == 1:
        figures = near_outcome(design, slopes, shifted(design, {})).figures
        sides[0.0] = _known(figures) if figures else {}
    if len(sides) < 2:
        return {}
    high, low = max(sides), min(sides)
    both = sides[high].keys() & sides[low].keys()
    return {name: (sides[high][name] - sides[low][name]) / ((high - low) * step) for name in both}


def _known(figures: Figures) -> dict[str, float]:
    """Figures by name, those of operating points included."""
    own = {name: figures.value(name) for name in figures.names()}
    for point, of_point in figures.operating_points.items():
        own |= {f"{point}.{name}": getattr(of_point, name) for name in of_point.names()}
    return {name: value for name, value in own.items() if isinstance(value, float)}


def _no_fields(machine: BuiltMachine, angles: ArrayLike, phase_currents: ArrayLike) -> Iterator[FieldState]:
    raise SolveFailed("no field is solved to first order")
