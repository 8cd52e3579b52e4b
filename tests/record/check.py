"""What a check of the record is made of: a published number, its source, a limit; and the row it leaves behind."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

__all__ = ["FLAGS", "ROWS", "Check", "Row", "fresh", "load_rows", "save_rows"]

#: The rows of the last run of each check, as committed.
ROWS = Path(__file__).with_name("rows.json")

#: How a published number was seen.
FLAGS = {
    "read": "read in the named source",
    "read in a second text": "read in a text that names the source",
    "digitised": "read off a published plot, about 0.5 % of its axis",
    "from memory": "the source is named but was not opened",
    "computed": "computed from the source's own data with a general-purpose library, independent of this project",
    "formula": "a closed formula, worked by the check itself",
}
#: A figure that has moved by more than this part of its limit since it was noted is stale. Another version of gmsh
#: moves it less.
STALE = 0.25
#: Figures are printed to so many digits; what does not change them is no change.
DIGITS = 4


@dataclass(frozen=True)
class Check:
    """A published quantity and how far a computed one may lie from it.

    case, quantity: what the row is called; together they are its key. published: in `unit`. source, flag: where from,
    and how that was seen, one of `FLAGS`. within: largest difference allowed, or the least and the largest. relative:
    whether differences are parts of the published number; else they are in its unit.

    >>> check = Check("a ring", "flux", 2.0, "Wb", "Ampere's law", "formula", within=0.01)
    >>> check.passes(2.01), check.passes(2.03)
    (True, False)
    """

    case: str
    quantity: str
    published: float
    unit: str
    source: str
    flag: str
    within: float | tuple[float, float]
    relative: bool = True

    def __post_init__(self) -> None:
        if self.flag not in FLAGS:
            raise ValueError(f"the flag of {self.case!r} is {self.flag!r}, allowed is {', '.join(FLAGS)}")

    @property
    def limits(self) -> tuple[float, float]:
        """Least and largest difference allowed."""
        return self.within if isinstance(self.within, tuple) else (-self.within, self.within)

    def difference(self, found: float) -> float:
        """Found less published, as a part of the published number or in its unit."""
        return (found - self.published) / (abs(self.published) if self.relative else 1.0)

    def passes(self, found: float) -> bool:
        """Whether the difference keeps to the limits."""
        low, high = self.limits
        return low <= self.difference(found) <= high


@dataclass(frozen=True)
class Row:
    """A check with what was computed. test: the function that did, as file::name. slow: whether it takes minutes."""

    case: str
    quantity: str
    published: float
    unit: str
    source: str
    flag: str
    computed: float
    difference: float
    limits: tuple[float, float]
    relative: bool
    test: str
    slow: bool

    @classmethod
    def of(cls, check: Check, found: float, test: str, slow: bool) -> Row:
        """The row of a check that found a number."""
        return cls(
            case=check.case,
            quantity=check.quantity,
            published=_short(check.published, 7),
            unit=check.unit,
            source=check.source,
            flag=check.flag,
            computed=_short(found, 7),
            difference=_short(check.difference(found), 3),
            limits=(float(check.limits[0]), float(check.limits[1])),
            relative=check.relative,
            test=test,
            slow=slow,
        )

    @property
    def key(self) -> tuple[str, str]:
        """Case and quantity."""
        return self.case, self.quantity


def _short(value: float, digits: int) -> float:
    """A number cut to its leading digits, so that rounding in a field changes no file."""
    return float(f"{value:.{digits}g}")


def fresh(row: Row, noted: Row) -> bool:
    """Whether a row is the noted one beyond rounding: the same words, and a figure that moved by a quarter of its
    limit at most."""
    said = ("case", "quantity", "unit", "source", "flag", "relative", "test", "slow")
    numbers = [(row.published, noted.published), *zip(row.limits, noted.limits, strict=True)]
    if any(getattr(row, name) != getattr(noted, name) for name in said):
        return False
    if any(abs(one - other) > 1e-9 * abs(one) for one, other in numbers):
        return False
    room = STALE * (row.limits[1] - row.limits[0]) / 2 * (abs(row.published) if row.relative else 1.0)
    return abs(row.computed - noted.computed) <= max(room, 0.5 * 10.0**-DIGITS * abs(row.computed))


def load_rows(path: Path = ROWS) -> dict[tuple[str, str], Row]:
    """The noted rows by their keys, in the order of the file; none where there is no file."""
    if not path.exists():
        return {}
    rows = [Row(**{**row, "limits": tuple(row["limits"])}) for row in json.loads(path.read_text("utf-8"))]
    return {row.key: row for row in rows}


def save_rows(new: Iterable[Row], path: Path = ROWS) -> None:
    """Put new rows in the place of all that the same tests had noted, or behind the others."""
    new = list(new)
    ran = {row.test for row in new}
    noted = list(load_rows(path).values())
    places = {row.test: at for at, row in reversed(list(enumerate([*noted, *new])))}
    rows = {row.key: row for row in [*(row for row in noted if row.test not in ran), *new]}
    ordered = sorted(rows.values(), key=lambda row: places[row.test])
    lines = ",\n".join(json.dumps(asdict(row), ensure_ascii=False) for row in ordered)
    path.write_text(f"[\n{lines}\n]\n", encoding="utf-8")
