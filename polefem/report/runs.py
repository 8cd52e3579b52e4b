"""A run of the bridge as curves and as a picture: what the phases carry, and what the shaft feels of them."""

from __future__ import annotations

import math

import numpy as np

from polefem.drive import RIPPLE_FORMULA, DriveRun
from polefem.params.drive_spec import Chopping, Control, PhaseTracking, Tracking
from polefem.report import plotting
from polefem.report.curves import Curves, torque_axis
from polefem.report.style import KINDS, LINES, axes_on, new_figure, plain_axes
from polefem.units import deg, rpm

__all__ = [
    "coupling_words",
    "current_of_run",
    "draw_powers",
    "draw_run",
    "powers_of_run",
    "run_sentences",
    "torque_of_run",
    "voltage_of_run",
]


def current_of_run(run: DriveRun) -> Curves:
    """Currents of all phases, A, over a rotor pitch from turn-on of the first (deg, 0 where it is aligned)."""
    on, off = run.drive.turn_on / deg, run.drive.turn_off / deg
    title = f"Currents of the phases: on at {on:.2f} deg, off at {off:.2f} deg"
    currents = {f"phase {phase + 1}": run.current[:, phase] for phase in range(run.phases)}
    x_name = "rotor angle (deg), 0: first phase aligned"
    return Curves(title, x_name, "current (A)", run.angles / deg, currents)


def coupling_words(coupling: str) -> str:
    """How phases count, for who reads.

    >>> coupling_words("joint")
    'phases together'
    """
    return "phases together" if coupling == "joint" else f"phases {coupling}"


def torque_of_run(run: DriveRun) -> Curves:
    """Torque of all phases, N m, over a rotor pitch (deg), with its mean; braking torque where it brakes."""
    y_name, sign = torque_axis(run.mean_torque)
    y = {"torque": sign * run.torque, "mean": np.full_like(run.torque, sign * run.mean_torque)}
    ripple = "no mean" if math.isinf(run.ripple) else f"{100 * run.ripple:.1f} %"
    what = "Braking torque" if sign < 0 else "Torque"
    title = f"{what}, {coupling_words(run.coupling)}: ripple {ripple} = {RIPPLE_FORMULA}"
    return Curves(title, "rotor angle (deg), 0: first phase aligned", y_name, run.angles / deg, y, sign=sign)


def voltage_of_run(run: DriveRun) -> Curves:
    """Voltage across the first phase, V, over a rotor pitch (deg), constant from each angle to the next."""
    steps = np.repeat(run.angles / deg, 2)[1:-1]
    y = {"phase 1": np.repeat(run.voltage[:, 0], 2)}
    return Curves(
        "Voltage across a phase", "rotor angle (deg), 0: first phase aligned", "voltage (V)", steps, y
    )


def powers_of_run(run: DriveRun) -> dict[str, float]:
    """Where the power of a run goes, W, in order, by name: a motor's from the supply, a generator's from the shaft.

    The parts make up what goes in but for what the march in time leaves open (`EnergyBalance.error`) and what the
    fields of the phases gain over a pitch.
    """
    energy, time = run.energy, run.cycle_time
    losses = {
        "copper": energy.copper / time,
        "switches and diodes": energy.device_loss / time,
        "source resistance": energy.source_loss / time,
        "iron": run.iron_loss,
    }
    out = {"shaft" if run.mean_torque > 0 else "back to the supply": run.power_out}
    return {name: power for name, power in {**losses, **out}.items() if power != 0.0}


def draw_run(run: DriveRun) -> plotting.Figure:
    """The picture of currents, voltage and torque one above another, with speed, currents and powers over them."""
    figure = new_figure(5.6, 7.4)
    curves = current_of_run(run), voltage_of_run(run), torque_of_run(run)
    for axes, shown in zip(figure.subplots(3, 1, sharex=True), curves, strict=True):
        plain_axes(axes, shown.title, "", shown.y_name)
        axes.grid(True, color="#d8dde3", linewidth=0.6)
        axes.set_axisbelow(True)
        for at, (name, y) in enumerate(shown.y.items()):
            line = "--" if name == "mean" else LINES[at % len(LINES)]
            colour = KINDS[5] if name == "mean" else KINDS[at % len(KINDS)]
            axes.plot(shown.x, y, color=colour, linestyle=line, linewidth=1.6, label=name)
        axes.set_xlim(shown.x[0], shown.x[-1])
        low, high = axes.get_ylim()
        axes.set_ylim(min(low, 0.0), max(high, 0.0))
    handles = {label: line for axes in figure.axes for line, label in _labelled(axes)}
    handles.pop("torque")
    figure.legend(
        handles.values(), handles, loc="outside lower left", ncols=4, frameon=False, fontsize="small"
    )
    axes.set_xlabel(curves[-1].x_name)
    braking = "braking " if run.mean_torque < 0.0 else ""
    figure.suptitle(
        f"{abs(run.speed) / rpm:.4g} rpm: mean {braking}torque {abs(run.mean_torque):.3g} N m,\n"
        f"current {run.rms_current:.3g} A rms, {run.peak_current:.3g} A peak",
        fontsize="medium",
        x=0.01,
        ha="left",
    )
    return figure


def draw_powers(run: DriveRun) -> plotting.Figure:
    """The picture of the powers of a run: a bar from nought to what goes in, cut up into where it goes."""
    powers = powers_of_run(run)
    figure = new_figure(5.6, 2.4)
    total = sum(powers.values())
    braked = "from shaft and supply" if run.input_power > 0 else "from the shaft"
    source = "from the supply" if run.mean_torque > 0 else braked
    iron = "" if run.iron_loss else "; iron loss not counted"
    axes = axes_on(figure, "power (W)", "", f"{total:.4g} W {source}{iron}")
    start = 0.0
    for at, (name, power) in enumerate(powers.items()):
        said = f"{name} {power:.3g} W"
        axes.barh([0.0], [power], left=start, height=0.5, color=KINDS[at % len(KINDS)], label=said)
        start += power
    axes.set_yticks([])
    axes.set_ylim(-0.4, 0.4)
    figure.legend(loc="outside lower left", ncols=2, frameon=False, fontsize="small")
    return figure


def run_sentences(name: str, run: DriveRun) -> tuple[str, ...]:
    """What a run asks of supply and switches, for who builds the bridge."""
    bridge, peak = run.drive.bridge, run.peak_current
    asked = _asked(run.drive.control)
    at = f"{name}, {abs(run.speed) / rpm:.4g} rpm on {bridge.supply:.4g} V"
    if asked is None:
        reached = f"{at}: no level is set, the supply alone bounds the current; it peaks at {peak:.3g} A."
    elif peak >= _REACHED * asked:
        reached = f"{at}: the supply reaches the {asked:.3g} A that are asked for."
    else:
        reached = (
            f"{at}: the supply does not reach the {asked:.3g} A that are asked for, the current peaks at "
            f"{peak:.3g} A: a higher voltage, an earlier turn-on or fewer turns would."
        )
    # While a phase gives back, it sees both diodes and the supply, and each switch that is off one diode less.
    stands = bridge.diode_drop + max(bridge.supply, float(np.abs(run.voltage).max()) - 2 * bridge.diode_drop)
    return (
        reached,
        f"Each switch and diode must bear {stands:.3g} V and {peak:.3g} A, and what wiring and a supply that takes no "
        "power back add: half as much again or more is common practice.",
    )


def _labelled(axes: plotting.Axes) -> list[tuple[plotting.Artist, str]]:
    lines, labels = axes.get_legend_handles_labels()
    return list(zip(lines, labels, strict=True))


_REACHED = 0.98  # of a level: bands and steps in time take the rest


def _asked(control: Control) -> float | None:
    """The highest current that a control asks for, A; None where it asks for none."""
    if isinstance(control, Chopping):
        return control.level
    if isinstance(control, Tracking):
        return max(control.currents)
    if isinstance(control, PhaseTracking):
        return max(max(row) for row in control.currents)
    return None
