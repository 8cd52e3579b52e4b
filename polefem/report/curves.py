"""Curves of a map and of a study: the numbers of each, and the picture of the numbers."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.drive import RIPPLE_FORMULA, RectangularTorque, rectangular_currents, rectangular_torque
from polefem.maps import CoupledMap, FluxMap, summed
from polefem.params import RectangularCurrent
from polefem.params.quantity import percent
from polefem.report import plotting
from polefem.report.style import KINDS, LINES, axes_on, new_figure, steps
from polefem.units import deg

__all__ = [
    "Curves",
    "Spectrum",
    "draw_curves",
    "draw_spectrum",
    "flux_linkage_against_current",
    "inductance_against_angle",
    "spectrum_of_torque",
    "torque_against_angle",
    "torque_axis",
    "torque_of_designs",
    "torque_of_phases",
]

Array = NDArray[np.float64]
_FINE = 361
_TITLE = 58  # letters on a line of a title
_BESIDE = 44  # letters of labels of which two stand side by side


@dataclass(frozen=True, eq=False)
class Curves:
    """Curves over one axis. x: ndarray, shape (n,). y: by label, each of shape (n,). names: of the axes, with units.

    marks: points on the curves that were computed and not interpolated, as (x, y), each of shape (m,). growing:
    whether the labels are steps of one quantity; else they are kinds. note: over the labels. sign: -1 where y is the
    braking torque, which counts the other way.
    """

    title: str
    x_name: str
    y_name: str
    x: Array
    y: Mapping[str, Array]
    marks: tuple[Array, Array] | None = None
    growing: bool = True
    note: str = ""
    sign: float = 1.0


def torque_against_angle(m: FluxMap) -> Curves:
    """Torque of one phase, N m, over a rotor pitch (deg), for each current of the map."""
    angle = np.linspace(-m.pitch / 2, m.pitch / 2, _FINE)
    y = {f"{i:.3g} A": m.at(angle, i)[1] for i in m.currents if i > 0}
    marks = np.tile(m.angles / deg, m.currents.size), m.torque.ravel()
    title = _titled("Torque of one phase; 0: aligned", m)
    return Curves(title, "rotor angle (deg)", "torque (N m)", angle / deg, y, marks)


def inductance_against_angle(m: FluxMap) -> Curves:
    """Flux linkage over current of one phase, mH, over a rotor pitch (deg), for each current of the map."""
    angle = np.linspace(-m.pitch / 2, m.pitch / 2, _FINE)
    y = {f"{i:.3g} A": m.at(angle, i)[0] / i * 1e3 for i in m.currents if i > 0}
    marks = np.tile(m.angles / deg, m.currents.size), m.inductance.ravel() * 1e3
    title = _titled("Inductance of one phase; 0: aligned", m)
    return Curves(title, "rotor angle (deg)", "flux linkage / current (mH)", angle / deg, y, marks)


def flux_linkage_against_current(m: FluxMap, places: int = 6) -> Curves:
    """Flux linkage of one phase, Wb, over current (A), from aligned to unaligned."""
    current = np.linspace(0.0, m.currents[-1], 121)
    angles = np.linspace(0.0, m.pitch / 2, places)
    y = {_place(at, angle, places): m.at(angle, current)[0] for at, angle in enumerate(angles)}
    title = _titled("Flux linkage of one phase", m)
    return Curves(title, "current (A)", "flux linkage (Wb)", current, y)


def torque_axis(*means: float) -> tuple[str, float]:
    """What torque is called along an axis, and by which sign it is multiplied there: where all brake, as tables have
    it, braking torque, above 0. means: of the torques to be shown, N m.

    >>> torque_axis(3.1, 2.9), torque_axis(-3.1)
    (('torque (N m)', 1.0), ('braking torque (N m)', -1.0))
    """
    braked = [mean < 0.0 for mean in means]
    if braked and all(braked):
        return "braking torque (N m)", -1.0
    return "torque, below 0 braking (N m)" if any(braked) else "torque (N m)", 1.0


def torque_of_designs(
    operations: Mapping[str, tuple[CoupledMap, RectangularCurrent, float]], basis: str
) -> Curves:
    """Torque of all phases, N m, over one rotor pitch (deg), for each design: its map, switching and current; braking
    torque where all brake."""
    torques = {name: rectangular_torque(*operation) for name, operation in operations.items()}
    pitch = min((m.pitch for m, _, _ in operations.values()), default=1.0)
    angle = np.linspace(0.0, pitch, 2 * _FINE)
    y_name, sign = torque_axis(*(t.mean for t in torques.values()))
    y = {f"{name}: ripple {percent(t.ripple)}": sign * _over(t, angle) for name, t in torques.items()}
    title = textwrap.fill(f"Torque of all phases, {basis}", _TITLE)
    note = f"ripple: {RIPPLE_FORMULA}"
    return Curves(title, "rotor angle (deg)", y_name, angle / deg, y, growing=False, note=note, sign=sign)


def torque_of_phases(m: CoupledMap, drive: RectangularCurrent, current: float) -> Curves:
    """Torque of all phases in one field, of single phases summed where that differs, and of each phase alone, N m, over
    a rotor pitch (deg), under the rectangular current; braking torque where it brakes."""
    torque = rectangular_torque(m, drive, current)
    angle = np.linspace(0.0, m.pitch, 2 * _FINE)
    currents = rectangular_currents(drive, current, m.phases, m.pitch, angle)
    y_name, sign = torque_axis(torque.mean)
    y = {f"all phases: ripple {percent(torque.ripple)}": sign * _over(torque, angle)}
    if m.coupling == "joint":
        alone = rectangular_torque(summed(m.single), drive, current)
        y[f"single phases summed: ripple {percent(alone.ripple)}"] = sign * _over(alone, angle)
    for phase in range(m.phases):
        own = currents[:, phase]
        y[f"phase {phase + 1} alone"] = sign * m.single.at(angle - phase * m.stroke, own)[1]
    title = _titled(f"Torque at {current:.3g} A, {drive}", m.single)
    note = f"ripple: {RIPPLE_FORMULA}"
    return Curves(title, "rotor angle (deg)", y_name, angle / deg, y, growing=False, note=note, sign=sign)


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Harmonics of the torque of all phases. orders: shape (n,): how many times a rotor pitch; those that are no
    multiple of the number of phases are 0 where all strokes are alike. per_turn: shape (n,): how many times a turn of
    the rotor. amplitudes: shape (n,), N m. mean: N m. strokes: how many a turn."""

    title: str
    orders: Array
    per_turn: Array
    amplitudes: Array
    mean: float
    strokes: int


def spectrum_of_torque(m: CoupledMap, drive: RectangularCurrent, current: float) -> Spectrum:
    """The harmonics of the torque of all phases under the rectangular current."""
    torque = rectangular_torque(m, drive, current)
    orders = np.arange(1.0, torque.harmonics.size + 1)
    title = _titled(f"Harmonics of the torque at {current:.3g} A", m.single)
    return Spectrum(
        title, orders, orders * m.rotor_poles, torque.harmonics, torque.mean, m.phases * m.rotor_poles
    )


def draw_spectrum(spectrum: Spectrum) -> plotting.Figure:
    """The picture of harmonics, in per cent of the mean torque, against how many times a turn they come."""
    figure = new_figure()
    x = "pulses a turn of the rotor"
    axes = axes_on(figure, x, "amplitude (% of the mean torque)", spectrum.title)
    width = 0.6 * float(spectrum.per_turn[0])
    axes.bar(spectrum.per_turn, 100 * spectrum.amplitudes / abs(spectrum.mean), width, color=KINDS[0])
    axes.set_xticks(spectrum.strokes * np.arange(2, spectrum.per_turn[-1] / spectrum.strokes + 0.5, 2))
    return figure


def draw_curves(curves: Curves) -> plotting.Figure:
    """The picture of some curves."""
    single = not curves.growing and max(map(len, curves.y), default=0) > _BESIDE
    figure = new_figure(height=4.0 + 0.17 * len(curves.y)) if single else new_figure()
    axes = axes_on(figure, curves.x_name, curves.y_name, curves.title)
    colours = steps(len(curves.y)) if curves.growing else KINDS
    for at, (label, y) in enumerate(curves.y.items()):
        style = "-" if curves.growing else LINES[at % len(LINES)]
        axes.plot(curves.x, y, color=colours[at % len(colours)], linestyle=style, linewidth=1.6, label=label)
    if curves.marks is not None:
        axes.plot(*curves.marks, ".", color="#333333", markersize=2.5, label="computed")
    axes.set_xlim(curves.x[0], curves.x[-1])
    if curves.y and curves.growing:
        figure.legend(loc="outside right upper", frameon=False, fontsize="small", title=curves.note or None)
    elif curves.y:  # names may be long
        figure.legend(
            loc="outside lower left",
            ncols=1 if single else 2,
            frameon=False,
            fontsize="small",
            title=curves.note or None,
        )
    return figure


def _over(torque: RectangularTorque, angle: Array) -> Array:
    order = np.argsort(torque.angles, kind="stable")
    return np.interp(angle, torque.angles[order], torque.torque[order])


def _place(at: int, angle: float, places: int) -> str:
    said = {0: " (aligned)", places - 1: " (unaligned)"}.get(at, "")
    return f"{angle / deg:.3g} deg{said}"


def _titled(title: str, m: FluxMap) -> str:
    return f"{title} - {m.name}" if m.name else title
