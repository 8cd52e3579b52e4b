"""The tables of a page that are of operating points: places under each drive, figures of one design, of all at one."""

from __future__ import annotations

import numpy as np

from polefem.ranking import DriveOrders, ShaftFigures
from polefem.report.page.tables import Cell, Head, Table, figure_cell
from polefem.study import (
    Figures,
    OperatingPointFigures,
    PointFigures,
    Record,
    error_from_map,
    figure_words,
    quantity_of_figure,
)

__all__ = ["drives_table", "operating_point_tables", "shaft_table"]


def operating_point_tables(record: Record, figures: Figures) -> tuple[Table, ...]:
    """Figures of one design at its operating points, a column for each: those that are drives, then each other kind."""
    kinds: dict[type[PointFigures], list[str]] = {}
    for name, known in figures.operating_points.items():
        kinds.setdefault(type(known), []).append(name)
    return tuple(_of_kind(record, figures, kind, names) for kind, names in kinds.items())


def _of_kind(record: Record, figures: Figures, kind: type[PointFigures], points: list[str]) -> Table:
    rows = []
    for name in kind.names():
        asked = [f"{point}.{name}" for point in points]
        if all(figures.value(of) is None for of in asked):
            continue
        brakes = all(figures.brakes(of) for of in asked)
        cells = [figure_cell(of, figures.value(of), error_from_map(record, of), brakes) for of in asked]
        unit = quantity_of_figure(asked[0]).unit
        rows.append((Cell(f"{figure_words(name, brakes)} ({unit})", head=True), *cells))
    heads = (Head("figure", number=False), *(Head(point) for point in points))
    said = "under other drives" if kind is OperatingPointFigures else "at the shaft"
    return Table(f"{record.name} {said}", heads, tuple(rows))


def shaft_table(found: ShaftFigures) -> Table:
    """Every design at an operating point that is no drive."""
    hows = [quantity_of_figure(name) for name in found.figures]
    titles = [figure_words(name.rpartition(".")[2]) for name in found.figures]
    heads = (
        Head("shape", number=False),
        *(Head(title, how.unit) for title, how in zip(titles, hows, strict=True)),
    )
    rows = []
    for record in found.records:
        assert record.figures is not None
        cells = [figure_cell(name, record.figures.value(name), None) for name in found.figures]
        rows.append((Cell(record.name, head=True), *cells))
    return Table(found.said, heads, tuple(rows))


def drives_table(orders: DriveOrders) -> Table:
    """Places under each drive, for the designs of the first order."""
    heads = (Head("shape", number=False), *(Head(name) for name in orders.drives))
    rows = tuple(
        (
            Cell(name, head=True),
            *(Cell("-") if np.isnan(place) else Cell(f"{place:.0f}", place) for place in places),
        )
        for name, places in zip(orders.names, orders.positions.tolist(), strict=True)
    )
    return Table(f"Places by {orders.words} under each drive", heads, rows)
