"""The order of a study's designs by one figure, with those that have none apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from polefem.errors import InvalidValue, refusal
from polefem.study import Figures, Record, State

__all__ = ["Ranking", "rank"]

_MORE_IS_BETTER = frozenset({"mean_torque", "lowest_torque", "torque_per_loss", "aligned_inductance"})


@dataclass(frozen=True, eq=False)
class Ranking:
    """Records in order. by: the figure that orders them. basis: what is equal among them, in words.

    ordered: with figures, best first. apart: refused, failed and lost ones.
    """

    by: str
    basis: str
    ordered: tuple[Record, ...]
    apart: tuple[Record, ...]

    def __repr__(self) -> str:
        first = f", first {self.ordered[0].name!r}" if self.ordered else ""
        return (
            f"Ranking(by {self.by}, {self.basis}: {len(self.ordered)} ranked{first}, {len(self.apart)} apart)"
        )


def rank(records: Sequence[Record], basis: str, by: str = "ripple") -> Ranking:
    """Order records by a figure: torques and torque per loss from the highest, all else from the lowest.

    Raises InvalidValue for a figure that records do not have.
    """
    if by not in Figures.names():
        raise InvalidValue(
            refusal("designs are ranked by a figure", "by", repr(by), ", ".join(Figures.names()))
        )
    sign = -1.0 if by in _MORE_IS_BETTER else 1.0

    def place(record: Record) -> tuple[float, str]:
        value = getattr(record.figures, by)
        return (math.inf if value is None else sign * value, record.name)

    solved = [record for record in records if record.state is State.SOLVED]
    apart = tuple(record for record in records if record.state is not State.SOLVED)
    return Ranking(by, basis, tuple(sorted(solved, key=place)), apart)
