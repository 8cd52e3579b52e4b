"""Designs that nothing beats: each is better than any other in some objective."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from polefem.study import Record, check_figure, cost

__all__ = ["pareto_set"]


def pareto_set(records: Sequence[Record], objectives: Sequence[str]) -> tuple[Record, ...]:
    """The records that no other equals or betters in every objective while bettering one; in order of the first
    objective.

    Torques and torque per loss are wanted high, all else low. Records without one of the figures are left out.

    Raises InvalidValue for a figure that records do not have.
    """
    for objective in objectives:
        check_figure("objectives", objective)
    known = [(record, _costs(record, objectives)) for record in records if record.figures is not None]
    known = [(record, costs) for record, costs in known if np.isfinite(costs).all()]
    if not known:
        return ()
    table = np.array([costs for _, costs in known])
    order = np.lexsort(table.T[::-1])
    best: list[int] = []
    for at in order:  # a design can only be beaten by one before it in this order
        front = table[best]
        if not ((front <= table[at]).all(axis=1) & (front < table[at]).any(axis=1)).any():
            best.append(int(at))
    return tuple(known[at][0] for at in best)


def _costs(record: Record, objectives: Sequence[str]) -> NDArray[np.float64]:
    if record.figures is None:
        return np.full(len(objectives), np.nan)
    return np.array([cost(record.figures, objective) for objective in objectives], dtype=float)
