"""Flux linkage from a recorded step of voltage: psi = integral of (v - R i) dt, the rotor locked.

What spoils the integral is an offset of either channel, which grows with time, and a resistance that is not the one
put in, or not all the while: copper warms by the current itself. Three things of the recording itself hold them:

- before the step nothing flows: the mean of both channels there is their offset, and its scatter their noise;
- the recording either settles at a steady current, where d psi/dt = 0 and v / i is the resistance, warm as it is there;
  or it returns to no current, where psi is back at nought, up to the remanence;
- a resistance measured cold beforehand is that of the start; between start and end it grows with the heat, as the
  integral of i^2 does.

The deviation of each value adds, as squares, what is left of these: the offset's own error times the time, the
resistance's error times the charge, the noise, and when between two samples the voltage stepped. Eddy currents in
solid steel let the current in before the flux: a slow step (a resistor in series) or a thin sheet is what this
reading is for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.measured.readings import Kind, Readings
from polefem.measured.table_file import read_table
from polefem.params.checks import increasing, positive

__all__ = ["LinkageCurve", "Recording", "flux_linkage_of", "read_recording"]

Floats = NDArray[np.float64]
End = Literal["settled", "no current"]

LEAST_SAMPLES = 8  # in the window before the step and in that at the end
#: How far the resistance at the end may be from the one stated: copper warms by 100 K at 39 %.
MOST_WARMING = 0.4
#: How flat the end of a recording is: what is left of the current's change there, over the current.
SETTLED = 0.01


@dataclass(frozen=True, eq=False)
class Recording:
    """A recorder's channels. times: s, increasing; voltages: V; currents: A; each of shape (n,). name: of the file."""

    times: Floats
    voltages: Floats
    currents: Floats
    name: str = "recording"

    def __post_init__(self) -> None:
        times = increasing("the time of a recorder increases", f"{self.name}, time", self.times, "s")
        object.__setattr__(self, "times", times)
        for name in ("voltages", "currents"):
            array = np.array(getattr(self, name), dtype=float)
            if array.shape != times.shape or not np.isfinite(array).all():
                rule, allowed = "a recorder's channels are of one length", f"{times.size} finite numbers"
                raise InvalidValue(refusal(rule, f"{self.name}, {name}", f"of shape {array.shape}", allowed))
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    def reversed(self) -> Recording:
        """The same with both signs turned: of a step the other way, so that it can be laid beside one this way. Their
        mean (`polefem.measured.both_ways`) is free of remanence, and half of their difference is the remanent flux."""
        return Recording(self.times, -self.voltages, -self.currents, f"{self.name}, reversed")


@dataclass(frozen=True, eq=False)
class LinkageCurve:
    """Flux linkage over a recording.

    currents: A, flux_linkages: Wb, deviations: Wb, each of shape (n,), offsets taken out. resistances: at start and
    end, ohm. offsets: of voltage (V) and current (A). noise: of a sample of the current, A, and of the voltage, V.
    name: of the recording.
    """

    currents: Floats
    flux_linkages: Floats
    deviations: Floats
    resistances: tuple[float, float]
    offsets: tuple[float, float]
    noise: tuple[float, float]
    name: str

    def readings(self, angle: float, currents: ArrayLike) -> Readings:
        """Readings at some currents (A), shape (n,), on the way up, the rotor locked at an angle (rad).

        Each is read off a straight line through the samples within a twentieth of the current on either side.
        Raises InvalidValue for a current that the recording does not pass.
        """
        asked = increasing("currents to read at increase", "currents", currents, "A")
        up = slice(0, int(np.argmax(self.currents)) + 1)
        values, deviations = [], []
        for current in asked:
            near = np.abs(self.currents[up] - current) <= max(0.05 * current, 2.0 * self.noise[0])
            i, psi = self.currents[up][near], self.flux_linkages[up][near]
            if i.size < 2 or not i.min() <= current <= i.max() or current <= 0.0:
                allowed = f"above 0, up to {float(self.currents.max()):.4g} A, with samples on both sides"
                rule = "a recording is read where it went"
                raise InvalidValue(refusal(rule, f"{self.name}, current", f"{current:.6g} A", allowed))
            slope, value = np.polyfit(i - current, psi, 1)
            left = psi - value - slope * (i - current)
            scatter = float(np.std(left)) / math.sqrt(i.size)
            values.append(float(value))
            deviations.append(math.hypot(float(self.deviations[up][near].mean()), scatter))
        places = tuple(f"{self.name} at {current:.4g} A" for current in asked)
        kind: Kind = "flux linkage"
        return Readings(
            (kind,) * len(places),
            np.full(len(places), angle),
            asked,
            np.array(values),
            np.array(deviations),
            places,
        )


def read_recording(path: str | Path) -> Recording:
    """A recording from a recorder's CSV with time, voltage and current; raises InvalidValue as `read_table` does."""
    table = read_table(path, ("time", "voltage", "current"))
    if table.left_out:
        rule, allowed = "a recording has no gaps", "a number in each cell"
        raise InvalidValue(refusal(rule, table.name, table.left_out[0].partition(": ")[2], allowed))
    columns = table.columns
    return Recording(columns["time"], columns["voltage"], columns["current"], table.name)


def flux_linkage_of(
    recording: Recording,
    before: float,
    end: float,
    *,
    ends: End = "settled",
    resistance: float | None = None,
    resistance_deviation: float | None = None,
) -> LinkageCurve:
    """The flux linkage over a recorded step.

    before: how long nothing flows from the first sample on, s. end: how long the end lasts, s, at which the current is
    settled, or is no more (`ends`). resistance: of the winding and its leads from the voltage's taps, measured cold,
    ohm; with a settled end it may be left out. resistance_deviation: of that, ohm; a hundredth if left out.

    Raises InvalidValue for windows with few samples, an end that is not what it is said to be, a resistance that is not
    above 0 (as a probe the wrong way round makes it), or one that the end contradicts.
    """
    first = recording.times - recording.times[0] < before
    last = recording.times[-1] - recording.times < end
    for name, window in (("before", first), ("end", last)):
        if window.sum() < LEAST_SAMPLES:
            rule, allowed = "a window of a recording holds samples", f"{LEAST_SAMPLES} or more"
            raise InvalidValue(refusal(rule, f"{recording.name}, {name}", f"{window.sum()} samples", allowed))
    offsets = float(recording.voltages[first].mean()), float(recording.currents[first].mean())
    noise = float(recording.voltages[first].std()), float(recording.currents[first].std())
    v, i = recording.voltages - offsets[0], recording.currents - offsets[1]
    cold = None if resistance is None else _above_zero(resistance, recording.name)
    t = recording.times
    if ends == "no current":
        if cold is None:
            rule = "a recording that does not settle needs a resistance"
            raise InvalidValue(refusal(rule, "resistance", "left out", "that of the winding, cold, ohm"))
        resistances = cold, cold
    else:
        warm = _at_the_end(v[last], i[last], recording.name, cold)
        resistances = (warm if cold is None else cold), warm
    ohms = _warming(t, i, resistances, last)
    psi = _integral(t, v - ohms * i)
    jump = float(np.abs(np.diff(v)).max()) * _step(t) / math.sqrt(12.0)
    error = np.hypot(_error_of(t, i, ohms, noise, int(first.sum()), resistance_deviation, ends), jump)
    if ends == "no current":
        psi = psi - _drift(t, psi, i, first, last, recording.name)
    psi = psi - psi[first].mean()
    return LinkageCurve(i, psi, error, resistances, offsets, (noise[1], noise[0]), recording.name)


def _above_zero(resistance: float, name: str) -> float:
    rule = "a winding's resistance takes power"
    return positive(rule, f"{name}, resistance", resistance, "ohm")


def _at_the_end(v: Floats, i: Floats, name: str, cold: float | None) -> float:
    """The resistance that the settled end shows, ohm."""
    current, half = float(i.mean()), len(i) // 2
    change = abs(float(i[half:].mean() - i[:half].mean()))
    if change > SETTLED * abs(current):
        rule, allowed = "the end of a recording is settled", f"a change below {SETTLED:.0%}"
        raise InvalidValue(
            refusal(rule, f"{name}, current at the end", f"changing by {change:.3g} A", allowed)
        )
    warm = _above_zero(float(v.mean()) / current, f"{name} at the end")
    if cold is not None and not 1.0 - MOST_WARMING / 4 < warm / cold < 1.0 + MOST_WARMING:
        rule = "the resistance at the end is the stated one, warmed"
        allowed = f"{0.9 * cold:.4g} to {1.4 * cold:.4g} ohm: measure at the voltage's taps, leads included"
        raise InvalidValue(refusal(rule, f"{name}, voltage over current", f"{warm:.4g} ohm", allowed))
    return warm


def _warming(t: Floats, i: Floats, resistances: tuple[float, float], last: NDArray[np.bool_]) -> Floats:
    """The resistance all along, ohm, shape (n,): it grows with the heat that was put in, to that of the end."""
    heat = _integral(t, i**2)
    cold, warm = resistances
    grown: Floats = cold + (warm - cold) * heat / max(float(heat[last].mean()), 1e-300)
    return grown


def _step(t: Floats) -> float:
    """Between samples, s."""
    return float(np.median(np.diff(t)))


def _integral(t: Floats, values: Floats) -> Floats:
    found: Floats = np.append(0.0, scipy.integrate.cumulative_trapezoid(values, t))
    return found


def _drift(
    t: Floats, psi: Floats, i: Floats, first: NDArray[np.bool_], last: NDArray[np.bool_], name: str
) -> Floats:
    """What has to be taken off so that the flux linkage is the same at the end as before the step: straight in time."""
    most = float(np.abs(i).max())
    if abs(float(i[last].mean())) > SETTLED * most:
        rule, allowed = "the recording ends without current", f"below {SETTLED * most:.3g} A"
        raise InvalidValue(refusal(rule, f"{name}, current at the end", f"{i[last].mean():.3g} A", allowed))
    start, stop = float(t[first].mean()), float(t[last].mean())
    rise = float(psi[last].mean() - psi[first].mean())
    taken: Floats = rise * (t - start) / (stop - start)
    return taken


def _error_of(
    t: Floats,
    i: Floats,
    ohms: Floats,
    noise: tuple[float, float],
    quiet: int,
    resistance_deviation: float | None,
    ends: End,
) -> Floats:
    """One deviation of the flux linkage all along, Wb, shape (n,)."""
    since = t - t[:quiet].mean()
    offset = math.hypot(noise[0], float(ohms[0]) * noise[1]) / math.sqrt(quiet) * since
    share = 0.01 * float(ohms[0]) if resistance_deviation is None else resistance_deviation
    if ends == "settled" and resistance_deviation is None:
        share = _settled_error(i, ohms, noise, quiet)
    charge = share * np.abs(_integral(t, i))
    step = _step(t)
    walk = math.hypot(noise[0], float(ohms[0]) * noise[1]) * np.sqrt(step * np.maximum(since, step))
    found: Floats = np.sqrt(offset**2 + charge**2 + walk**2)
    return found


def _settled_error(i: Floats, ohms: Floats, noise: tuple[float, float], quiet: int) -> float:
    """Of a resistance read off the settled end, ohm: by the noise of both channels and their offsets."""
    current = max(abs(float(i[-1])), 1e-300)
    return math.hypot(noise[0], float(ohms[-1]) * noise[1]) / current * math.sqrt(2.0 / quiet)
