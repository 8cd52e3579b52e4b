"""Slopes of figures at a design: exact ones where its map has slopes, else central differences over one mesh, moved.

A map has slopes at given switching angles, where phases are summed or meet under these alone; see `Plan.slopes`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from polefem.study.design import Design, of_plan
from polefem.study.first_order import figure_slopes
from polefem.study.near import near, near_records
from polefem.study.sensitivity import Sensitivities, Slopes, figures_of, value_of
from polefem.study.tolerances import Run

__all__ = ["local_slopes"]

Array = NDArray[np.float64]


def local_slopes(study: str, design: Design, asked: Sensitivities, run: Run) -> Slopes:
    """Slopes of the figures at a design: exact ones where its map has slopes, else by central differences."""
    found = _exact_slopes(study, design, asked, run) if design.can_have_slopes else None
    return _differences(study, design, asked, run) if found is None else found


def _exact_slopes(study: str, design: Design, asked: Sensitivities, run: Run) -> Slopes | None:
    """From the slopes of the design's map; None where the outline does not keep its pieces, or the solver has none."""
    fields = tuple(name for name in asked.ranges if not of_plan(name))
    sloped = replace(design, name=f"{design.name} | slopes", changes={**design.changes, "slopes": fields})
    (record,) = run(f"{study}: slopes", [sloped])
    if record.outcome.slopes is None:
        return None
    rows = [figure_slopes(sloped, record.outcome.slopes, name) for name in asked.ranges]
    slopes = np.array([[row.get(figure, np.nan) for figure in asked.figures] for row in rows])
    values = np.array([value_of(design, name) for name in asked.ranges])
    middle = figures_of(record, asked.figures)
    return Slopes(tuple(asked.ranges), asked.figures, slopes, slopes * values[:, None] / middle)


def _differences(study: str, design: Design, asked: Sensitivities, run: Run) -> Slopes:
    sides: list[Design] = [design]
    for name, span in asked.ranges.items():
        value, step = value_of(design, name), (span.high - span.low) / 50
        for sign in (1.0, -1.0):
            changes = {**design.changes, name: value + sign * step}
            side = replace(design, name=f"{design.name} | {name} {'+' if sign > 0 else '-'}", changes=changes)
            sides.append(near(design, side))
    records = near_records(f"{study}: slopes", sides, run)
    middle = figures_of(records[0], asked.figures)
    up, down = (np.array([figures_of(r, asked.figures) for r in records[k::2]]) for k in (1, 2))
    widths = 2.0 - np.isnan(up) - np.isnan(down)
    up, down = (np.where(np.isnan(side), middle, side) for side in (up, down))  # then from one side alone
    steps = np.array([(span.high - span.low) / 50 for span in asked.ranges.values()])
    slopes = (up - down) / np.where(widths > 0.0, widths * steps[:, None], np.nan)
    values = np.array([value_of(design, name) for name in asked.ranges])
    return Slopes(tuple(asked.ranges), asked.figures, slopes, slopes * values[:, None] / middle)
