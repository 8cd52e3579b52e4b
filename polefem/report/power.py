"""Power and efficiency over speed of the winner of a study, at each torque of its switching table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.drive import AngleTable
from polefem.report import plotting
from polefem.report.style import KINDS, LINES, new_figure, plain_axes
from polefem.units import rpm

__all__ = ["PowerOverSpeed", "draw_power", "power_over_speed"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PowerOverSpeed:
    """speeds: ndarray, shape (n,), rpm. power_out: W, and efficiency: %, by the torque in words, each of shape (n,),
    nan where the supply cannot reach the torque; no efficiency where nothing comes out."""

    title: str
    speeds: Array
    power_out: Mapping[str, Array]
    efficiency: Mapping[str, Array]


def power_over_speed(table: AngleTable, name: str) -> PowerOverSpeed:
    """What comes out of a machine of that name, as motor at the shaft, as generator into the dc link, iron loss not
    counted."""
    labels = [f"{abs(t):.3g} N m{' braking' if t < 0.0 else ''}" for t in table.torques.tolist()]
    return PowerOverSpeed(
        f"{name}: each torque by its own switching",
        table.speeds / rpm,
        {label: table.power_out[:, k] for k, label in enumerate(labels)},
        {label: 100 * table.efficiency[:, k] for k, label in enumerate(labels)},
    )


def draw_power(power: PowerOverSpeed) -> plotting.Figure:
    """The picture of both, one above the other: legible on a phone."""
    figure = new_figure(5.6, 5.2)
    parts = (("power out (W)", power.power_out), ("efficiency (%)", power.efficiency))
    for axes, (said, y) in zip(figure.subplots(2, 1, sharex=True), parts, strict=True):
        plain_axes(axes, "", "", said)
        axes.grid(True, color="#d8dde3", linewidth=0.6)
        axes.set_axisbelow(True)
        for at, (label, values) in enumerate(y.items()):
            line, colour = LINES[at % len(LINES)], KINDS[at % len(KINDS)]
            axes.plot(
                power.speeds, values, color=colour, linestyle=line, marker="o", markersize=4, label=label
            )
        axes.set_ylim(bottom=0.0)
        axes.set_xlim(0.97 * power.speeds[0], 1.02 * power.speeds[-1])
    axes.set_xlabel("speed (rpm)")
    figure.suptitle(power.title, fontsize="medium", x=0.01, ha="left")
    figure.legend(
        *axes.get_legend_handles_labels(), loc="outside lower left", ncols=3, frameon=False, fontsize="small"
    )
    return figure
