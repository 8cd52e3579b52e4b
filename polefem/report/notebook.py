"""Machines, poles and flux maps that show themselves in a notebook: `%load_ext polefem.report.notebook`.

A notebook's shell keeps a table of what shows which class. The drawings are put in that table from here, so that the
rooms which hold the values know nothing of drawing, and importing them stays quick.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from typing import Any, Protocol

from matplotlib.figure import Figure

from polefem.errors import GeometryRefused
from polefem.maps import FluxMap
from polefem.params import AxialMachine, OuterRotorMachine, Pole, RadialMachine
from polefem.report.curves import draw_curves, torque_against_angle
from polefem.report.machines import draw_machine
from polefem.report.poles import draw_pole

__all__ = ["load_ipython_extension", "register", "svg_of"]


class _Formatter(Protocol):
    def for_type(self, typ: type, func: Callable[[Any], str | None]) -> Any: ...


_DRAWN: dict[type, Callable[[Any], Figure]] = {
    RadialMachine: lambda machine: draw_machine(machine, dimensions=True),
    OuterRotorMachine: lambda machine: draw_machine(machine, dimensions=True),
    AxialMachine: lambda machine: draw_machine(machine, dimensions=True),
    Pole: lambda pole: draw_pole(pole, dimensions=True),
    FluxMap: lambda phase_map: draw_curves(torque_against_angle(phase_map)),
}


def svg_of(value: Any) -> str | None:
    """The drawing of a machine, a pole or a flux map as SVG; None for what cannot be built, which shows as text."""
    try:
        figure = _DRAWN[type(value)](value)
    except GeometryRefused:
        return None
    text = io.StringIO()
    figure.savefig(text, format="svg", metadata={"Date": None})
    return text.getvalue()


def register(formatters: Mapping[str, _Formatter]) -> None:
    """Put the drawings into a shell's formatters, which are kept by MIME type."""
    for kind in _DRAWN:
        formatters["image/svg+xml"].for_type(kind, svg_of)


def load_ipython_extension(shell: Any) -> None:
    """What `%load_ext polefem.report.notebook` calls."""
    register(shell.display_formatter.formatters)
