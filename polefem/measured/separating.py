"""Which further measurement would tell apart what the readings could not: one more point, or one beside the bench.

What a row of slopes g, over its deviation, does to a covariance C is known before it is measured: C - C g g^T C /
(1 + g^T C g). The measurement whose row leaves two confused causes the smallest ellipse, or a silent one the smallest
deviation, is the one to make.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from polefem.measured.causes import label, shown_cause
from polefem.measured.correction import Correction
from polefem.measured.readings import Readings
from polefem.measured.words import CONFUSED, SILENT
from polefem.units import deg, mm

__all__ = ["BESIDE", "Beside", "advice"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Beside:
    """A measurement beside the bench that gives one cause by itself. deviation: one, SI, as a workshop reaches it (an
    assumption)."""

    cause: str
    deviation: float
    words: str


BESIDE = (
    Beside("air_gap", 0.01 * mm, "the gap at eight places by feeler gauges, rotor in its bearings"),
    Beside("stacking_factor", 0.003, "the stack weighed: its mass over length, area of a sheet and density"),
    Beside(
        "angle_offset", 0.1 * deg, "the angles on either side of aligned where the inductance is the same"
    ),
    Beside("knee", 0.1, "a coil round the stator's yoke alone, rotor out: the field strength at 0.8 T"),
    Beside("saturation", 0.004, "a ring of the same batch with two windings: the polarisation at 10 kA/m"),
    Beside(
        "ends",
        0.1,
        "two stacks of different length, or the stack with half its sheets: what does not go with length",
    ),
)


def advice(correction: Correction, among: Readings | None = None) -> tuple[str, ...]:
    """A sentence for each confused pair and each silent cause: which measurement would help most.

    among: points of the bench that could be measured too, with their meters' deviations.
    """
    names, covariance = correction.names, correction.covariance
    allowed = np.array([getattr(correction.tolerances, name) for name in names])
    scaled = covariance / np.outer(allowed, allowed)
    rows, words = _rows(correction, among, allowed)
    said = []
    for one, two in combinations(range(len(names)), 2):
        if abs(correction.correlations[one, two]) >= CONFUSED:
            best = int(np.argmin([_area(_measured(scaled, row), one, two) for row in rows]))
            said.append(_sentence(f"{label(names[one])} and {label(names[two])} apart", words[best]))
    for at in np.flatnonzero(correction.deviations / allowed > SILENT):
        left = [_measured(scaled, row)[at, at] for row in rows]
        best = int(np.argmin(left))
        how = shown_cause(names[at])
        after = how.text(float(np.sqrt(left[best])) * allowed[at])
        said.append(_sentence(f"the {label(names[at])}", f"{words[best]} (to +- {after})"))
    return tuple(dict.fromkeys(said))


def _sentence(what: str, how: str) -> str:
    return f"To tell {what}: {how}."


def _rows(correction: Correction, among: Readings | None, allowed: Floats) -> tuple[Floats, list[str]]:
    """Slopes over deviations in causes over their tolerances, a row each measurement, and what each is."""
    names = correction.names
    beside = [own for own in BESIDE if own.cause in names]
    rows = [
        np.eye(len(names))[names.index(own.cause)] * allowed[names.index(own.cause)] / own.deviation
        for own in beside
    ]
    words = [own.words for own in beside]
    if among is not None and len(among):
        slopes = correction.prediction.jacobian(among, correction.found, names)
        rows += list(slopes * allowed / among.deviations[:, None])
        words += list(among.places)
    return np.array(rows), words


def _measured(covariance: Floats, row: Floats) -> Floats:
    along = covariance @ row
    found: Floats = covariance - np.outer(along, along) / (1.0 + row @ along)
    return found


def _area(covariance: Floats, one: int, two: int) -> float:
    return float(np.linalg.det(covariance[np.ix_([one, two], [one, two])]))
