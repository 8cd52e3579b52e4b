"""What makes a reading lie: computed where it can be, a caution where not."""

from __future__ import annotations

import cmath
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.errors import InvalidValue, refusal
from polefem.materials import MU0, Steel, skin_depth
from polefem.measured.prediction import Prediction
from polefem.measured.readings import Kind, Readings, unit_of
from polefem.params import Machine
from polefem.params.checks import positive
from polefem.units import deg

__all__ = [
    "CAUTIONS",
    "BothWays",
    "both_ways",
    "mark_sentences",
    "meter_sentences",
    "resistance_error",
    "shielded_share",
]

Floats = NDArray[np.float64]

CAUTIONS = (
    "Lock the rotor before current flows: it jumps into line with a torque that breaks fingers and levers, from any "
    "angle at which it is not aligned already.",
    "A coil at current holds energy. Give it a path to die away in (a diode across it) before you open a switch; let "
    "capacitors discharge, and measure that they have.",
    "A standing rotor cools nothing: a coil at its full current is too hot to touch within a minute or two. "
    "Read, switch "
    "off, let it cool, and read the resistance anew.",
    "Keep fingers out of the gap, and loose steel and tools away from poles that carry current.",
    "A supply that floats and is limited in current is safer than any that hangs on the mains.",
)

#: Copper, per kelvin about 20 degrees Celsius (IEC 60028; from memory).
COPPER_PER_KELVIN = 0.00393
#: What lies both ways is told from deviations where they alone give as much so seldom.
TOLD = 0.01
#: An inductance off by more than this is said to be.
NOTED = 0.02


def shielded_share(thickness: float, resistivity: float, mu_r: float, frequency: float) -> float:
    """What part of its permeability a sheet keeps at a frequency, its own eddy currents shielding its middle.

    thickness in m, resistivity in ohm m, frequency in Hz. The mean of the field across a sheet of thickness d in an
    even alternating field: the real part of tanh(x) / x, x = (1 + j) d / (2 delta), delta its skin depth (any text on
    eddy currents; from memory).

    >>> round(shielded_share(0.5e-3, 50e-8, 2000.0, 100.0), 3), round(shielded_share(5e-3, 50e-8, 2000.0, 1000.0), 3)
    (0.995, 0.05)
    """
    x = (1.0 + 1.0j) * thickness / (2.0 * skin_depth(frequency, resistivity, mu_r))
    return float((cmath.tanh(x) / x).real) if abs(x) < 300.0 else float((1.0 / x).real)


def meter_sentences(
    machine: Machine, frequency: float, prediction: Prediction, current: float
) -> tuple[str, ...]:
    """What an inductance bridge at a frequency (Hz) and a current (A) reads of each core, in words.

    For steel whose grade tells resistivity, at the permeability of its curve's beginning. A solid part is told by its
    skin depth: it is shielded at any frequency of a bridge.
    """
    positive("a meter has a frequency", "frequency", frequency, "Hz")
    said = []
    for name, steel in zip(("rotor", "stator"), machine.core_steels, strict=True):
        said += list(_of_core(name, steel, frequency))
    low = prediction.curve("inductance", np.zeros(1), np.full(1, current), {})
    high = prediction.curve("inductance", np.zeros(1), np.full(1, 3.0 * current), {})
    if abs(float(high[0] / low[0]) - 1.0) > NOTED:
        said.append(
            f"At {current:.3g} A the aligned inductance is still {1.0 - float(low[0] / high[0]):.0%} below "
            "that at three "
            "times the current: the steel's first permeability decides, which no data sheet promises. Read it at "
            "more current, or weigh it little."
        )
    return tuple(said)


def _of_core(name: str, steel: Steel, frequency: float) -> Iterator[str]:
    if steel.grade is None:
        return
    mu_r = 1.0 / (MU0 * float(steel.law.slope[0]))
    resistivity = steel.grade.resistivity.value
    depth = skin_depth(frequency, resistivity, mu_r)
    if steel.grade.thickness is None:
        yield (
            f"The {name} is solid: at {frequency:.4g} Hz a field reaches {depth * 1e3:.2g} mm into it. A "
            "bridge reads far "
            "less than the steel would carry; use a slow step of voltage, or weights on a lever."
        )
        return
    share = shielded_share(steel.grade.thickness.value, resistivity, mu_r, frequency)
    if share < 1.0 - NOTED:
        yield (
            f"Sheet of {steel.grade.thickness.value * 1e3:.3g} mm in the {name} keeps {share:.0%} of its "
            f"permeability at {frequency:.4g} Hz (skin depth {depth * 1e3:.2g} mm): measure at a lower "
            "frequency if the meter can."
        )


def mark_sentences(prediction: Prediction, points: Readings, offset: float = 0.5 * deg) -> tuple[str, ...]:
    """What a first mark that is off by an angle (rad) does to readings: the point that minds most, of each kind."""
    slopes = prediction.jacobian(points, {}, ("angle_offset",))[:, 0] * offset
    values = prediction.at(points, {})
    said = []
    kinds: list[Kind] = list(dict.fromkeys(points.kinds))
    for kind in kinds:
        own = np.flatnonzero(points.of(kind))
        worst = own[int(np.argmax(np.abs(slopes[own]) / points.deviations[own]))]
        angle = points.angles[worst] / deg
        unit, size = unit_of(kind)
        share = abs(float(slopes[worst])) / max(abs(float(values[worst])), 1e-300)
        moved = f"{share:.0%}" if share < 1.0 else f"{abs(float(slopes[worst])) / size:.2g} {unit}"
        if share > NOTED:
            said.append(
                f"A mark that is off by {offset / deg:.2g} deg moves the {kind} at {angle:.3g} deg by "
                f"{moved}: read at angles of both signs, so that the offset is told from all else."
            )
    return tuple(said)


@dataclass(frozen=True, eq=False)
class BothWays:
    """Readings taken both ways. readings: their means, with the deviations of means. halves: half of the difference,
    shape (n,): what the friction of a lever, or remanence, puts on each reading one way and takes from it the other."""

    readings: Readings
    halves: Floats

    def __post_init__(self) -> None:
        self.halves.flags.writeable = False

    @property
    def sentences(self) -> tuple[str, ...]:
        """How large what the means are free of was, of each kind, and whether it can be told from the deviations."""
        said = []
        for kind in dict.fromkeys(self.readings.kinds):
            own = self.readings.of(kind)
            unit, size = unit_of(kind)
            sizes = np.abs(self.halves[own]) / size
            # A half has the deviation of a mean.
            chance = float(
                scipy.stats.chi2.sf(
                    float(np.sum((self.halves[own] / self.readings.deviations[own]) ** 2)), int(own.sum())
                )
            )
            cause = "friction of the lever, or remanence" if kind == "torque" else "remanence"
            what = f"{kind} both ways: half of the difference is {sizes.mean():.2g} {unit} on average, up to "
            what += f"{sizes.max():.2g} {unit}"
            if chance < TOLD:
                said.append(f"{what}: {cause}. The means are free of it; a reading one way alone is not.")
            else:
                said.append(
                    f"{what}, no more than the stated deviations: no {cause.replace(', or', ' and no')} is seen."
                )
        return tuple(said)


def both_ways(one: Readings, other: Readings) -> BothWays:
    """Readings of the same points taken with the lever going up and coming down, or with the current one way and the
    other (a recording turned round by `Recording.reversed`), each as the size that was read.

    The mean is free of what does not turn with it; half of the difference says how large that was.
    Raises InvalidValue for readings of different points.
    """
    same = (
        one.kinds == other.kinds
        and np.allclose(one.angles, other.angles)
        and np.allclose(one.currents, other.currents)
    )
    if not same:
        rule, allowed = (
            "readings both ways are of the same points",
            "the same angles and currents in the same order",
        )
        raise InvalidValue(refusal(rule, "points", "others", allowed))
    places = tuple(f"{a} and {b}" for a, b in zip(one.places, other.places, strict=True))
    left_out = tuple(dict.fromkeys((*one.left_out, *other.left_out)))
    means = replace(
        one,
        values=(one.values + other.values) / 2,
        deviations=np.hypot(one.deviations, other.deviations) / 2,
        places=places,
        left_out=left_out,
    )
    return BothWays(means, (one.values - other.values) / 2)


def resistance_error(resistance: float, current: float, time: float, kelvin: float) -> float:
    """How far an integral of v - R i over a time (s) at a current (A) is off, Wb, where the copper (R in ohm, cold)
    warms by some kelvin and no one follows it: half of the warming, on the average.

    >>> round(resistance_error(1.0, 5.0, 0.5, 10.0) * 1e3, 1)  # mWb
    49.1
    """
    return 0.5 * COPPER_PER_KELVIN * kelvin * resistance * current * time
