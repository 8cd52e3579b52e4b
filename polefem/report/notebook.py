"""Values that show themselves in a notebook: `%load_ext polefem.report.notebook`.

Machines, poles, steels, flux maps and runs of the bridge as drawings, rankings as tables. A notebook's shell keeps a
table of what shows which class. The drawings are put in that table from here, so that the rooms which hold the values
know nothing of drawing, and importing them stays quick.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import Any, Protocol

from polefem.drive import DriveRun
from polefem.errors import GeometryRefused
from polefem.maps import FluxMap
from polefem.materials import Steel
from polefem.params import AxialMachine, OuterRotorMachine, Pole, RadialMachine
from polefem.ranking import Ranking, table_cells
from polefem.report import plotting
from polefem.report.curves import draw_curves, torque_against_angle
from polefem.report.machines import draw_machine
from polefem.report.poles import draw_pole
from polefem.report.runs import draw_run
from polefem.report.steels import draw_steel
from polefem.study import braking, figure_words

__all__ = ["html_of", "load_ipython_extension", "register", "svg_of"]


class _Formatter(Protocol):
    def for_type(self, typ: type, func: Callable[[Any], str | None]) -> Any: ...


_DRAWN: dict[type, Callable[[Any], plotting.Figure]] = {
    RadialMachine: lambda machine: draw_machine(machine, dimensions=True),
    OuterRotorMachine: lambda machine: draw_machine(machine, dimensions=True),
    AxialMachine: lambda machine: draw_machine(machine, dimensions=True),
    Pole: lambda pole: draw_pole(pole, dimensions=True),
    Steel: draw_steel,
    FluxMap: lambda phase_map: draw_curves(torque_against_angle(phase_map)),
    DriveRun: draw_run,
}


def svg_of(value: Any) -> str | None:
    """The drawing of a value as SVG; None for what cannot be built or has no drawing, which shows as text."""
    drawn = _DRAWN.get(type(value))
    if drawn is None:
        return None
    try:
        figure = drawn(value)
    except GeometryRefused:
        return None
    text = io.StringIO()
    figure.savefig(text, format="svg", metadata={"Date": None})
    return text.getvalue()


def html_of(value: Any) -> str | None:
    """A ranking as a table, with what could not be ranked and why below it; None for anything else."""
    if not isinstance(value, Ranking):
        return None
    heads, rows = table_cells(value)
    titles = [f"{title}<br>{unit}" if unit else title for title, unit in heads]
    body = [_row("td", [escape(cell) for cell in row]) for row in rows]
    aside = [f"{record.name} {what}: {why}" for record, what, why in value.unranked]
    said = f"Ranked by {figure_words(value.by, braking(value.ordered, value.by))}, at {value.basis}"
    return (
        f"<table><caption>{escape(said)}</caption><thead>{_row('th', titles)}</thead>"
        f"<tbody>{''.join(body)}</tbody></table>" + "".join(f"<p>{escape(why)}</p>" for why in aside)
    )


def _row(kind: str, cells: Sequence[str]) -> str:
    return f"<tr>{''.join(f'<{kind}>{cell}</{kind}>' for cell in cells)}</tr>"


def register(formatters: Mapping[str, _Formatter]) -> None:
    """Put the drawings and tables into a shell's formatters, which are kept by MIME type."""
    for kind in _DRAWN:
        formatters["image/svg+xml"].for_type(kind, svg_of)
    formatters["text/html"].for_type(Ranking, html_of)


def load_ipython_extension(shell: Any) -> None:
    """What `%load_ext polefem.report.notebook` calls."""
    register(shell.display_formatter.formatters)
