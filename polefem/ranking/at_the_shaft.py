"""What designs do at operating points that are no drives to be ordered under: a start, a reading of the angle."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from polefem.ranking.words import columns, figure_text
from polefem.study import OperatingPointFigures, Plan, PlanPoint, Record, figure_words

__all__ = ["ShaftFigures", "drive_points", "shaft_figures", "shaft_text"]

_WIDTH = 110


@dataclass(frozen=True, eq=False)
class ShaftFigures:
    """One operating point that is no drive. said: its name and what is equal under it. figures: by their full names.
    records: designs that have them, in order. lacking: why others have none, a sentence each."""

    said: str
    figures: tuple[str, ...]
    records: tuple[Record, ...]
    lacking: tuple[str, ...]


def drive_points(plan: Plan) -> tuple[PlanPoint, ...]:
    """The operating points of a plan that are drives, under which designs may be ordered anew."""
    return tuple(point for point in plan.operating_points if point.gives is OperatingPointFigures)


def shaft_figures(plan: Plan, records: Sequence[Record]) -> tuple[ShaftFigures, ...]:
    """What records have at each of the other operating points of their plan."""
    found = []
    for point in plan.operating_points:
        if point.gives is OperatingPointFigures:
            continue
        solved = [record for record in records if record.figures is not None]
        here = tuple(r for r in solved if r.figures is not None and point.name in r.figures.operating_points)
        lacking = tuple(f"{r.name}: {r.reason}" for r in solved if r not in here)
        names = tuple(f"{point.name}.{name}" for name in point.gives.names())
        found.append(ShaftFigures(f"{point.name}: {point}", names, here, lacking))
    return tuple(found)


def shaft_text(found: ShaftFigures, most: int = 20) -> str:
    """A table of the first `most` designs for a terminal, and why others have no figures there."""
    heads = [figure_words(name.rpartition(".")[2]) for name in found.figures]
    rows = [["shape", *heads]]
    rows += [[r.name, *(figure_text(r, name) for name in found.figures)] for r in found.records[:most]]
    said = [
        line for why in found.lacking[:most] for line in textwrap.wrap(why, _WIDTH, subsequent_indent="    ")
    ]
    return "\n".join([*textwrap.wrap(found.said, _WIDTH), "", *columns(rows), *said]) + "\n"
