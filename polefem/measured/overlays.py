"""The numbers of a picture that lays readings over their prediction: points with bars, curves with bands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.measured.causes import Tolerances
from polefem.measured.correction import Correction
from polefem.measured.prediction import Prediction
from polefem.measured.readings import KINDS, Kind, Readings, unit_of
from polefem.units import deg

__all__ = ["Overlay", "Traced", "overlays"]

Floats = NDArray[np.float64]

FINE = 91
#: Curves in one picture, at most; more of them hide each other.
MOST = 6


@dataclass(frozen=True, eq=False)
class Traced:
    """One curve and the readings on it. label: of the curve. x, predicted, bands: in the picture's units, shape (n,),
    as drawn and one deviation of it. corrected: the same as corrected, None where nothing was. points: x, value and
    deviation of each reading, shape (3, m); their x is that of the mark plus what the curve's angle is off by."""

    label: str
    x: Floats
    predicted: Floats
    bands: Floats
    corrected: Floats | None
    points: Floats


@dataclass(frozen=True, eq=False)
class Overlay:
    """One picture: a kind of reading. x_name, y_name: with units."""

    kind: Kind
    x_name: str
    y_name: str
    curves: tuple[Traced, ...]


def overlays(
    drawn: Prediction, readings: Readings, tolerances: Tolerances, correction: Correction | None = None
) -> tuple[Overlay, ...]:
    """A picture for each kind that was read: inductance, torque and mutual inductance over angle, flux linkage over
    current. drawn: the prediction as drawn."""
    return tuple(
        _overlay(kind, drawn, readings, tolerances, correction) for kind in KINDS if readings.of(kind).any()
    )


def _overlay(
    kind: Kind, drawn: Prediction, readings: Readings, tolerances: Tolerances, correction: Correction | None
) -> Overlay:
    own = readings.taken(readings.of(kind))
    unit, size = unit_of(kind)
    over_current = kind == "flux linkage"
    held = np.round(own.angles / deg, 3) if over_current else np.round(own.currents, 6)
    curves = []
    for level in np.unique(held)[:MOST]:
        points = own.taken(held == level)
        x, traced = _places(points, over_current, float(level), drawn)
        values, bands = _with_bands(drawn, traced, tolerances)
        after = None
        if correction is not None:
            after = correction.prediction.at(traced, correction.found, correction.turns) / size
        at = points.currents if over_current else points.angles / deg
        read = np.stack([at, points.values / size, points.deviations / size])
        label = f"{level:.4g} deg" if over_current else f"{level:.4g} A"
        curves.append(Traced(label, x, values / size, bands / size, after, read))
    x_name = "current (A)" if over_current else "angle of the mark (deg)"
    return Overlay(kind, x_name, f"{kind} ({unit})", tuple(curves))


def _places(points: Readings, over_current: bool, level: float, drawn: Prediction) -> tuple[Floats, Readings]:
    """Where a curve is traced, in the picture's units, and as readings."""
    if over_current:
        x = np.linspace(0.02, 1.05, FINE) * float(points.currents.max())
        x = x[x <= 0.999 * float(drawn.full.currents[-1])]
        angles, currents = np.full(x.size, level * deg), x
    else:
        span = max(float(np.abs(points.angles).max()), 10 * deg) * 1.05
        angles = np.linspace(-span if points.angles.min() < 0 else 0.0, span, FINE)
        x, currents = angles / deg, np.full(FINE, float(points.currents[0]))
    ones = np.ones(x.size)
    return x, Readings((points.kinds[0],) * x.size, angles, currents, ones, ones, ("curve",) * x.size)


def _with_bands(drawn: Prediction, traced: Readings, tolerances: Tolerances) -> tuple[Floats, Floats]:
    names = tolerances.free
    sizes: Mapping[str, float] = {name: getattr(tolerances, name) for name in names}
    slopes = drawn.jacobian(traced, {}, names) * np.array(list(sizes.values()))
    bands = np.sqrt((slopes**2).sum(axis=1) + drawn.model_deviations(traced) ** 2)
    return drawn.at(traced, {}), bands
