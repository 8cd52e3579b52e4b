"""A measured curve from a CSV file: units stated in its header, faults named by their line.

    # anything after a hash is a comment
    H [kA/m]; J [mT]
    0;        0
    0,1;      940

The header names two quantities, H and one of B or J, each with its unit. Semicolons or tabs may separate columns, and
then a comma is a decimal comma; otherwise commas separate. In gauss, J is 4 pi M.
"""

import re
from collections.abc import Iterator
from math import pi
from pathlib import Path

import numpy as np
from scipy.optimize import isotonic_regression

from polefem.errors import InvalidValue, refusal
from polefem.files import read_text
from polefem.materials.law import MU0, FloatArray
from polefem.materials.table import checked_table

__all__ = ["OUTLIER", "read_table", "smooth_curve"]

#: T, the farthest that a point may lie from a curve whose slope rises once and falls once. Measured sheet lies within
#: 4 mT of one, the roughest published table (TEAM problem 13) within 12 mT.
OUTLIER: float = 0.015

_UNITS = {
    "H": {"A/m": 1.0, "kA/m": 1e3, "A/cm": 1e2, "Oe": 1e3 / (4.0 * pi)},
    "B": {"T": 1.0, "mT": 1e-3, "G": 1e-4, "kG": 1e-1},
    "J": {"T": 1.0, "mT": 1e-3, "G": 1e-4, "kG": 1e-1},
}
_COLUMN = re.compile(r"([A-Za-z]+)(?:\s+in\s+|[\s\[(/_]+)([A-Za-z]+(?:/[a-z]+)?)[\s\])]*")
_ALLOWED = "H in " + ", ".join(_UNITS["H"]) + " with B or J in " + ", ".join(_UNITS["B"])


def read_table(path: str | Path, outlier: float = OUTLIER) -> tuple[FloatArray, FloatArray]:
    """H in A/m and B in T from a file; the origin is put in front if the file starts above it.

    Parameters
    ----------
    path : of the file, in UTF-8
    outlier : in T, see `OUTLIER`; `math.inf` takes every point as it is

    Raises
    ------
    InvalidValue
        No header that states its units, a row that is not two numbers, a table that no steel has, or a point off the
        curve of the others; the sentence names the line.
    """
    path = Path(path)
    lines = list(_lines(path))
    if not lines:
        raise InvalidValue(
            refusal("a curve needs points", path.name, "an empty file", "a header and rows of numbers")
        )
    (_, header), *rows = lines
    separator = next((mark for mark in (";", "\t") if mark in header), ",")
    quantities = _header(header.split(separator), path.name)
    numbers = [_row(text, separator, f"{path.name}, line {line}") for line, text in rows]
    columns = {quantity: at for at, (quantity, _) in enumerate(quantities)}
    values = np.array(numbers).reshape(-1, 2) * [factor for _, factor in quantities]
    h = values[:, columns["H"]]
    b = values[:, columns["B"]] if "B" in columns else values[:, columns["J"]] + MU0 * h
    labels = [f"line {line}" for line, _ in rows]
    if h.size and h[0] > 0.0 and b[0] > 0.0:
        h, b, labels = np.append(0.0, h), np.append(0.0, b), ["the origin", *labels]
    h, b = checked_table(h, b, path.name, labels)
    off = np.abs(b - smooth_curve(h, b))
    if off.max() > outlier:
        row = _farthest_off(h, b, int(off.argmax()))
        where = f"{path.name}, {labels[row]}"
        found = (
            f"B = {b[row]:.4g} T at H = {h[row]:.4g} A/m, which puts the curve {1e3 * off.max():.0f} mT off"
        )
        allowed = f"{1e3 * outlier:g} mT off a curve whose slope rises once and falls once"
        raise InvalidValue(refusal("points lie on one smooth curve", where, found, allowed))
    return h, b


def smooth_curve(h: FloatArray, b: FloatArray) -> FloatArray:
    """B in T of the nearest curve whose slope rises once and falls once, at the same H: ndarray, shape (n,).

    Every magnetisation curve has that form. Slopes are pooled over the steps in H (unimodal regression by the
    pool-adjacent-violators rule, for the best place of the steepest step).
    """
    width = np.diff(h)
    slope = np.diff(b) / width
    fits = [
        np.concatenate(
            [
                isotonic_regression(slope[:top], weights=width[:top]).x if top else slope[:0],
                isotonic_regression(slope[top:], weights=width[top:], increasing=False).x,
            ]
        )
        for top in range(slope.size)
    ]
    curves = [b[0] + np.append(0.0, np.cumsum(fit * width)) for fit in fits]
    best: FloatArray = min(curves, key=lambda curve: float(np.sum((curve - b) ** 2)))
    return best


def _farthest_off(h: FloatArray, b: FloatArray, near: int) -> int:
    """The row, at or beside `near`, without which the others come closest to a smooth curve."""

    def left(row: int) -> float:
        rest_h, rest_b = np.delete(h, row), np.delete(b, row)
        return float(np.abs(rest_b - smooth_curve(rest_h, rest_b)).max())

    return min(range(max(near - 1, 1), min(near + 2, h.size)), key=left)


def _lines(path: Path) -> Iterator[tuple[int, str]]:
    """Numbered lines, without comments and empty ones."""
    for number, line in enumerate(read_text(path, "a curve is a file of text").splitlines(), start=1):
        if text := line.split("#")[0].strip():
            yield number, text


def _header(cells: list[str], name: str) -> list[tuple[str, float]]:
    """Quantity and factor to SI of each column."""
    columns = []
    for cell in cells:
        stated = _COLUMN.fullmatch(cell.strip())
        quantity, unit = stated.groups() if stated else ("", "")
        if unit not in _UNITS.get(quantity, {}):
            raise InvalidValue(
                refusal("a column states its quantity and unit", name, f"{cell.strip()!r}", _ALLOWED)
            )
        columns.append((quantity, _UNITS[quantity][unit]))
    if sorted(quantity for quantity, _ in columns) not in (["B", "H"], ["H", "J"]):
        found = " and ".join(quantity for quantity, _ in columns)
        raise InvalidValue(refusal("a curve has two quantities", name, f"{found}", _ALLOWED))
    return columns


def _row(text: str, separator: str, where: str) -> list[float]:
    cells = text.split(separator)
    try:
        numbers = [float(cell if separator == "," else cell.replace(",", ".")) for cell in cells]
    except ValueError:
        numbers = []
    if len(numbers) != 2:
        raise InvalidValue(
            refusal("a row is two numbers", where, f"{text!r}", f"two numbers with {separator!r} between")
        )
    return numbers
