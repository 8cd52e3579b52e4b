"""A rotor that turns under its drive: the field at each angle, and where the torque then is on its curve."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from polefem.drive import rectangular_currents
from polefem.errors import InvalidValue, refusal
from polefem.field import FieldState
from polefem.files import complete
from polefem.params.checks import whole
from polefem.report import plotting
from polefem.report.curves import Curves, torque_of_phases
from polefem.report.findings import Shape
from polefem.report.pictures import density_of
from polefem.report.sections import FluxDensity, paint_flux_density
from polefem.report.style import KINDS, LINES, plain_axes
from polefem.units import deg

__all__ = ["Film", "draw_frame", "film_currents", "film_of", "film_writer", "write_film"]

Array = NDArray[np.float64]
_RATE = 12  # frames a second
_DPI = 100


@dataclass(frozen=True, eq=False)
class Film:
    """A shape over one rotor pitch under the rectangular current, after which all of it comes again.

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


def film_currents(shape: Shape, frames: int = 48) -> tuple[Array, Array]:
    """Angles evenly over a rotor pitch, rad, shape (n,), and the current that each phase has at each, A, (n, n_phases).

    Angles lie half a step off 0, so that none falls on a switching angle in whole degrees by chance.

    Raises InvalidValue for less than two frames.
    """
    whole("a film needs frames", "frames", frames, 2)
    drive, m = shape.figures.switching, shape.at_work
    angles = m.pitch * (np.arange(frames) + 0.5) / frames
    return angles, rectangular_currents(drive, shape.figures.current, m.phases, m.pitch, angles)


def film_of(shape: Shape, states: Iterable[FieldState]) -> Film:
    """The film of a shape from its fields at the angles and currents of `film_currents`."""
    machine, drive, current = shape.design.machine, shape.figures.switching, shape.figures.current
    angles, currents, torque, densities = [], [], [], []
    for state in states:
        angles.append(state.angle)
        currents.append(state.phase_currents)
        torque.append(state.torque)
        densities.append(
            density_of(machine, state.field, f"{shape.name}, rotor at {state.angle / deg:.1f} deg")
        )
    curve = torque_of_phases(shape.at_work, drive, current)
    return Film(shape.name, np.array(angles), np.array(currents), np.array(torque), tuple(densities), curve)


def draw_frame(film: Film, at: int, figure: plotting.Figure | None = None) -> plotting.Figure:
    """The picture of one frame: the flux density with its lines, and the torque with a point where the rotor stands."""
    figure = figure or plotting.Figure(figsize=(10.0, 4.6), dpi=_DPI)
    figure.clear()
    field = plain_axes(
        figure.add_axes((0.07, 0.11, 0.355, 0.8)), film.densities[at].title, *film.densities[at].names
    )
    colours = paint_flux_density(field, film.densities[at], film.most)
    bar = figure.add_axes((0.435, 0.16, 0.012, 0.7))
    figure.colorbar(colours, cax=bar, label="flux density (T)", extend="max")
    _paint_torque(figure.add_axes((0.575, 0.13, 0.4, 0.72)), film, at)
    return figure


def _paint_torque(axes: plotting.Axes, film: Film, at: int) -> None:
    curve = film.curve
    said = "Braking torque" if curve.sign < 0 else "Torque"
    plain_axes(axes, f"{said}: all phases, and each alone", curve.x_name, curve.y_name)
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
    angles = film.angles / deg
    torque = curve.sign * film.torque
    axes.plot(angles, torque, ".", color="#333333", markersize=3, label="in one field")
    axes.plot(angles[at], torque[at], "o", color=KINDS[1], markersize=9, markeredgecolor="white", zorder=5)
    axes.axvline(angles[at], color=KINDS[1], linewidth=0.8)
    axes.set_xlim(curve.x[0], curve.x[-1])
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.08), ncols=3, frameon=False, fontsize=7)


def film_writer(path: Path) -> plotting.AbstractMovieWriter:
    """What writes a film with this ending; raises InvalidValue where nothing here does."""
    ending = path.suffix.lower()
    if ending == ".gif":
        return plotting.PillowWriter(fps=_RATE)
    if ending == ".mp4" and plotting.FFMpegWriter.isAvailable():
        return plotting.FFMpegWriter(fps=_RATE)
    found = f"{ending} without the program ffmpeg" if ending == ".mp4" else repr(ending)
    allowed = ".gif, or .mp4 with ffmpeg"
    raise InvalidValue(refusal("a film has an ending that can be written", path.name, found, allowed))


def write_film(film: Film, path: Path) -> Path:
    """Write it as a film that runs round: GIF, or MP4 where the program `ffmpeg` is installed.

    Raises InvalidValue for another ending, and for MP4 without `ffmpeg`.
    """
    writer = film_writer(path)
    figure = draw_frame(film, 0)
    path.parent.mkdir(parents=True, exist_ok=True)
    with complete(path) as part, writer.saving(figure, str(part), _DPI):
        for at in range(len(film.angles)):
            draw_frame(film, at, figure)
            writer.grab_frame()
    return path
