"""Tables that a workshop writes: CSV with quantities and units in the header, faults named by their line.

    # anything after a hash is a comment
    angle [deg]; current [A]; torque [N m]; deviation [N m]
    0;           5;           0,02;         0,05
    10;          5;           ;             0,05

Semicolons or tabs may separate columns, and then a comma is a decimal comma; otherwise commas separate. A cell may be
empty: that row was not measured, and is listed as left out.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from polefem.errors import InvalidValue, refusal
from polefem.files import read_text
from polefem.units import cm, deg, mm, ms

__all__ = ["UNITS", "Table", "read_table"]

Floats = NDArray[np.float64]

#: What a column may be in, by quantity, each with its size in SI.
UNITS: dict[str, dict[str, float]] = {
    "angle": {"deg": deg, "rad": 1.0},
    "current": {"A": 1.0, "mA": 1e-3},
    "inductance": {"H": 1.0, "mH": 1e-3, "uH": 1e-6, "µH": 1e-6},
    "flux linkage": {"Wb": 1.0, "mWb": 1e-3, "V s": 1.0, "mV s": 1e-3},
    "torque": {"N m": 1.0, "mN m": 1e-3, "N cm": 1e-2},
    "force": {"N": 1.0},
    "mass": {"kg": 1.0, "g": 1e-3},
    "lever": {"m": 1.0, "mm": mm, "cm": cm},
    "voltage": {"V": 1.0, "mV": 1e-3},
    "frequency": {"Hz": 1.0, "kHz": 1e3},
    "time": {"s": 1.0, "ms": ms, "us": 1e-6, "µs": 1e-6},
    "resistance": {"ohm": 1.0, "mohm": 1e-3},
}
#: A column of deviations is in the unit of what was read, or in per cent of it.
DEVIATION = "deviation"
_HEAD = re.compile(r"([a-z ]+?)\s*(?:\[([^\[\]]+)\]|\(([^()]+)\)|in\s+(\S+))")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:e[+-]?[0-9]+)?", re.IGNORECASE)


@dataclass(frozen=True, eq=False)
class Table:
    """Numbers read from a file, in SI. columns: by quantity, each of shape (n_rows,); a deviation in per cent stands
    under "deviation [%]", as a share. lines: of the file, shape (n_rows,). left_out: a sentence for each row that has
    a gap. name: of the file."""

    name: str
    columns: Mapping[str, Floats]
    lines: NDArray[np.int64]
    left_out: tuple[str, ...]

    def __post_init__(self) -> None:
        for array in (*self.columns.values(), self.lines):
            array.flags.writeable = False


def read_table(path: str | Path, needed: tuple[str, ...], allowed: tuple[str, ...] = ()) -> Table:
    """The table in a file whose columns are quantities of `UNITS`, or the deviation of what was read.

    needed, allowed: columns that must and that may be there; a deviation is in the unit of the last that must, or in %.
    Raises InvalidValue, with the number of the line, for a
    file that is no text, a header that does not state its quantities and units, a column that is not asked for or comes
    twice, and a row that has too many cells, too few, or one that is no finite number; nothing is read silently.
    """
    name = Path(path).name
    text = read_text(path, "what was measured stands in a text file")
    lines = [(at, line.split("#")[0].rstrip()) for at, line in enumerate(text.splitlines(), 1)]
    lines = [(at, line) for at, line in lines if line.strip(" ;,\t")]
    if len(lines) < 2:
        raise InvalidValue(
            refusal("a table has a header and rows", name, f"{len(lines)} lines", "two or more")
        )
    (first, header), *rows = lines
    mark = next((mark for mark in (";", "\t") if mark in header), ",")
    wanted = {quantity: UNITS.get(quantity, UNITS[needed[-1]]) for quantity in needed + allowed}
    heads = [_head(cell, f"{name}, line {first}", wanted) for cell in _cells(header, mark)]
    _check_heads([quantity for quantity, _ in heads], name, needed)
    numbers, kept, left_out = [], [], []
    for at, line in rows:
        cells = _cells(line, mark)
        if len(cells) != len(heads):
            rule, allow = "a row has a cell for each column", f"{len(heads)} cells, empty where not measured"
            raise InvalidValue(refusal(rule, f"{name}, line {at}", f"{len(cells)} cells", allow))
        gaps = [head for (head, _), cell in zip(heads, cells, strict=True) if not cell]
        read = [
            _number(cell, mark, f"{name}, line {at}", head)
            for (head, _), cell in zip(heads, cells, strict=True)
        ]
        if gaps:
            left_out.append(f"{name}, line {at}: no {' and no '.join(gaps)}, left out")
            continue
        numbers.append(read)
        kept.append(at)
    if not numbers:
        raise InvalidValue(
            refusal("a table holds something measured", name, "rows with gaps alone", "a whole row")
        )
    values = np.array(numbers) * [size for _, size in heads]
    columns = {head: values[:, at].copy() for at, (head, _) in enumerate(heads)}
    return Table(name, columns, np.array(kept), tuple(left_out))


def _cells(line: str, mark: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], delimiter=mark, skipinitialspace=True))]


def _head(cell: str, where: str, wanted: Mapping[str, Mapping[str, float]]) -> tuple[str, float]:
    """Quantity and size of its unit in SI."""
    found = _HEAD.fullmatch(cell)
    quantity = found[1] if found else ""
    unit = next((part for part in found.groups()[1:] if part), "") if found else ""
    if (quantity, unit) == (DEVIATION, "%") and DEVIATION in wanted:
        return f"{DEVIATION} [%]", 0.01
    if unit not in wanted.get(quantity, {}):
        allowed = "; ".join(f"{name} [{' or '.join(units)}]" for name, units in wanted.items())
        raise InvalidValue(refusal("a column states its quantity and unit", where, f"{cell[:40]!r}", allowed))
    return quantity, wanted[quantity][unit]


def _check_heads(heads: list[str], name: str, needed: tuple[str, ...]) -> None:
    for head in heads:
        if heads.count(head) > 1:
            raise InvalidValue(refusal("a quantity has one column", name, f"{head} twice", "each once"))
    for quantity in needed:
        if quantity not in heads:
            rule, found = "a table has what it is read for", f"without a column of {quantity}"
            raise InvalidValue(refusal(rule, name, found, f"a header with {', '.join(needed)}"))


def _number(cell: str, mark: str, where: str, head: str) -> float:
    text = cell if mark == "," else cell.replace(",", ".")
    if not cell:
        return math.nan
    if _NUMBER.fullmatch(text) is None or not math.isfinite(float(text)):
        wanted = "a number, or nothing where nothing was measured"
        raise InvalidValue(refusal("a cell is a number", f"{where}, {head}", f"{cell[:40]!r}", wanted))
    return float(text)
