"""Which points to measure: those that tell most about the causes, expected values with their bands, and what a meter
must resolve.

A point tells as much as its slopes in the causes are large against its meter's deviation. Of a grid of candidates a set
is chosen whose information, with that of the tolerances, has the largest determinant (a D-optimal choice, A. C.
Atkinson, A. N. Donev, Optimum Experimental Designs, 1992; V. V. Fedorov's exchange, 1972; both from memory): one point
after another, each that adds most, then points exchanged for better ones until no exchange helps. The determinant is
that of how small the causes' common ellipsoid of errors becomes, whatever units they are in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.errors import InvalidValue, refusal
from polefem.measured.causes import Tolerances
from polefem.measured.prediction import Prediction
from polefem.measured.readings import Kind, Readings
from polefem.params.checks import whole

__all__ = ["METERS", "MeasuringPlan", "Meter", "candidates", "d_optimal", "planned"]

Floats = NDArray[np.float64]

ROUNDS = 20
#: What a reading may resolve at most, as a part of the band that it is to narrow: it then adds 5 % to what is left.
RESOLVED = 1.0 / 3.0


@dataclass(frozen=True)
class Meter:
    """One deviation of a reading: a share of the value, and the least it can be (SI), added as squares."""

    share: float
    least: float

    def deviations(self, values: Floats) -> Floats:
        """Of readings of these values, of the same shape."""
        found: Floats = np.hypot(self.share * values, self.least)
        return found


#: Of a workshop's means, where nothing better is said (assumptions): a bridge of 1 %, a recorder of 8 bits, a luggage
#: scale on a lever of 200 mm, a hand meter on the idle phase.
METERS: dict[Kind, Meter] = {
    "inductance": Meter(0.01, 20e-6),
    "flux linkage": Meter(0.015, 0.5e-3),
    "torque": Meter(0.02, 0.03),
    "mutual inductance": Meter(0.02, 20e-6),
}


@dataclass(frozen=True, eq=False)
class MeasuringPlan:
    """What to measure, in the order of how much each point adds.

    points: with the expected values and the meters' deviations. bands: one deviation of what is expected, by the
    causes, shape (n,). resolutions: what the meter must resolve there, shape (n,), in the unit of the value. names:
    of the causes. tolerances: one deviation of each before, left: after these points are measured, shape (n_causes,).
    """

    points: Readings
    bands: Floats
    resolutions: Floats
    names: tuple[str, ...]
    tolerances: Floats
    left: Floats


def candidates(
    prediction: Prediction,
    kinds: Sequence[Kind],
    angles: Floats,
    currents: Mapping[Kind, Floats],
    meters: Mapping[Kind, Meter] = METERS,
) -> Readings:
    """Every point of a grid that could be measured: angles (rad) and currents (A) of each kind, with the expected value
    and its meter's deviation."""
    parts = [(kind, float(i), float(angle)) for kind in kinds for i in currents[kind] for angle in angles]
    if not parts:
        raise InvalidValue(
            refusal("a plan chooses among points", "candidates", "none", "a kind, angle and current")
        )
    count = len(parts)
    names = tuple(f"{kind} at {np.degrees(angle):.4g} deg, {i:.4g} A" for kind, i, angle in parts)
    theta, i = (np.array([part[at] for part in parts]) for at in (2, 1))
    ones = np.ones(count)
    bare = Readings(tuple(kind for kind, _, _ in parts), theta, i, ones, ones, names)
    values = prediction.at(bare, {})
    deviations = np.array(
        [
            float(meters[kind].deviations(np.array(value)))
            for kind, value in zip(bare.kinds, values, strict=True)
        ]
    )
    return Readings(bare.kinds, theta, i, values, deviations, names)


def planned(
    prediction: Prediction, among: Readings, count: int, tolerances: Tolerances | None = None
) -> MeasuringPlan:
    """The points of a grid that tell most about the causes that tolerances leave free.

    Raises InvalidValue for fewer candidates than are asked for.
    """
    allowed = tolerances or Tolerances()
    names = allowed.free
    sizes = np.array([getattr(allowed, name) for name in names])
    slopes = prediction.jacobian(among, {}, names) * sizes
    rows = slopes / among.deviations[:, None]
    at = d_optimal(rows, count, np.eye(len(names)))
    bands = np.sqrt((slopes[at] ** 2).sum(axis=1))
    left = np.sqrt(np.diag(np.linalg.inv(np.eye(len(names)) + rows[at].T @ rows[at])))
    return MeasuringPlan(among.taken(at), bands, RESOLVED * bands, names, sizes, left * sizes)


def d_optimal(rows: Floats, count: int, known: Floats) -> NDArray[np.int64]:
    """Which rows to take, shape (count,), each once, so that det(known + sum of row row^T) is large.

    rows: shape (n_candidates, n_causes), slopes over deviations. known: what is known beforehand, shape (n_causes,
    n_causes), positive definite. By the best next one, then by exchanges until none helps.
    Raises InvalidValue for a count that is not from 1 to the number of candidates.
    """
    whole("a plan has points", "count", count)
    if count > len(rows):
        rule, allowed = "a plan chooses among its candidates", f"up to {len(rows)}"
        raise InvalidValue(refusal(rule, "count", count, allowed))
    taken: list[int] = []
    spread: Floats = np.asarray(np.linalg.inv(known), dtype=np.float64)
    for _ in range(count):
        gains = np.einsum("ij,jk,ik->i", rows, spread, rows)
        gains[taken] = -np.inf
        taken.append(int(np.argmax(gains)))
        spread = _with(spread, rows[taken[-1]])
    for _ in range(ROUNDS):
        if not _exchanged(rows, taken, known):
            break
    return np.array(taken)


def _with(spread: Floats, row: Floats) -> Floats:
    """The inverse with one more row, by Sherman and Morrison."""
    along = spread @ row
    found: Floats = spread - np.outer(along, along) / (1.0 + row @ along)
    return found


def _exchanged(rows: Floats, taken: list[int], known: Floats) -> bool:
    """Put the best candidate in the place of each point taken, where that helps; whether any did."""
    any_better = False
    for place in range(len(taken)):
        others = rows[[at for k, at in enumerate(taken) if k != place]]
        spread = np.linalg.inv(known + others.T @ others)
        gains = np.einsum("ij,jk,ik->i", rows, spread, rows)
        own = gains[taken[place]]
        gains[taken] = -np.inf
        best = int(np.argmax(gains))
        if gains[best] > own * (1.0 + 1e-9):
            taken[place], any_better = best, True
    return any_better
