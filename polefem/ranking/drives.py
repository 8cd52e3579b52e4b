"""The same designs ordered under several drives, and where the order changes from one to another."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.ranking.order import Ranking, rank
from polefem.study import Figures, Limit, OperatingPointFigures, Record, braking, figure_words

__all__ = ["IDEAL", "RAMPED", "DriveOrders", "orders_under_drives"]

IDEAL, RAMPED = "ideal", "ramped"
"""What the rectangular current of a study is called beside the names of its operating points."""


_INSTEAD = dict.fromkeys(("power_in", "power_out", "efficiency", "link_current"), "mean_torque")


@dataclass(frozen=True, eq=False)
class DriveOrders:
    """One ranking for each drive, the rectangular current first.

    figure: that orders. drives: by name. rankings: one for each. names: of the designs that are ranked, in the order
    of the first drive. positions: ndarray, shape (n_designs, n_drives), from 1; nan where a design has no figure
    under a drive.
    """

    figure: str
    drives: tuple[str, ...]
    rankings: tuple[Ranking, ...]
    names: tuple[str, ...]
    positions: NDArray[np.float64]

    def __post_init__(self) -> None:
        self.positions.flags.writeable = False

    @property
    def words(self) -> str:
        """The figure in words, of a generator where all are braked."""
        first = self.rankings[0]
        return figure_words(self.figure, braking(first.ordered, first.by))

    def swapped(self, drive: int) -> tuple[tuple[str, str], ...]:
        """Pairs of designs that change places from the first drive to this one: the one now ahead is named first."""
        return tuple(
            (self.names[b], self.names[a])
            for a, b in self._pairs(drive)
            if self.positions[b, drive] < self.positions[a, drive]
        )

    def compared(self, drive: int) -> int:
        """How many pairs have positions under the first drive and under this one."""
        return sum(1 for _ in self._pairs(drive))

    def winner(self, drive: int) -> str | None:
        """The first under a drive; None where no design has a figure there."""
        first = np.flatnonzero(self.positions[:, drive] == 1)
        return self.names[int(first[0])] if first.size else None

    def _pairs(self, drive: int) -> Iterator[tuple[int, int]]:
        known = np.flatnonzero(np.isfinite(self.positions[:, [0, drive]]).all(axis=1)).tolist()
        return itertools.combinations(known, 2)

    def __repr__(self) -> str:
        firsts = ", ".join(f"{drive}: {self.winner(k)!r}" for k, drive in enumerate(self.drives))
        return f"DriveOrders(by {self.figure}, {len(self.names)} designs, first under {firsts})"


def orders_under_drives(
    records: Sequence[Record],
    basis: str,
    conditions: Mapping[str, str],
    by: str = "ripple",
    limits: Sequence[Limit] = (),
    ramped: bool = False,
) -> DriveOrders:
    """Order records by one figure under the rectangular current and under each operating point.

    basis: of the study, in words. conditions: what is held equal at each point, in words, by the point's name.
    by: a figure that both have, such as "ripple"; for what a bridge does not have the ripple is taken, and in place of
    power and efficiency the mean torque of the rectangular current. ramped: whether that has ramps.
    """
    of = by.rpartition(".")[2]
    of = of if of in OperatingPointFigures.names() else "ripple"
    ideal_figure = of if of in Figures.names() else _INSTEAD.get(of, "ripple")
    own = (
        (RAMPED, f"rectangular current with ramps, {basis}")
        if ramped
        else (IDEAL, f"ideal rectangular current, {basis}")
    )
    asked = [(own[0], ideal_figure, own[1])]
    asked += [(name, f"{name}.{of}", said) for name, said in conditions.items()]
    rankings = tuple(rank(records, said, figure, limits) for _, figure, said in asked)
    names = tuple(record.name for record in rankings[0].ordered)
    positions = np.full((len(names), len(asked)), np.nan)
    for k, ranking in enumerate(rankings):
        for at, record in enumerate(ranking.ordered, start=1):
            positions[names.index(record.name), k] = at
    return DriveOrders(of, tuple(name for name, *_ in asked), rankings, names, positions)
