"""A run of the bridge as curves and as a picture: what the phases carry, and what the shaft feels of them."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.figure import Figure

from polefem.drive import RIPPLE_FORMULA, DriveRun
from polefem.report.curves import Curves
from polefem.report.style import KINDS, new_figure, plain_axes
from polefem.units import deg, rpm

__all__ = ["current_of_run", "draw_run", "torque_of_run"]


def current_of_run(run: DriveRun) -> Curves:
    """Currents of all phases, A, over a rotor pitch from turn-on of the first (deg, 0 where it is aligned)."""
    on, off = run.drive.turn_on / deg, run.drive.turn_off / deg
    title = f"Currents of the phases: on at {on:.4g} deg, off at {off:.4g} deg"
    currents = {f"phase {phase + 1}": run.current[:, phase] for phase in range(run.phases)}
    x_name = "rotor angle (deg), 0: first phase aligned"
    return Curves(title, x_name, "current (A)", run.angles / deg, currents)


def torque_of_run(run: DriveRun) -> Curves:
    """Torque of all phases, N m, over a rotor pitch (deg), with its mean."""
    y = {"torque": run.torque, "mean": np.full_like(run.torque, run.mean_torque)}
    ripple = "no mean" if math.isinf(run.ripple) else f"{run.ripple:.1%}"
    title = f"Torque, {run.coupling}: ripple {ripple} = {RIPPLE_FORMULA}"
    return Curves(title, "rotor angle (deg), 0: first phase aligned", "torque (N m)", run.angles / deg, y)


def draw_run(run: DriveRun) -> Figure:
    """The picture of both, side by side, with speed, currents and powers over them."""
    figure = new_figure(10.0, 3.9)
    curves = current_of_run(run), torque_of_run(run)
    for axes, shown in zip(figure.subplots(1, 2), curves, strict=True):
        plain_axes(axes, shown.title, shown.x_name, shown.y_name)
        axes.grid(True, color="#d8dde3", linewidth=0.6)
        axes.set_axisbelow(True)
        for at, (name, y) in enumerate(shown.y.items()):
            line = "--" if name == "mean" else "-"
            axes.plot(shown.x, y, color=KINDS[at % len(KINDS)], linestyle=line, linewidth=1.6, label=name)
        axes.set_xlim(shown.x[0], shown.x[-1])
    figure.suptitle(
        f"{abs(run.speed) / rpm:.4g} rev/min: mean torque {run.mean_torque:.3g} N m, current {run.rms_current:.3g} A "
        f"rms, {run.peak_current:.3g} A peak, {run.input_power:.4g} W in, {run.shaft_power:.4g} W at the shaft",
        fontsize="medium",
        x=0.01,
        ha="left",
    )
    return figure
