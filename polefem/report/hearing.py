"""What you will hear, in pictures: pressure in the gap over angle and place, its waves, and the speeds to avoid."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from polefem.report import plotting
from polefem.report.style import EDGE, KINDS, LINES, axes_on, field_colours, new_figure, plain_axes
from polefem.ring import Crossing, RingWaves
from polefem.units import deg, rpm

if TYPE_CHECKING:  # to show them needs no mesher
    from polefem.forces import GapPressure, PressureWaves

__all__ = ["SHOWN_SPEEDS", "draw_pressure", "draw_speeds", "draw_waves", "shown_speeds"]

SHOWN_SPEEDS = 2.0
"""A chart of speeds goes so many times as far as the operating point."""
_MOST_LINES = 12
_ORDERS = 12


def draw_pressure(pressure: GapPressure, title: str = "Pull in the gap") -> plotting.Figure:
    """The pull (kPa) round the turn (deg), over the angle of the rotor (deg)."""
    figure = new_figure(6.4, 4.2)
    axes = plain_axes(figure.add_subplot(), title, "rotor angle (deg)", "place round the gap (deg)")
    shown = axes.pcolormesh(
        pressure.angles / deg,
        pressure.places / deg,
        pressure.pull.T * 1e-3,
        cmap=field_colours(),
        shading="nearest",
        rasterized=True,
    )
    figure.colorbar(shown, ax=axes, label="pull towards the rotor (kPa)")
    return figure


def draw_waves(waves: PressureWaves, title: str = "Waves of the pull") -> plotting.Figure:
    """The amplitude of each wave (kPa, in steps of ten): order round the turn over harmonic of the electrical
    frequency; what stands still is left out."""
    figure = new_figure(6.4, 4.2)
    axes = plain_axes(
        figure.add_subplot(),
        title,
        "harmonic of the electrical frequency",
        "order (below 0: against the rotor)",
    )
    near, moving = np.abs(waves.orders) <= _ORDERS, waves.harmonics > 0
    size = np.abs(waves.pull)[near][:, moving] * 1e-3
    top = math.log10(max(float(size.max()), 1e-9))
    shown = axes.pcolormesh(
        waves.harmonics[moving],
        waves.orders[near],
        np.log10(np.maximum(size, 1e-12)),
        cmap=field_colours(),
        vmin=top - 3,
        vmax=top,
        shading="nearest",
        rasterized=True,
    )
    bar = figure.colorbar(shown, ax=axes, label="amplitude (kPa)", ticks=[top - 3, top - 2, top - 1, top])
    bar.set_ticklabels([f"{10**tick:.3g}" for tick in (top - 3, top - 2, top - 1, top)])
    return figure


def shown_speeds(met: RingWaves) -> tuple[float, tuple[Crossing, ...]]:
    """How far a chart of speeds goes, rad/s, and the crossings on it: twice as far as the operating point, or as far as
    the slowest crossing of one of the stronger waves where that is beyond."""
    highest = SHOWN_SPEEDS * met.speed
    if not met.crossings(0.0, highest):
        beyond = [crossing.speed for crossing in met.crossings(highest, math.inf)[:_MOST_LINES]]
        highest = 1.1 * min(beyond, default=highest / 1.1)
    return highest, met.crossings(0.0, highest)


def draw_speeds(met: RingWaves, title: str = "Speeds to avoid: an estimate") -> plotting.Figure:
    """Excitation lines over the speed (rpm), the ring's own frequencies (Hz), and where they cross in the same order:
    the larger a mark the stronger the wave."""
    highest, found = shown_speeds(met)
    figure = new_figure(6.4, 4.4)
    axes = axes_on(figure, "speed (rpm)", "frequency (Hz)", title)
    orders = sorted({abs(one.order) for one in found}) or [order for order, _ in met.frequencies[:2]]
    own = {order: hertz for order, hertz in met.frequencies if order in orders}
    top = 1.25 * max(own.values())
    ends = np.array([0.0, highest])
    for order, harmonic in dict.fromkeys((one.order, one.harmonic) for one in found[:_MOST_LINES]):
        line = met.cycles(order, harmonic) * ends / (2 * math.pi)
        axes.plot(ends / rpm, line, color="#aab2bd", linewidth=0.8)
        at = min(highest, top * 2 * math.pi / met.cycles(order, harmonic) * 0.97)
        axes.annotate(
            str(harmonic), (at / rpm, met.cycles(order, harmonic) * at / (2 * math.pi)), fontsize="x-small"
        )
    strongest = max((one.pull for one in found), default=1.0)
    for k, (order, hertz) in enumerate(own.items()):
        colour = KINDS[k % len(KINDS)]
        axes.axhline(
            hertz, color=colour, linestyle=LINES[k % len(LINES)], label=f"order {order}: {hertz:.0f} Hz"
        )
        mine = [one for one in found if abs(one.order) == order]
        sizes = [20 + 130 * math.sqrt(one.pull / strongest) for one in mine]
        axes.scatter(
            [one.speed / rpm for one in mine],
            [hertz] * len(mine),
            s=sizes,
            color=colour,
            alpha=0.75,
            zorder=3,
        )
    axes.axvline(met.speed / rpm, color=EDGE, linewidth=1.0, linestyle=":", label="operating point")
    axes.set_xlim(0.0, highest / rpm)
    axes.set_ylim(0.0, top)
    axes.legend(
        fontsize="small", frameon=False, title="the ring by itself; grey: harmonics", title_fontsize="x-small"
    )
    return figure
