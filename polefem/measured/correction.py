"""The few causes that explain what was read: weighted least squares, with what was known beforehand as its own rows.

Least is the sum of ((read - predicted) / deviation)^2 and of ((cause - drawn) / tolerance)^2 over the causes that are
free; turns are tried one whole number after another. Where the causes' slopes carry no further the prediction is made
anew about what was found (Gauss and Newton's way), until nothing moves by more than a fifth of its deviation. Values,
deviations and correlations are those of the linear model at the end: the inverse of J^T J, rows of tolerances included.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.errors import InvalidValue, refusal
from polefem.measured.causes import Tolerances, bounds_of, changed_machine
from polefem.measured.comparing import Comparison, compared
from polefem.measured.prediction import ANGLES, Prediction, Predictor
from polefem.measured.readings import Readings
from polefem.params import Machine, MeshSpec

__all__ = ["Correction", "correct", "fitted"]

Floats = NDArray[np.float64]

ROUNDS = 4
MOVED = 0.2  # of a deviation, less than which nothing is predicted anew
LIKELY = 0.95  # the chance above which a count of turns is taken for known


@dataclass(frozen=True, eq=False)
class Correction:
    """What the readings say of the causes.

    names: of the causes that were free, turns apart. values: SI, shape (n,). covariance: shape (n, n). drawn: of every
    cause. turns: a pole, the likeliest. chances: of each number of turns that was tried. before, after: readings beside
    the machine as drawn and as corrected. prediction: about the corrected values. rounds: how often it was made anew.
    """

    names: tuple[str, ...]
    values: Floats
    covariance: Floats
    drawn: Mapping[str, float]
    tolerances: Tolerances
    turns: int
    chances: Mapping[int, float]
    before: Comparison
    after: Comparison
    prediction: Prediction
    rounds: int

    @property
    def found(self) -> dict[str, float]:
        """Every cause by name: as found, or as drawn where it was held."""
        return {**self.drawn, **dict(zip(self.names, self.values.tolist(), strict=True))}

    @property
    def deviations(self) -> Floats:
        """One of each cause, shape (n,)."""
        found: Floats = np.sqrt(np.diag(self.covariance))
        return found

    @property
    def correlations(self) -> Floats:
        """Of the causes with each other, shape (n, n)."""
        found: Floats = self.covariance / np.outer(self.deviations, self.deviations)
        return found

    def machine(self, drawn: Machine) -> Machine:
        """The corrected machine; the angle offset and the ends are no part of it."""
        return changed_machine(drawn, self.found, self.turns)


def correct(
    machine: Machine,
    readings: Readings,
    tolerances: Tolerances | None = None,
    *,
    mesh: MeshSpec | str | None = None,
    mesh_error: bool = True,
    angle_points: int = ANGLES,
    tell: Callable[[str], None] = lambda text: None,
) -> Correction:
    """The causes that explain readings of a machine best, from what is drawn and its tolerances.

    mesh: as `flux_map` takes it. mesh_error: whether the field's own estimated error counts among the deviations.
    angle_points: of the map, over half a pitch. tell: told what is being done.

    Raises InvalidValue for no readings or tolerances that hold everything, and what `flux_map` raises.
    """
    allowed = tolerances or Tolerances()
    predictor = Predictor.for_readings(machine, readings, allowed, mesh, angle_points)
    tell("the machine as drawn")
    return fitted(
        predictor.drawn, readings, allowed, again=predictor.corrected, mesh_error=mesh_error, tell=tell
    )


def fitted(
    prediction: Prediction,
    readings: Readings,
    tolerances: Tolerances,
    *,
    drawn: Mapping[str, float] | None = None,
    again: Callable[[Mapping[str, float]], Prediction] | None = None,
    mesh_error: bool = True,
    tell: Callable[[str], None] = lambda text: None,
) -> Correction:
    """As `correct`, from a prediction of the machine as drawn. again: makes a prediction about other values; without it
    the slopes at the drawn ones are taken to hold. drawn: where the prediction is for other values."""
    names = tolerances.free
    if not len(readings) or not names:
        rule, found = (
            "a correction has readings and a cause that is free",
            f"{len(readings)} readings, {len(names)} free",
        )
        raise InvalidValue(refusal(rule, "of them", found, "one of each or more"))
    as_drawn = dict(drawn or prediction.values)
    before = compared(prediction, readings, as_drawn, tolerances=tolerances, mesh_error=mesh_error)
    mesh = prediction.model_deviations(readings) if mesh_error else np.zeros(len(readings))
    deviations = np.hypot(readings.deviations, mesh)
    latest, rounds = prediction, 1
    while True:
        problem = _Problem(latest, readings, deviations, tolerances, as_drawn, names)
        fits = {count: problem.solved(count) for count in _counts(prediction.turns, tolerances.turns)}
        turns = max(fits, key=lambda count: fits[count].evidence)
        best = fits[turns]
        start = np.array([latest.values[name] for name in names])
        of_map = np.array([name in latest.slopes for name in names])
        moved = np.abs(best.values - start) / np.sqrt(np.diag(best.covariance)) * of_map
        if again is None or rounds == ROUNDS or moved.max(initial=0.0) < MOVED:
            break
        tell(f"the machine as corrected, round {rounds}")
        latest, rounds = again(dict(zip(names, best.values.tolist(), strict=True))), rounds + 1
    values = {**as_drawn, **dict(zip(names, best.values.tolist(), strict=True))}
    after = compared(latest, readings, values, best.covariance, tolerances, turns, mesh_error, best.squares)
    chances = _chances({count: fit.evidence for count, fit in fits.items()})
    return Correction(
        names,
        best.values,
        best.covariance,
        as_drawn,
        tolerances,
        turns,
        chances,
        before,
        after,
        latest,
        rounds,
    )


def _counts(drawn: int, off: int) -> range:
    return range(max(1, drawn - off), drawn + off + 1)


def _chances(evidence: Mapping[int, float]) -> dict[int, float]:
    most = max(evidence.values())
    weights = {count: float(np.exp(own - most)) for count, own in evidence.items()}
    return {count: weight / sum(weights.values()) for count, weight in weights.items()}


@dataclass(frozen=True, eq=False)
class _Fit:
    """values, covariance: of the causes. squares: what is left of readings and tolerances. evidence: logarithm of how
    likely the readings are, but for a constant, with the causes left open (Laplace's way)."""

    values: Floats
    covariance: Floats
    squares: float
    evidence: float


@dataclass(frozen=True, eq=False)
class _Problem:
    """Least squares in the causes over their tolerances, so that each is of the size of 1."""

    prediction: Prediction
    readings: Readings
    deviations: Floats
    tolerances: Tolerances
    drawn: Mapping[str, float]
    names: tuple[str, ...]

    def solved(self, turns: int) -> _Fit:
        """The causes with a number of turns a pole."""
        middle = np.array([self.drawn[name] for name in self.names])
        scale = np.array([getattr(self.tolerances, name) for name in self.names])

        def rows(x: Floats) -> Floats:
            values = dict(zip(self.names, (middle + scale * x).tolist(), strict=True))
            off = (self.prediction.at(self.readings, values, turns) - self.readings.values) / self.deviations
            return np.concatenate([off, x])

        bounds = np.array([bounds_of(name, own) for name, own in zip(self.names, middle, strict=True)]).T
        low, high = (bounds - middle) / scale
        start = np.clip(np.zeros(len(self.names)), low + 1e-6, high - 1e-6)
        found = scipy.optimize.least_squares(rows, start, bounds=(low, high), jac="2-point")
        jacobian = np.asarray(found.jac)
        normal = jacobian.T @ jacobian
        covariance = np.linalg.inv(normal)
        evidence = -float(found.cost) - 0.5 * float(np.linalg.slogdet(normal)[1])
        return _Fit(
            middle + scale * found.x, covariance * np.outer(scale, scale), 2.0 * float(found.cost), evidence
        )
