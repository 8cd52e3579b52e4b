"""What was measured on the bench: readings of a phase at angles and currents, each with its deviation.

Four kinds, for what a workshop has:

- inductance: by a bridge or an LCR meter at low current and a stated frequency, flux linkage over current;
- flux linkage: from a recorded step of voltage (`recording`);
- torque: of the locked rotor, by a lever and a scale or weights;
- mutual inductance: from the voltage of an idle phase beside one driven by a sine, V / (2 pi f I), without its sign.

Angles are those of the mark on the bench. How far the mark is off alignment is one of the causes that a correction
looks for (`causes`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, get_args

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.measured.table_file import Table, read_table
from polefem.params.checks import positive

__all__ = ["KINDS", "Kind", "Readings", "joined", "read_readings", "unit_of"]

Floats = NDArray[np.float64]
Kind = Literal["inductance", "flux linkage", "torque", "mutual inductance"]
KINDS: tuple[Kind, ...] = get_args(Kind)

#: Unit that a person reads, and its size in SI.
_UNITS = {
    "inductance": ("mH", 1e-3),
    "flux linkage": ("mWb", 1e-3),
    "torque": ("N m", 1.0),
    "mutual inductance": ("mH", 1e-3),
}
#: What each kind is read from: columns that must be there, one set of several, and those that may.
_COLUMNS: dict[str, tuple[tuple[str, ...], ...]] = {
    "inductance": (("angle", "inductance"),),
    "flux linkage": (("angle", "current", "flux linkage"),),
    "torque": (("angle", "current", "torque"), ("angle", "current", "force"), ("angle", "current", "mass")),
    "mutual inductance": (("angle", "current", "voltage"),),
}
_MAY = {"inductance": ("current", "frequency"), "torque": ("lever",), "mutual inductance": ("frequency",)}


@dataclass(frozen=True, eq=False)
class Readings:
    """Points measured on one phase.

    kinds: of each, shape (n,). angles: rad, of the bench's mark, 0 where it says aligned. currents: A. values: H, Wb or
    N m. deviations: one standard deviation of each, in the same unit. places: file and line of each. left_out:
    sentences on rows that were not read.

    Raises InvalidValue where lengths differ, a number is not finite, or a deviation is not above 0.
    """

    kinds: tuple[Kind, ...]
    angles: Floats
    currents: Floats
    values: Floats
    deviations: Floats
    places: tuple[str, ...]
    left_out: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name in ("angles", "currents", "values", "deviations"):
            array = np.array(getattr(self, name), dtype=float)
            if array.shape != (len(self.kinds),) or not np.isfinite(array).all():
                allowed = f"{len(self.kinds)} finite numbers"
                raise InvalidValue(refusal("a reading is whole", name, f"of shape {array.shape}", allowed))
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        for what, array, place in zip(self.kinds, self.deviations, self.places, strict=True):
            if what not in KINDS:
                raise InvalidValue(refusal("a reading is of a kind", place, repr(what), ", ".join(KINDS)))
            positive("a reading has a deviation", f"{place}, deviation", float(array), _UNITS[what][0])

    def __len__(self) -> int:
        return len(self.kinds)

    def of(self, kind: Kind) -> NDArray[np.bool_]:
        """Which readings are of a kind: shape (n,)."""
        return np.array([own == kind for own in self.kinds], dtype=bool)

    def taken(self, which: ArrayLike) -> Readings:
        """Those at some places, shape (m,) of numbers or (n,) of truths."""
        at = np.arange(len(self))[np.asarray(which)]
        return Readings(
            tuple(self.kinds[k] for k in at),
            self.angles[at],
            self.currents[at],
            self.values[at],
            self.deviations[at],
            tuple(self.places[k] for k in at),
            self.left_out,
        )

    def with_values(self, values: ArrayLike) -> Readings:
        """The same points with other values, shape (n,)."""
        return replace(self, values=np.asarray(values, dtype=float))

    def __repr__(self) -> str:
        counts = ", ".join(f"{n} of {kind}" for kind in KINDS if (n := int(self.of(kind).sum())))
        lost = len(self.left_out)
        return f"Readings({counts or 'none'}; {lost} row{'' if lost == 1 else 's'} left out)"


def unit_of(kind: Kind) -> tuple[str, float]:
    """The unit that a person reads a kind in, and its size in SI."""
    return _UNITS[kind]


def joined(*readings: Readings) -> Readings:
    """All readings in one value, in order."""
    angles, currents, values, deviations = (
        np.concatenate([getattr(one, name) for one in readings])
        for name in ("angles", "currents", "values", "deviations")
    )
    kinds = tuple(kind for one in readings for kind in one.kinds)
    places = tuple(place for one in readings for place in one.places)
    left_out = tuple(said for one in readings for said in one.left_out)
    return Readings(kinds, angles, currents, values, deviations, places, left_out)


def read_readings(
    path: str | Path,
    kind: Kind,
    *,
    deviation: float | None = None,
    share: float | None = None,
    current: float | None = None,
    frequency: float | None = None,
    lever: float | None = None,
) -> Readings:
    """Readings of one kind from a CSV file, see `table_file`.

    Columns: angle, and for inductance: inductance (current and frequency); for flux linkage: current, flux linkage; for
    torque: current, and torque, or force or mass at a lever; for mutual inductance: current (of the driven phase, as
    the meter's voltage: both effective values or both peaks), voltage (frequency). And deviation, in the unit of what
    was read or in %.
    deviation: of all rows, in SI; share: the same as a share of the value; both together add as squares. current,
    frequency, lever (m): where all rows have the same, in place of a column.

    Raises InvalidValue as `read_table` does, and for rows that have no deviation, no current, no lever or two of one.
    """
    if kind not in KINDS:
        raise InvalidValue(refusal("a reading is of a kind", "kind", repr(kind), ", ".join(KINDS)))
    table = _table(path, kind)
    given = {"current": current, "frequency": frequency, "lever": lever}
    columns = {**table.columns}
    for name, value in given.items():
        if value is None:
            continue
        if name in columns:
            found = "a column and a number for all rows"
            raise InvalidValue(
                refusal("a quantity is said once", f"{table.name}, {name}", found, "one of them")
            )
        columns[name] = np.full(len(table.lines), positive("a reading was taken at a size", name, value))
    values, size = _values(kind, columns, table.name)
    deviations = _deviations(table, np.abs(values), size, deviation, share)
    places = tuple(f"{table.name}, line {line}" for line in table.lines)
    currents = _needed(columns, "current", table.name)
    low = np.flatnonzero(currents <= 0.0)
    if low.size:
        rule, found = "a reading was taken at a current", f"{currents[low[0]]:.6g} A"
        raise InvalidValue(refusal(rule, f"{places[low[0]]}, current", found, "above 0 A"))
    return Readings(
        (kind,) * len(places), columns["angle"], currents, values, deviations, places, table.left_out
    )


def _table(path: str | Path, kind: Kind) -> Table:
    """By the first of the kind's sets of columns that the file has; the first set says what is missing."""
    may = (*_MAY.get(kind, ()), "deviation")
    refused: list[InvalidValue] = []
    for needed in _COLUMNS[kind]:
        try:
            return read_table(path, needed, may)
        except InvalidValue as error:
            refused.append(error)
    # The refusal that got furthest: of a row rather than of the header.
    raise max(refused, key=lambda error: ", line " in str(error) and "states its quantity" not in str(error))


def _values(kind: Kind, columns: dict[str, Floats], name: str) -> tuple[Floats, Floats]:
    """What was read in SI, shape (n,), and the factor from the column that it was read in."""
    if kind == "torque" and "torque" not in columns:
        pulled = "force" if "force" in columns else "mass"
        size = _needed(columns, "lever", name) * (1.0 if pulled == "force" else scipy.constants.g)
        return columns[pulled] * size, size
    if kind == "mutual inductance":
        turning = 2 * math.pi * _needed(columns, "frequency", name)
        size = 1.0 / (turning * _needed(columns, "current", name))
        return np.abs(columns["voltage"]) * size, size
    return columns[kind], np.ones(len(columns[kind]))


def _needed(columns: dict[str, Floats], name: str, file: str) -> Floats:
    if name not in columns:
        rule = "a reading is read with all that it depends on"
        raise InvalidValue(refusal(rule, f"{file}, {name}", "missing", "a column, or a number for all rows"))
    return columns[name]


def _deviations(
    table: Table, sizes: Floats, factor: Floats, deviation: float | None, share: float | None
) -> Floats:
    square = np.zeros(len(sizes))
    for name in ("deviation", "deviation [%]"):
        if name in table.columns:
            square += (table.columns[name] * (factor if name == "deviation" else sizes)) ** 2
    for name, value, scale in (("deviation", deviation, 1.0), ("share", share, sizes)):
        if value is not None:
            square += (positive("a deviation has a size", name, value) * scale) ** 2
    if not (square > 0.0).all():
        at = int(np.argmin(square))
        rule, allowed = "a reading has a deviation", "a column of deviations, or one for all rows"
        raise InvalidValue(refusal(rule, f"{table.name}, line {table.lines[at]}", "without one", allowed))
    return np.sqrt(square)
