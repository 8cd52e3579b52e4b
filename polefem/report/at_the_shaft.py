"""What a shape does at the shaft: phase currents and torque over angle, a start over time, the reading of the angle."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polefem.drive import RIPPLE_FORMULA
from polefem.maps import CoupledMap
from polefem.report import plotting
from polefem.report.curves import torque_axis
from polefem.report.style import KINDS, LINES, axes_on, new_figure
from polefem.study import ReadingOperatingPoint, SharedTorqueOperatingPoint, StartOperatingPoint
from polefem.units import deg, rpm

__all__ = ["SHOWN", "Traces", "draw_traces", "reading_traces", "shared_torque_traces", "start_traces"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Traces:
    """Curves over one axis, in panels one above the other.

    panels: by the name of what they show, with its unit: curves by label, each x and y of shape (n,). level: a line
    across the last panel, and what it says; None for none.
    """

    title: str
    x_name: str
    panels: Mapping[str, Mapping[str, tuple[Array, Array]]]
    level: tuple[float, str] | None = None


def shared_torque_traces(point: SharedTorqueOperatingPoint, m: CoupledMap, resistance: float) -> Traces:
    """Current of each phase, A, and torque of all, N m, over a rotor pitch (deg), as the bridge makes them."""
    run = point.run(m, resistance)
    angle = run.angles / deg
    currents = {f"phase {k + 1}": (angle, run.current[:, k]) for k in range(run.phases)}
    name, sign = torque_axis(run.mean_torque)
    torque = {f"all phases: ripple {100 * run.ripple:.1f} %": (angle, sign * run.torque)}
    title = f"{point.name}: {run.copper_loss:.3g} W in copper, ripple: {RIPPLE_FORMULA}"
    return Traces(title, "rotor angle (deg)", {"current (A)": currents, name: torque})


def start_traces(point: StartOperatingPoint, m: CoupledMap, resistance: float) -> Traces:
    """Speed, rpm, over time (s), from the weakest rest angle and from the strongest."""
    speeds = {}
    for said, angle in zip(("weakest", "strongest"), point.rest_angles(m, resistance), strict=True):
        run = point.run(m, resistance, angle)
        speeds[f"from the {said} rest angle, {angle / deg:.3g} deg"] = (run.time, run.speed / rpm)
    title = f"{point.name}: {point.current:.3g} A, {point.inertia:.3g} kg m²"
    return Traces(title, "time (s)", {"speed (rpm)": speeds}, (point.speed / rpm, "speed to get to"))


def reading_traces(point: ReadingOperatingPoint, m: CoupledMap, resistance: float) -> Traces:
    """How far off each phase reads the angle, deg, and the best of them, over a rotor pitch (deg)."""
    reading = point.reading(m)
    angle = reading.angles / deg
    errors = {f"phase {k + 1}": (angle, row / deg) for k, row in enumerate(reading.of_phase)}
    errors["the best of them"] = (angle, reading.best / deg)
    title = f"{point.name}: inductance within {100 * point.error:.3g} %, {point.current:.3g} A"
    return Traces(title, "rotor angle (deg)", {"error of the angle (deg)": errors})


Traced = Callable[[Any, CoupledMap, float], Traces]
SHOWN: dict[type, tuple[str, Traced]] = {
    SharedTorqueOperatingPoint: ("Phase currents and torque", shared_torque_traces),
    StartOperatingPoint: ("Speed from rest", start_traces),
    ReadingOperatingPoint: ("Error of the angle that idle phases tell", reading_traces),
}
"""What is shown of operating points that have a picture of their own: its words and its numbers."""


def draw_traces(traces: Traces) -> plotting.Figure:
    """The picture of some traces."""
    count = len(traces.panels)
    figure = new_figure(height=4.0 if count == 1 else 2.6 * count)
    first = None
    for at, (name, curves) in enumerate(traces.panels.items()):
        last = at == count - 1
        axes = axes_on(
            figure,
            traces.x_name if last else "",
            name,
            "" if at else traces.title,
            (count, 1, at + 1),
        )
        for kind, (label, (x, y)) in enumerate(curves.items()):
            bold = 2.4 if label.startswith("the best") else 1.5
            axes.plot(
                x,
                y,
                color=KINDS[kind % len(KINDS)],
                linestyle=LINES[kind % len(LINES)],
                linewidth=bold,
                label=label,
            )
        if last and traces.level is not None:
            level, said = traces.level
            axes.axhline(level, color="#55606d", linewidth=1.0, label=said)
        low, high = axes.dataLim.intervaly
        axes.set_ylim(
            min(0.0, 1.1 * low), high + 0.3 * (high - min(0.0, low))
        )  # the labels stand above the curves
        axes.legend(loc="upper left", frameon=False, fontsize="small", ncols=4 if count > 1 else 2)
        if first is None:
            first = axes
        else:
            axes.sharex(first)
    return figure
