"""The tables of a page as values: what stands in each cell, what sorts it, how far it may be off."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from polefem.copper import WindingOrder
from polefem.drive import AngleTable
from polefem.params.quantity import Quantity, rounded
from polefem.ranking import Uncertainty
from polefem.report.findings import Findings
from polefem.report.runs import coupling_words
from polefem.report.sheets import winding_lines
from polefem.study import (
    Figures,
    Record,
    Slopes,
    SobolIndices,
    braking,
    error_from_map,
    field_text,
    figure_words,
    quantity_of_field,
    quantity_of_figure,
)

__all__ = [
    "Bar",
    "Cell",
    "Head",
    "Table",
    "change_words",
    "error_of",
    "figure_cell",
    "figure_table",
    "ranking_table",
    "sobol_table",
    "switching_table",
    "unranked_table",
    "winding_table",
]


@dataclass(frozen=True)
class Bar:
    """A value on a line from the least to the most of its column: all from 0 to 1. low, high: where it may be."""

    at: float
    low: float
    high: float


@dataclass(frozen=True)
class Cell:
    """What stands in a cell. value: what sorts it, None where nothing is known. error: how far it may be off.
    link: to a place on the page. head: whether it names its row."""

    text: str
    value: float | None = None
    error: str = ""
    link: str = ""
    head: bool = False
    bar: Bar | None = None


@dataclass(frozen=True)
class Head:
    """The head of a column. number: whether its cells are numbers."""

    title: str
    unit: str = ""
    number: bool = True


@dataclass(frozen=True)
class Table:
    """Cells in rows under heads. said: what it shows."""

    said: str
    heads: tuple[Head, ...]
    rows: tuple[tuple[Cell, ...], ...]


_RANKED = (
    *("mean_torque", "ripple", "lowest_torque", "aligned_inductance", "unaligned_inductance", "current"),
    *("copper_loss", "torque_per_loss", "turn_on", "turn_off", "copper_mass"),
)


def ranking_table(findings: Findings, links: Mapping[str, str]) -> Table:
    """The designs in order. links: to a design's own place on the page, by name."""
    ranking, uncertainty = findings.ranking, findings.uncertainty
    ordered = ranking.ordered
    driven = any(r.figures is not None and r.figures.iron_loss is not None for r in ordered)
    names = list(dict.fromkeys([ranking.by, *_RANKED, *(["iron_loss"] if driven else [])]))
    brakes = {name: braking(ordered, name) for name in names}
    bars = _bars(findings, brakes[ranking.by])
    ordered_by = figure_words(ranking.by, brakes[ranking.by])
    heads = [Head("place"), Head("shape", number=False), Head("error bar", ordered_by)]
    measured = [Head(figure_words(name, brakes[name]), quantity_of_figure(name).unit) for name in names]
    chances = [] if uncertainty is None else [Head("is the best", "%"), Head("better than the next", "%")]
    heads += [measured[0], *chances, *measured[1:]]
    rows = []
    for at, record in enumerate(ordered):
        assert record.figures is not None
        cells = [Cell(str(at + 1), at + 1.0), Cell(record.name, link=links.get(record.name, ""), head=True)]
        found = [_ranked_cell(record, record.figures, name, uncertainty, brakes[name]) for name in names]
        cells.append(Cell("", found[0].value, bar=bars[at]))
        cells += [found[0], *_uncertainty_cells(record.name, uncertainty), *found[1:]]
        rows.append(tuple(cells))
    said = f"Shapes in the order of {ordered_by}, at {ranking.basis}"
    return Table(said, tuple(heads), tuple(rows))


def error_of(record: Record, figure: str, uncertainty: Uncertainty | None) -> float | None:
    """How far a figure may be off, in SI: two standard deviations where it was found out, else the bound of the mesh's
    error by the map's own estimate; None where neither is known."""
    if uncertainty is not None and uncertainty.figure == figure and record.name in uncertainty.names:
        return 2 * float(uncertainty.deviations[uncertainty.names.index(record.name)])
    return error_from_map(record, figure)


def _ranked_cell(
    record: Record, figures: Figures, name: str, uncertainty: Uncertainty | None, brakes: bool
) -> Cell:
    """What was looked at only as far as the mesh is not known better than the surest of what was looked at wholly."""
    error, surely = error_of(record, name, uncertainty), True
    if uncertainty is not None and uncertainty.figure == name and record.name not in uncertainty.names:
        surest = 2 * float(uncertainty.deviations.min())
        if error is None or error < surest:
            error, surely = surest, False
    cell = figure_cell(name, figures.value(name), error, brakes)
    return cell if surely else replace(cell, error="")


def figure_cell(name: str, value: float | None, error: float | None, brakes: bool = False) -> Cell:
    """A figure by its name, to the digits that its error leaves. brakes: whether it is of a rotor that is braked."""
    how = quantity_of_figure(name, brakes)
    known = value is not None and error is not None
    sorting = -value if value is not None and how.turned else value
    return Cell(how.number(value, error), sorting, f"± {how.error(error)}" if known else "")


def _uncertainty_cells(name: str, uncertainty: Uncertainty | None) -> list[Cell]:
    if uncertainty is None:
        return []
    if name not in uncertainty.names:
        return [Cell("-"), Cell("-")]
    at = uncertainty.names.index(name)
    first = Cell(f"{100 * uncertainty.first[at]:.0f}", float(uncertainty.first[at]))
    if at == len(uncertainty.names) - 1:
        return [first, Cell("-")]
    tied = ", tied" if uncertainty.tied[at] else ""
    return [first, Cell(f"{100 * uncertainty.ahead[at]:.0f}{tied}", float(uncertainty.ahead[at]))]


def _bars(findings: Findings, brakes: bool) -> list[Bar | None]:
    """Of the figure that orders, for each design of the order; longer for stronger braking."""
    ranking = findings.ranking
    signed = [r.figures.value(ranking.by) if r.figures else None for r in ranking.ordered]
    values = [-value if brakes and value is not None else value for value in signed]
    errors = [error_of(r, ranking.by, findings.uncertainty) or 0.0 for r in ranking.ordered]
    known = [(v - e, v + e) for v, e in zip(values, errors, strict=True) if v is not None]
    if not known:
        return [None] * len(values)
    least, most = min(low for low, _ in known), max(high for _, high in known)
    span = (most - least) or 1.0
    return [
        None if v is None else Bar(*((x - least) / span for x in (v, v - e, v + e)))
        for v, e in zip(values, errors, strict=True)
    ]


def unranked_table(findings: Findings) -> Table:
    """The designs that have no place in the order, each with its reason."""
    heads = (Head("shape", number=False), Head("what became of it", number=False), Head("why", number=False))
    rows = findings.ranking.unranked
    cells = tuple((Cell(record.name, head=True), Cell(said), Cell(why)) for record, said, why in rows)
    return Table("Shapes without a place in the order", heads, cells)


def figure_table(record: Record, figures: Figures) -> Table:
    """Every figure of one design on the basis of its study."""
    rows = []
    for name in Figures.names():
        value, unit = figures.value(name), quantity_of_figure(name).unit
        if value is not None:
            brakes = figures.brakes(name)
            cell = figure_cell(name, value, error_from_map(record, name), brakes)
            rows.append((Cell(figure_words(name, brakes), head=True), cell, Cell(unit)))
    heads = (Head("figure", number=False), Head("value"), Head("unit", number=False))
    return Table(f"Figures of {record.name}", heads, tuple(rows))


def sobol_table(slopes: Slopes, shares: SobolIndices) -> Table:
    """What each field does to each figure: its slope at the base design, its share of all change over the ranges."""
    titles = ("slope at base", "% for 1 %", "share alone (%)", "share with others (%)")
    heads = (
        Head("field", number=False),
        Head("figure", number=False),
        *(Head(title) for title in titles[:1]),
        Head("unit", number=False),
        *(Head(title) for title in titles[1:]),
    )
    rows = []
    for j, field in enumerate(slopes.fields):
        of = quantity_of_field(field) or Quantity()
        for k, figure in enumerate(slopes.figures):
            how = quantity_of_figure(figure)
            slope = float(slopes.slopes[j, k]) * of.size / how.size
            numbers = (
                float(slopes.per_cent[j, k]),
                100 * float(shares.first[j, k]),
                100 * float(shares.total[j, k]),
            )
            cells = [Cell(rounded(value, digits=3), value) for value in (slope, *numbers)]
            rows.append(
                (
                    Cell(field, head=True),
                    Cell(figure_words(figure)),
                    cells[0],
                    Cell(f"{how.unit} / {of.unit or '1'}"),
                    *cells[1:],
                )
            )
    return Table("Slopes at the base machine, shares of all change over the ranges", heads, tuple(rows))


def switching_table(table: AngleTable) -> Table:
    """The settings of the winner's controller over speed and torque."""
    angle, watts = Quantity("deg"), Quantity("W")
    brakes = bool((table.torques < 0.0).all())
    columns = {
        "turn on": (table.turn_on, angle),
        "turn off": (table.turn_off, angle),
        "level": (table.level, quantity_of_figure("current")),
        "ripple": (table.ripple, quantity_of_figure("ripple")),
        "copper loss": (table.copper_loss, quantity_of_figure("copper_loss")),
        "peak current": (table.peak_current, Quantity("A")),
        "power in": (table.power_in, watts),
        "power out": (table.power_out, watts),
        "efficiency": (table.efficiency, Quantity("%", digits=3)),
    }
    torque = quantity_of_figure("mean_torque", brakes)
    asked = {"speed": Quantity("rpm"), "braking torque" if brakes else "torque": torque}
    shown = {**asked, **{title: how for title, (_, how) in columns.items()}}
    refused = any(any(row) for row in table.reasons)
    heads = [Head(title, how.unit) for title, how in shown.items()]
    heads += [Head("why not", number=False)] if refused else []
    rows = []
    for j, speed in enumerate(table.speeds.tolist()):
        for k, torque in enumerate(table.torques.tolist()):
            cells = [
                Cell(how.exact(value), -value if how.turned else value)
                for how, value in zip(asked.values(), (speed, torque), strict=True)
            ]
            found = [(float(values[j, k]), how) for values, how in columns.values()]
            cells += [Cell(how.number(v), v if math.isfinite(v) else None) for v, how in found]
            rows.append((*cells, *([Cell(table.reasons[j][k])] if refused else [])))
    both = bool((table.torques < 0.0).any()) and not brakes
    said = f"Switching over speed and {'braking ' if brakes else ''}torque, {coupling_words(table.coupling)}"
    return Table(f"{said}; torque below 0: as a generator" if both else said, tuple(heads), tuple(rows))


def winding_table(name: str, order: WindingOrder) -> Table:
    """What a winder orders and winds."""
    heads = (Head("what", number=False), Head("how much", number=False))
    rows = tuple((Cell(what, head=True), Cell(said)) for what, said in winding_lines(order))
    return Table(f"The winding of {name}", heads, rows)


def change_words(changes: Mapping[str, Any]) -> str:
    """What a design changes, each field in the unit that it is read in; of a part that is changed whole, all that is
    not as usual.

    >>> change_words({"air_gap": 0.0004, "rotor_pole.arc": 0.6})
    'air_gap 0.4 mm, rotor_pole.arc 34.377 deg'
    """
    return ", ".join(
        f"{name} {field_text(name, value)}"
        for whole, part in changes.items()
        for name, value in _leaves(whole, part)
    )


def _leaves(name: str, value: Any) -> Iterator[tuple[str, Any]]:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        own = getattr(value, "name", None)
        if isinstance(own, str):  # a steel is known by its name
            yield name, own
            return
        for field in dataclasses.fields(value):
            part = getattr(value, field.name)
            if not _usual(field, part):
                yield from _leaves(f"{name}.{field.name}", part)
    elif isinstance(value, tuple | list):
        for at, part in enumerate(value):
            yield from _leaves(f"{name}.{at}", part)
    else:
        yield name, value


def _usual(field: dataclasses.Field[Any], value: Any) -> bool:
    return value is None or (field.default is not dataclasses.MISSING and bool(value == field.default))
