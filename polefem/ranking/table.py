"""A ranking as text for a terminal and as CSV for a spreadsheet."""

from __future__ import annotations

import csv
import io
import re
import textwrap
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from polefem.copper import THERMAL_CAUTION
from polefem.drive import RIPPLE_FORMULA
from polefem.estimates import USUAL_SHEAR
from polefem.ranking.order import Ranking
from polefem.study import (
    Figures,
    Record,
    braking,
    error_from_map,
    figure_words,
    quantity_of_figure,
)

__all__ = ["csv_text", "table_cells", "table_text"]


_COLUMNS = (
    *("mean_torque", "ripple", "lowest_torque", "aligned_inductance", "unaligned_inductance", "current"),
    *("copper_loss", "torque_per_loss", "turn_on", "turn_off"),
)
_NUMBER = re.compile(r"[-+]?[0-9.]+([eE][-+]?[0-9]+)?( [\w ]+)?")  # with its unit, perhaps
_NOTES = (
    "L: flux linkage over current at that current.",
    "on, off: the angles between which a phase conducts, 0 where its poles are aligned.",
    "Left out, unless estimates of end effects are named above: end turns (but for their resistance), flux past the "
    "ends of the steel. Gaps between laminations are in it as far as the machine's stacking factor is.",
)
_DRIVEN = "lowest: torque at the worst rest angle."
_BRAKED = "weakest: braking torque at the angle where it is least; below 0 it drives the rotor there."
_WIDTH = 110
_ASIDE = 6  # designs beside the order, where it is cut short


def table_text(ranking: Ranking, most: int | None = None, remarks: Sequence[str] = ()) -> str:
    """The ranking as lines of text: the basis, what is remarkable, the ordered designs, those apart with reasons; cut
    short by `most`."""
    words = figure_words(ranking.by, braking(ranking.ordered, ranking.by))
    lines = [f"Ranked by {words}, at {ranking.basis}"]
    lines += [
        line for said in remarks for line in textwrap.wrap(f"! {said}", _WIDTH, subsequent_indent="    ")
    ]
    lines.append("")
    shown = ranking.ordered[:most]
    if shown:
        lines += _rows(ranking, len(shown))
    if len(ranking.ordered) > len(shown):
        lines.append(f"... and {len(ranking.ordered) - len(shown)} more")
    aside = [f"{record.name} {what}: {why}" for record, what, why in ranking.unranked]
    few = aside if most is None or len(aside) <= _ASIDE + 1 else aside[:_ASIDE]
    for said in few:
        lines += ["", *textwrap.wrap(said, _WIDTH, subsequent_indent="    ")]
    if len(few) < len(aside):
        lines += ["", f"... and {len(aside) - len(few)} more outside the limits or without figures"]
    lines.append("")
    rest = _BRAKED if braking(ranking.ordered, "mean_torque") else _DRIVEN
    notes = (
        _ripple_note(ranking.ordered),
        rest,
        *_NOTES,
        *(_estimates(record.name, record.figures) for record in shown[:1] if record.figures),
    )
    lines += [line for note in notes for line in textwrap.wrap(note, _WIDTH, subsequent_indent="    ")]
    return "\n".join(lines) + "\n"


def _ripple_note(ordered: Sequence[Record]) -> str:
    """What ripple is, and under which current."""
    ramps = {r.figures.ramp for r in ordered if r.figures is not None and r.figures.ramp}
    ramp = quantity_of_figure("ramp")
    of = ", ".join(ramp.text(one) for one in sorted(ramps))
    form = f"rectangular current with ramps of {of}" if ramps else "ideal rectangular current"
    return f"ripple: {RIPPLE_FORMULA} of the torque of all phases over a turn, {form}."


def _estimates(name: str, figures: Figures) -> str:
    """What is reckoned by formulas beside the field, told apart from it."""
    low, high = USUAL_SHEAR
    named = (
        *("end_winding_inductance", "aligned_fringing", "unaligned_fringing"),
        *("shear_stress", "torque_per_mass", "most_rise"),
    )
    said = (quantity_of_figure(name, figures.brakes(name)).text(figures.value(name)) for name in named)
    turns, aligned, unaligned, shear, per_mass, rise = said
    return (
        f"Estimates for {name}, no field solution: end turns {turns} in series, flux past the ends of the steel "
        f"{aligned} aligned and {unaligned} unaligned more; shear stress in the gap {shear} "
        f"({low * 1e-3:g} to {high * 1e-3:g} is usual of small machines in still air); "
        f"{per_mass} of copper and steel; highest temperature rise {rise} over still air. {THERMAL_CAUTION}"
    )


def table_cells(ranking: Ranking) -> tuple[tuple[tuple[str, str], ...], tuple[tuple[str, ...], ...]]:
    """Heads (title, unit) and a row of text for each ordered design: its place, its name and its figures."""
    shown = [record for record in ranking.ordered if record.figures is not None]
    columns = _COLUMNS if ranking.by in _COLUMNS else (ranking.by, *_COLUMNS)
    known = any(record.figures is not None and record.figures.iron_loss is not None for record in shown)
    brakes = {name: braking(shown, name) for name in columns}
    rows = tuple(
        (str(at), record.name, *(_cell(record, name, known, brakes[name]) for name in columns))
        for at, record in enumerate(shown, start=1)
    )
    return (("", ""), ("shape", ""), *(_head(name, known, brakes[name]) for name in columns)), rows


def _head(name: str, iron: bool, brakes: bool) -> tuple[str, str]:
    """Title and unit of a column. iron: whether iron loss stands beside that of the copper. brakes: whether the torque
    of all of them brakes."""
    how = quantity_of_figure(name, brakes)
    words = figure_words(name, brakes)
    title = words if "." in name else how.label or words
    return ("copper + iron" if iron and name == "copper_loss" else title), how.unit


def _cell(record: Record, name: str, iron: bool, brakes: bool = False) -> str:
    value = None if record.figures is None else record.figures.value(name)
    said = quantity_of_figure(name, brakes).number(value, error_from_map(record, name))
    return f"{said} + {_cell(record, 'iron_loss', False)}" if iron and name == "copper_loss" else said


def _rows(ranking: Ranking, count: int) -> list[str]:
    (_, _, *titles), cells = table_cells(replace(ranking, ordered=ranking.ordered[:count]))
    rows = list(zip(("", "shape"), *titles, strict=True))
    body = [(f"{at}  {name}", *figures) for at, name, *figures in cells]
    widths = [max(len(row[k]) for row in [*rows, *body]) for k in range(len(titles) + 1)]
    return (
        [_line(row, widths) for row in rows]
        + ["-" * (sum(widths) + 2 * len(widths) - 2)]
        + [_line(row, widths) for row in body]
    )


def _line(cells: tuple[str, ...], widths: list[int]) -> str:
    first, *rest = cells
    return "  ".join(
        [first.ljust(widths[0]), *(c.rjust(w) for c, w in zip(rest, widths[1:], strict=True))]
    ).rstrip()


def csv_text(ranking: Ranking) -> str:
    """Every design as a row of a CSV file: rank, name, status, figures in SI (of operating points too), changed fields,
    reason."""
    outside = {record.key: why for record, why in ranking.infeasible}
    records = [*ranking.ordered, *(record for record, _ in ranking.infeasible), *ranking.unsolved]
    fields = list(dict.fromkeys(name for record in records for name in record.changes))
    points = {name: known for r in records if r.figures for name, known in r.figures.operating_points.items()}
    driven = [f"{point}.{figure}" for point, known in points.items() for figure in known.names()]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        ["rank", "name", "status", *Figures.names(), *driven, *fields, "seconds", "reason", "key"]
    )
    for at, record in enumerate(records, start=1):
        figures = [record.figures.value(n) if record.figures else "" for n in (*Figures.names(), *driven)]
        rank = at if at <= len(ranking.ordered) else ""
        reason = outside.get(record.key, record.reason)
        seconds = round(sum(record.outcome.seconds.values()), 3)
        changes = [_inert(record.changes.get(name, "")) for name in fields]
        name, why = _inert(record.name), _inert(reason)
        writer.writerow([rank, name, record.status, *figures, *changes, seconds, why, record.key])
    return out.getvalue()


def _inert(cell: Any) -> Any:
    """A cell that no spreadsheet takes for a formula: text that begins like one gets an apostrophe before it.

    >>> _inert("=cmd|' /C calc'!A0"), _inert("-2 deg"), _inert(-2.0)
    ("'=cmd|' /C calc'!A0", '-2 deg', -2.0)
    """
    formula = isinstance(cell, str) and cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    return f"'{cell}" if formula and not _NUMBER.fullmatch(cell) else cell
