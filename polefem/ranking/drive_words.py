"""Orders under several drives as text for a terminal: each order, the positions beside each other, what changes."""

from __future__ import annotations

import textwrap

import numpy as np

from polefem.drive import RIPPLE_FORMULA
from polefem.ranking.drives import DriveOrders
from polefem.ranking.words import columns, figure_text
from polefem.study import braking, figure_words, point_words, quantity_of_figure

__all__ = ["change_sentence", "drives_text"]

_WIDTH = 110
_SHOWN = (
    "mean_torque",
    "ripple",
    "lowest_torque",
    "peak_current",
    "rms_current",
    "copper_loss",
    "power_in",
    "power_out",
    "efficiency",
)
_PAIRS = 6


def drives_text(orders: DriveOrders, most: int = 20) -> str:
    """An order for each operating point (the first `most` designs), the table of positions, and where it changes."""
    lines: list[str] = []
    for k in range(1, len(orders.drives)):
        lines += [*_order(orders, k, most), ""]
    lines += [f"Places by {orders.words} under each drive", ""]
    rows = [["shape", *orders.drives]]
    for at, name in enumerate(orders.names[:most]):
        places = orders.positions[at]
        rows.append([name, *(f"{place:.0f}" if np.isfinite(place) else "-" for place in places)])
    lines += [*columns(rows), ""]
    for k in range(1, len(orders.drives)):
        lines += _wrapped(change_sentence(orders, k))
    if another := _by_another(orders):
        lines += _wrapped(f"{orders.drives[0]}:{another}.")
    note = f"ripple: {RIPPLE_FORMULA}. efficiency: of copper and bridge, iron loss not counted."
    return "\n".join([*lines, *_wrapped(note)]) + "\n"


def _order(orders: DriveOrders, k: int, most: int) -> list[str]:
    name, ranking = orders.drives[k], orders.rankings[k]
    brakes = {figure: braking(ranking.ordered, f"{name}.{figure}") for figure in _SHOWN}
    rows = [["shape", *(_head(figure, brakes[figure]) for figure in _SHOWN)]]
    for record in ranking.ordered[:most]:
        if record.figures is not None:
            found = (figure_text(record, f"{name}.{figure}") for figure in _SHOWN)
            rows.append([f"{len(rows)}  {record.name}", *found])
    lacking = [f"not ranked here: {record.name}: {why}" for record, why in ranking.infeasible[:most]]
    head = f"{_begun(name)}: {ranking.basis}; ranked by {orders.words}"
    return [*_wrapped(head), "", *columns(rows), *(line for said in lacking for line in _wrapped(said))]


def change_sentence(orders: DriveOrders, k: int) -> str:
    """Whether the order under a drive is another than under the first, in a sentence or two; who leads the first."""
    drive, first, best = orders.drives[k], orders.winner(0), orders.winner(k)
    if best is None:
        return f"{_begun(drive)}, no shape has figures."
    if k == 0:
        return f"{_begun(drive)}, {best} is first{_by_another(orders)}."
    swapped = orders.swapped(k)
    if not swapped:
        return f"{_begun(drive)}, the order is that under {orders.drives[0]}: {best} is first."
    place = orders.positions[orders.names.index(best), 0]
    said = (
        f"{best} stays first"
        if best == first
        else f"{best} is first, number {place:.0f} under {orders.drives[0]}"
    )
    pairs = [f"{ahead} overtakes {behind}" for ahead, behind in swapped[:_PAIRS]]
    more = f" and {len(swapped) - _PAIRS} more" if len(swapped) > _PAIRS else ""
    share = f"{len(swapped)} of {orders.compared(k)} pairs change places"
    return f"{_begun(drive)}, {said}. {share}: {', '.join(pairs)}{more}."


def _by_another(orders: DriveOrders) -> str:
    """By what the first drive orders, where it lacks the figure of the others."""
    first = orders.rankings[0]
    if first.by == orders.figure:
        return ""
    return f" by {figure_words(first.by, braking(first.ordered, first.by))}, as it has no {figure_words(orders.figure)}"


def _begun(drive: str) -> str:
    """`point_words` at the beginning of a sentence."""
    said = point_words(drive)
    return f"{said[0].upper()}{said[1:]}"


def _head(figure: str, brakes: bool) -> str:
    how = quantity_of_figure(f"drive.{figure}", brakes)
    return how.label if brakes and how.label else figure_words(figure)


def _wrapped(said: str) -> list[str]:
    return textwrap.wrap(said, _WIDTH, subsequent_indent="    ")
