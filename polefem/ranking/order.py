"""The order of a study's designs by one figure, with those that have none apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from polefem.study import NEXT_REASON, Limit, Record, Status, broken_limits, check_figure, cost

__all__ = ["Ranking", "rank"]


_NO_FIGURE = "no figure"


@dataclass(frozen=True, eq=False)
class Ranking:
    """Records in order. by: the figure that orders them. basis: what is equal among them, in words.

    ordered: with figures that keep all limits, best first. infeasible: with figures, but beyond a limit, with which
    and by how much, in words, or not to be driven at the operating point that orders. unsolved: refused, failed and
    lost ones.
    """

    by: str
    basis: str
    ordered: tuple[Record, ...]
    unsolved: tuple[Record, ...]
    infeasible: tuple[tuple[Record, str], ...] = ()

    @property
    def unranked(self) -> tuple[tuple[Record, str, str], ...]:
        """Every design without a place: the record, what became of it ("is outside the limits"), and why."""
        outside = [(record, _short_of(why), why) for record, why in self.infeasible]
        return (*outside, *((record, _fate(record), record.reason) for record in self.unsolved))

    def __repr__(self) -> str:
        first = f", first {self.ordered[0].name!r}" if self.ordered else ""
        counts = f"{len(self.ordered)} ranked{first}, {len(self.unsolved)} without figures"
        return f"Ranking(by {self.by}, {self.basis}: {counts})"


def rank(records: Sequence[Record], basis: str, by: str = "ripple", limits: Sequence[Limit] = ()) -> Ranking:
    """Order records by a figure: torques and torque per loss from the highest, all else from the lowest.

    Raises InvalidValue for a figure that records do not have.
    """
    check_figure("by", by)
    ordered: list[tuple[float, str, Record]] = []
    infeasible, unsolved = [], []
    for record in records:
        if record.figures is None or record.status is not Status.SOLVED:
            unsolved.append(record)
        elif broken := broken_limits(record.figures, limits):
            infeasible.append((record, "; ".join(broken)))
        else:
            value = cost(record.figures, by)
            if value is None and "." in by:
                infeasible.append((record, _why_not(record, by)))
                continue
            ordered.append((math.inf if value is None else value, record.name, record))
    best_first = tuple(record for *_, record in sorted(ordered, key=lambda entry: entry[:2]))
    return Ranking(by, basis, best_first, tuple(unsolved), tuple(infeasible))


def _short_of(why: str) -> str:
    """What became of a design that has figures: outside the limits, or without the one that is ranked by."""
    return "cannot do what is asked" if why.startswith(_NO_FIGURE) else "is outside the limits"


def _fate(record: Record) -> str:
    """What became of a design without figures. One that was refused once its map was had can be built."""
    if record.status is Status.REFUSED:
        return "cannot do what is asked" if "operation" in record.outcome.seconds else "could not be built"
    return "could not be computed" if record.status is Status.FAILED else "was not finished"


def _why_not(record: Record, by: str) -> str:
    """Of the reasons why a design has no figures at points, the one for the point that `by` is of."""
    begin = f"{_NO_FIGURE}s under {by.rpartition('.')[0]}: "
    said = [part for part in record.reason.split(NEXT_REASON) if part.startswith(begin)]
    return said[0] if said else f"{_NO_FIGURE} {by}"
