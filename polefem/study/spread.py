"""Ripple over what a workshop delivers: the mean, and so many deviations of it, from slopes of the torque.

A design whose fields are off by draws d has the torques T + S d, to first order, and its ripple is that of these. The
draws are a fixed set of Sobol's points as normal deviates, each with its opposite (scipy.stats.qmc.Sobol,
scipy.special.ndtri), so that the same design always has the same spread and small shifts of all draws cancel.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.params.quantity import quantity

__all__ = ["DRAWS", "NOMINAL", "Spread", "spread_of"]

Array = NDArray[np.float64]

#: Draws of what a workshop delivers; half of them are the opposites of the others.
DRAWS = 32


@dataclass(frozen=True, eq=False)
class Spread:
    """What draws of a workshop do to torques.

    shifts: of the torque over the mean, shape (n_draws, n_angles). deviations: how many of them count beside the mean.
    ways: of turning, whose torques stand one after the other over the angles; of a draw the larger ripple counts.
    """

    shifts: Array
    deviations: float = field(metadata=quantity())
    ways: int = 1

    def __post_init__(self) -> None:
        self.shifts.flags.writeable = False

    def ripples(self, torque: Array) -> Array:
        """The ripple of each draw, shape (n_draws,), about torques over the mean, shape (n_angles,)."""
        found: Array = np.ptp((torque + self.shifts).reshape(len(self.shifts), self.ways, -1), axis=2).max(
            axis=1
        )
        return found

    def value(self, torque: Array) -> float:
        """Mean ripple and so many deviations."""
        ripples = self.ripples(torque)
        return float(ripples.mean() + self.deviations * ripples.std())

    def weights(self, torque: Array) -> Array:
        """What each draw's ripple weighs in the value, to first order, shape (n_draws,); none less than nothing.

        Those below zero would pay for a ripple to rise, which no straight line ends.
        """
        ripples = self.ripples(torque)
        size = float(ripples.std())
        if size < 1e-12:
            return np.full(len(ripples), 1.0 / len(ripples))
        share: Array = (1.0 + self.deviations * (ripples - ripples.mean()) / size) / len(ripples)
        return share.clip(min=0.0)


NOMINAL = Spread(np.zeros((1, 1)), 0.0)
"""Of a design that is made exactly as drawn."""


def spread_of(slopes: Sequence[Array], sizes: Sequence[float], deviations: float) -> Spread:
    """The spread of fields that are off by normal deviates.

    slopes: of the torque over the mean, each of shape (n_angles,), per unit of a field. sizes: one deviation of each
    field, in that unit.
    """
    moves = np.stack(slopes) * np.asarray(sizes)[:, None]
    half = scipy.stats.qmc.Sobol(len(sizes), rng=np.random.default_rng(0)).random_base2(
        round(math.log2(DRAWS // 2))
    )
    draws = np.asarray(scipy.special.ndtri(half))
    shifts: Array = np.concatenate([draws, -draws]) @ moves
    return Spread(shifts, deviations)
