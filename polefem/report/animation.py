"""A rotor that turns under its drive: the field at each angle, and where the torque then is on its curve."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.animation import AbstractMovieWriter, FFMpegWriter, PillowWriter
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from polefem.errors import InvalidValue, refusal
from polefem.field import built
from polefem.params.checks import whole
from polefem.report.curves import Curves, summed_torque
from polefem.report.findings import Shape
from polefem.report.pictures import Fields, density_of
from polefem.report.sections import FluxDensity, paint_flux_density
from polefem.report.style import KINDS, LINES, plain_axes
from polefem.units import deg

__all__ = ["Sweep", "draw_frame", "film_writer", "sweep_of", "write_sweep"]

Array = NDArray[np.float64]
_RATE = 12  # frames a second
_DPI = 100


@dataclass(frozen=True, eq=False)
class Sweep:
    """A shape over one rotor pitch under the ideal square current, after which all of it comes again.

    name: of the shape. angles: ndarray, shape (n,), rad. currents: ndarray, shape (n, n_phases), A. torque: ndarray,
    shape (n,), N m, of all phases in one field. densities: n of them. curve: torque of single phases and their sum.
    """

    name: str
    angles: Array
    currents: Array
    torque: Array
    densities: tuple[FluxDensity, ...]
    curve: Curves

    @property
    def most(self) -> float:
        """The end of the colours, T: the highest flux density of any frame, but for corners."""
        return max(float(np.quantile(density.size, 0.999)) for density in self.densities)


def sweep_of(shape: Shape, fields: Fields, frames: int = 48) -> Sweep:
    """Solve the fields of a shape at angles evenly over a rotor pitch, each phase with the current that it then has.

    Angles lie half a step off 0, so that none falls on a switching angle in whole degrees by chance.

    Raises InvalidValue for less than two frames, and what `fields` raises.
    """
    whole("a sweep needs frames", "frames", frames, 2)
    machine, drive, current = shape.design.machine, shape.design.plan.drive, shape.figures.current
    m = shape.at_work
    angles = m.pitch * (np.arange(frames) + 0.5) / frames
    own = angles[:, None] - m.stroke * np.arange(m.phases)
    currents = np.where(np.mod(own - drive.turn_on, m.pitch) < drive.dwell, current, 0.0)
    torque, densities = [], []
    for state in fields(built(machine, shape.design.plan.mesh), angles, currents):
        torque.append(state.torque)
        densities.append(
            density_of(machine, state.field, f"{shape.name}, rotor at {state.angle / deg:.1f} deg")
        )
    return Sweep(
        shape.name, angles, currents, np.array(torque), tuple(densities), summed_torque(m, drive, current)
    )


def draw_frame(sweep: Sweep, at: int, figure: Figure | None = None) -> Figure:
    """The picture of one frame: the flux density with its lines, and the torque with a point where the rotor stands."""
    figure = figure or Figure(figsize=(10.0, 4.6), dpi=_DPI)
    figure.clear()
    field = plain_axes(
        figure.add_axes((0.07, 0.11, 0.355, 0.8)), sweep.densities[at].title, *sweep.densities[at].names
    )
    colours = paint_flux_density(field, sweep.densities[at], sweep.most)
    bar = figure.add_axes((0.435, 0.16, 0.012, 0.7))
    figure.colorbar(colours, cax=bar, label="flux density (T)", extend="max")
    _paint_torque(figure.add_axes((0.575, 0.13, 0.4, 0.72)), sweep, at)
    return figure


def _paint_torque(axes: Axes, sweep: Sweep, at: int) -> None:
    curve = sweep.curve
    plain_axes(axes, "Torque: all phases, and each alone", curve.x_name, curve.y_name)
    axes.grid(True, color="#d8dde3", linewidth=0.6)
    for k, (label, y) in enumerate(curve.y.items()):
        width = 1.8 if k == 0 else 0.9
        axes.plot(
            curve.x,
            y,
            color=KINDS[k % len(KINDS)],
            linestyle=LINES[k % len(LINES)],
            linewidth=width,
            label=label,
        )
    angles = sweep.angles / deg
    axes.plot(angles, sweep.torque, ".", color="#333333", markersize=3, label="in one field")
    axes.plot(
        angles[at], sweep.torque[at], "o", color=KINDS[1], markersize=9, markeredgecolor="white", zorder=5
    )
    axes.axvline(angles[at], color=KINDS[1], linewidth=0.8)
    axes.set_xlim(curve.x[0], curve.x[-1])
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.08), ncols=3, frameon=False, fontsize=7)


def film_writer(path: Path) -> AbstractMovieWriter:
    """What writes a film with this ending; raises InvalidValue where nothing here does."""
    ending = path.suffix.lower()
    if ending == ".gif":
        return PillowWriter(fps=_RATE)
    if ending == ".mp4" and FFMpegWriter.isAvailable():
        return FFMpegWriter(fps=_RATE)
    found = f"{ending} without the program ffmpeg" if ending == ".mp4" else repr(ending)
    allowed = ".gif, or .mp4 with ffmpeg"
    raise InvalidValue(refusal("a film has an ending that can be written", path.name, found, allowed))


def write_sweep(sweep: Sweep, path: Path) -> Path:
    """Write the sweep as a film that runs round: GIF, or MP4 where the program `ffmpeg` is installed.

    Raises InvalidValue for another ending, and for MP4 without `ffmpeg`.
    """
    writer = film_writer(path)
    figure = draw_frame(sweep, 0)
    path.parent.mkdir(parents=True, exist_ok=True)
    with writer.saving(figure, str(path), _DPI):
        for at in range(len(sweep.angles)):
            draw_frame(sweep, at, figure)
            writer.grab_frame()
    return path
