"""What each field does to each figure: its slope at a design, and its share of all change over a range.

Slopes are those of the design's map where it has them, else central differences. Shares are Sobol's indices (I. M.
Sobol, Math. Comput. Simul. 55 (2001) 271-280; by scipy.stats.sobol_indices) of a Gaussian process through a sample of
designs; how well the process predicts designs it has not seen is said beside them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.errors import InvalidValue, refusal, spelled
from polefem.params.checks import whole
from polefem.params.fields import field_value
from polefem.study.design import Design, of_plan
from polefem.study.objectives import check_figure
from polefem.study.record import Record
from polefem.study.sampling import Range, SobolPoints, check_ranges
from polefem.study.surrogate import fit
from polefem.study.tolerances import Run

__all__ = [
    "Sensitivities",
    "Slopes",
    "SobolIndices",
    "global_sensitivity",
    "sensitivity_of_sample",
]

Array = NDArray[np.float64]
_SAMPLES = 2048


@spelled
@dataclass(frozen=True)
class Sensitivities:
    """What is asked: over which ranges, of which figures, with how many designs for the shares.

    The slopes are taken at the base design; where they must be differences, over a fiftieth of each range to either
    side.
    """

    ranges: Mapping[str, Range]
    figures: tuple[str, ...] = ("ripple", "mean_torque")
    points: int = 64
    seed: int = 0

    def __post_init__(self) -> None:
        check_ranges(self.ranges, self.seed)
        whole("points are counted", "points", self.points)
        if not self.figures:
            raise InvalidValue(refusal("something is sensitive", "figures", "empty", "one or more"))
        for figure in self.figures:
            check_figure("figures", figure)


@dataclass(frozen=True, eq=False)
class Slopes:
    """Local slopes. fields, figures: names. slopes: shape (n_fields, n_figures), figure's unit over SI unit of the
    field; from one side where the other cannot be built, NaN where neither can. per_cent: change of the figure in per
    cent for one per cent of the field's value, of the same shape."""

    fields: tuple[str, ...]
    figures: tuple[str, ...]
    slopes: Array
    per_cent: Array


@dataclass(frozen=True, eq=False)
class SobolIndices:
    """Sobol's indices. first: shape (n_fields, n_figures): share of the figure's variance due to the field alone.
    total: with all it does together with others. q_squared: shape (n_figures,): what the process explains of designs
    left out (Q squared). designs: how many the process goes through."""

    fields: tuple[str, ...]
    figures: tuple[str, ...]
    first: Array
    total: Array
    q_squared: Array
    designs: int


def global_sensitivity(study: str, design: Design, asked: Sensitivities, run: Run) -> SobolIndices:
    """Sobol's indices over the ranges, from a sample of designs round the given one."""
    variants = list(SobolPoints(asked.ranges, asked.points, asked.seed))
    sample = [replace(design, name=v.name, changes={**design.changes, **v.changes}) for v in variants]
    return sensitivity_of_sample(asked, run(f"{study}: sample", sample))


def sensitivity_of_sample(asked: Sensitivities, records: Sequence[Record]) -> SobolIndices:
    """Sobol's indices from records that were computed already, whose changes hold every field of the ranges.

    Raises InvalidValue for fewer solved designs than four a field.
    """
    solved = [record for record in records if record.figures is not None]
    if len(solved) < 4 * len(asked.ranges):
        rule = "a sample must be large enough to be smoothed"
        raise InvalidValue(refusal(rule, "solved designs", len(solved), f"{4 * len(asked.ranges)} or more"))
    spans = asked.ranges.items()
    x = np.array([[(r.changes[n] - s.low) / (s.high - s.low) for n, s in spans] for r in solved])
    models = [fit(x, np.array([figures_of(r, (figure,))[0] for r in solved])) for figure in asked.figures]
    evenly: Any = (
        scipy.stats.uniform()
    )  # on the unit interval; the stubs do not see that it is a distribution
    indices = scipy.stats.sobol_indices(
        func=lambda u: np.array([model.at(u.T)[0] for model in models]),
        n=_SAMPLES,
        dists=[evenly] * len(asked.ranges),
        rng=np.random.default_rng(asked.seed),
    )
    shape = (len(models), len(asked.ranges))  # scipy leaves out an axis of length one
    first, total = (np.reshape(index, shape).T for index in (indices.first_order, indices.total_order))
    q_squared = np.array([model.q_squared for model in models])
    return SobolIndices(tuple(asked.ranges), asked.figures, first, total, q_squared, len(solved))


def value_of(design: Design, name: str) -> float:
    """A field of a design's machine or plan."""
    return float(field_value(design.plan if of_plan(name) else design.machine, name))


def figures_of(record: Record, figures: Sequence[str]) -> Array:
    """Figures of a record by name, NaN where it has none."""
    if record.figures is None:
        return np.full(len(figures), np.nan)
    return np.array([record.figures.value(figure) for figure in figures], dtype=float)
