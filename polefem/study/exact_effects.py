"""What a workshop does to a figure, from the slopes of each design's map in place of two more maps for each field.

A map has slopes at given switching angles, where phases are summed or meet under these alone; see `Plan.slopes`. It is
changed to first order by one deviation to either side, and the figure read off it as ever: a ripple that rises to both
sides does so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from polefem.errors import PolefemError
from polefem.study.design import Design, of_plan
from polefem.study.first_order import near_outcome, shifted
from polefem.study.record import Record
from polefem.study.tolerances import (
    Effect,
    FieldTolerance,
    JointTolerance,
    Run,
    Tolerance,
    effect_of_sides,
)

__all__ = ["effects_by_slopes"]


def effects_by_slopes(
    study: str, designs: Sequence[Design], tolerances: Sequence[Tolerance], figure: str, run: Run
) -> dict[str, dict[str, Effect]]:
    """The effects on a figure of tolerances of fields, by the names of design and tolerance: those that slopes tell."""
    wanted = [
        tolerance
        for tolerance in tolerances
        if isinstance(tolerance, FieldTolerance | JointTolerance) and tolerance.fields
    ]
    fields = tuple(dict.fromkeys(name for one in wanted for name in one.fields if not of_plan(name)))
    able = [design for design in designs if design.can_have_slopes]
    if not fields or not able:
        return {}
    sloped = [
        replace(design, name=f"{design.name} | slopes", changes={**design.changes, "slopes": fields})
        for design in able
    ]
    records = run(f"{study}: slopes of tolerances", sloped)
    return {
        design.name: _effects(one, record, wanted, figure)
        for design, one, record in zip(able, sloped, records, strict=True)
    }


def _effects(
    design: Design, record: Record, tolerances: Sequence[FieldTolerance | JointTolerance], figure: str
) -> dict[str, Effect]:
    slopes, figures = record.outcome.slopes, record.figures
    middle = None if figures is None else figures.value(figure)
    if slopes is None or middle is None:
        return {}
    found = {}
    for tolerance in tolerances:
        try:
            shifts = tolerance.shifts(design)
        except PolefemError:
            continue
        near = [near_outcome(design, slopes, shifted(design, shift)).figures for shift in shifts]
        sides = [one.value(figure) for one in near if one is not None]
        known = [side for side in sides if side is not None]
        if known:
            found[tolerance.name] = effect_of_sides(tolerance, middle, known, len(shifts))
    return found
