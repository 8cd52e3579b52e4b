"""Readings beside their prediction: how far apart, and whether what is known of both explains it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.measured.causes import Tolerances
from polefem.measured.prediction import Prediction
from polefem.measured.readings import Readings

__all__ = ["Comparison", "compared"]

Floats = NDArray[np.float64]

#: A point stands out where one so far off would come by chance in one of twenty such tables.
STANDS_OUT = 0.05


@dataclass(frozen=True, eq=False)
class Comparison:
    """Readings and what was predicted of them.

    predicted: shape (n,). bands: one deviation of the prediction by its causes and its mesh, shape (n,). covariance: of
    the differences read - predicted by all that is stated, shape (n, n): meter, mesh and causes; of a prediction that
    was fitted to these readings, meter and mesh alone. squares: of what is left after a fit, what the causes moved by
    included, whose mean a reading should be 1; None where nothing was fitted.
    """

    readings: Readings
    predicted: Floats
    bands: Floats
    covariance: Floats
    squares: float | None = None

    @property
    def differences(self) -> Floats:
        """Read less predicted, shape (n,)."""
        found: Floats = self.readings.values - self.predicted
        return found

    @property
    def in_deviations(self) -> Floats:
        """Differences over their stated deviations, meter and prediction together, shape (n,)."""
        found: Floats = self.differences / np.sqrt(np.diag(self.covariance))
        return found

    @property
    def of_meter_alone(self) -> float:
        """Mean square of the differences in the meter's deviations alone."""
        return float(np.mean((self.differences / self.readings.deviations) ** 2))

    @property
    def reduced_chi_square(self) -> float:
        """Square of the differences in all that is stated, correlations and all, a reading: about 1 where the stated
        uncertainties explain them."""
        if self.squares is not None:
            return self.squares / len(self.readings)
        whitened = np.linalg.solve(np.linalg.cholesky(self.covariance), self.differences)
        return float(np.mean(whitened**2))

    @property
    def chance(self) -> float:
        """That differences as large or larger come about by the stated uncertainties."""
        count = len(self.readings)
        return float(scipy.stats.chi2.sf(self.reduced_chi_square * count, count))

    @property
    def outliers(self) -> NDArray[np.bool_]:
        """Points that stand out of the others, shape (n,): by chance in one of twenty tables of this length."""
        count = len(self.readings)
        limit = float(scipy.stats.norm.isf(STANDS_OUT / (2 * count)))
        found: NDArray[np.bool_] = np.abs(self.in_deviations) > limit
        return found

    @property
    def sentences(self) -> tuple[str, ...]:
        """How well they agree, in words."""
        chi, count = self.reduced_chi_square, len(self.readings)
        said = f"{count} readings, reduced chi-square {chi:.3g}: "
        if self.chance < 0.01:
            said += "stated uncertainties do not explain the differences; a cause is missing or a deviation too small"
        elif self.chance > 0.99:
            said += "the differences are smaller than stated; the deviations are larger than they need be"
        else:
            said += "the stated uncertainties explain the differences"
        alone = f"With the meter's deviations alone it would be {self.of_meter_alone:.3g}."
        at = np.flatnonzero(self.outliers)
        worst = [f"{self.readings.places[k]} ({self.in_deviations[k]:+.1f} deviations)" for k in at]
        more = (f"Standing out: {', '.join(worst)}. Measure them again before any correction is believed.",)
        return (f"{said}.", alone, *(more if worst else ()))


def compared(
    prediction: Prediction,
    readings: Readings,
    values: Mapping[str, float] | None = None,
    covariance: Floats | None = None,
    tolerances: Tolerances | None = None,
    turns: int | None = None,
    mesh_error: bool = True,
    squares: float | None = None,
) -> Comparison:
    """Readings beside a prediction with causes at some values, by default those that it is for.

    covariance: of the causes that `tolerances` leaves free, in their order; by default the tolerances' own squares.
    turns: a pole, where they are not the prediction's. squares: as in `Comparison`, where the values were fitted.
    """
    allowed = tolerances or Tolerances()
    now, names = {**prediction.values, **(values or {})}, allowed.free
    predicted = prediction.at(readings, now, turns)
    slopes = prediction.jacobian(readings, now, names)
    own = np.diag([getattr(allowed, name) ** 2 for name in names]) if covariance is None else covariance
    spread = slopes @ own @ slopes.T
    mesh = prediction.model_deviations(readings) if mesh_error else np.zeros(len(readings))
    bands = np.sqrt(np.diag(spread) + mesh**2)
    known = np.diag(readings.deviations**2 + mesh**2)
    if squares is not None:
        return Comparison(readings, predicted, bands, known, squares)
    return Comparison(readings, predicted, bands, spread + known)
