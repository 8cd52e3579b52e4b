"""A measured curve from a CSV file: units stated in its header, faults named by their line.

    # anything after a hash is a comment
    H [kA/m]; J [mT]
    0;        0
    0,1;      940

The header names two quantities, H and one of B or J, each with its unit. Semicolons or tabs may separate columns, and
then a comma is a decimal comma; otherwise commas separate, but for those between quotation marks, which are left
out. In gauss, J is 4 pi M.
"""

import codecs
import re
from collections.abc import Iterator
from math import pi
from pathlib import Path

import numpy as np

from polefem.errors import InvalidValue, refusal
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
_CONTROL = set(range(32)) - set(b"\t\n\v\f\r")  # bytes that no text has
_NUMBER = r"[+-]?(?:[0-9.,]+(?:e[+-]?[0-9]+)?|nan|inf)"
_ALLOWED = "H in " + ", ".join(_UNITS["H"]) + " with B or J in " + ", ".join(_UNITS["B"])


def read_table(path: str | Path, outlier: float = OUTLIER) -> tuple[FloatArray, FloatArray]:
    """H in A/m and B in T from a file; the origin is put in front if the file starts above it.

    Parameters
    ----------
    path : of the file, in UTF-8, with or without a byte-order mark, in UTF-16 with one, or in Latin-1
    outlier : in T, see `OUTLIER`; `math.inf` takes every point as it is

    Raises
    ------
    InvalidValue
        A file that is missing or no text, no header that states its units, a row that is not two numbers, a table
        that no steel has, or a point off the curve of the others; the sentence names the line.
    """
    path = Path(path)
    lines = list(_lines(path))
    if not lines:
        raise InvalidValue(
            refusal("a curve needs points", path.name, "an empty file", "a header and rows of numbers")
        )
    (_, header), *rows = lines
    separator = _separator(rows[0][1] if rows else header)
    quantities = _header(header, path.name)
    numbers = _numbers(rows, separator, path.name)
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
    pool-adjacent-violators rule, for the best place of the steepest step). How far off each place is follows from what
    is pooled before it and after it, in one pass each way: Q. F. Stout, Unimodal regression via prefix isotonic
    regression, Comput. Stat. Data Anal. 53 (2008) 289-297 (from memory).
    """
    width, rise = np.diff(h), np.diff(b)
    before, _ = _pooled(width, rise)
    after, _ = _pooled(width[::-1], rise[::-1])
    top = int(np.argmin((before + after[::-1])[:-1]))
    rising = _pooled(width[:top], rise[:top])[1]
    falling = _pooled(width[top:][::-1], rise[top:][::-1])[1][::-1]
    curve: FloatArray = b[0] + np.append(0.0, np.cumsum(np.append(rising, falling) * width))
    return curve


def _pooled(width: FloatArray, rise: FloatArray) -> tuple[FloatArray, FloatArray]:
    """For each number of first steps, what is left of B, squared and summed over their ends, T2, once their slopes are
    pooled to increase: ndarray, shape (n_steps + 1,); and the slopes of all steps, so pooled, T m/A: shape (n_steps,).

    Pooled steps are a chord of the curve, which leaves it at neither end: so what is left of each stays what it is
    until the chord is pooled with another.
    """
    errors, total = [0.0], 0.0
    pools: list[tuple[float, ...]] = []
    for x, y in zip(width.tolist(), rise.tolist(), strict=True):
        # Width, rise and error of the chord, then sums over the ends of its steps, measured from where it begins.
        error, n, sx, sy, sxx, sxy, syy = 0.0, 1, x, y, x * x, x * y, y * y
        while pools and pools[-1][1] * x >= y * pools[-1][0]:
            x0, y0, error0, n0, sx0, sy0, sxx0, sxy0, syy0 = pools.pop()
            total -= error0
            sxx = sxx0 + sxx + 2 * x0 * sx + n * x0 * x0
            sxy = sxy0 + sxy + x0 * sy + y0 * sx + n * x0 * y0
            syy = syy0 + syy + 2 * y0 * sy + n * y0 * y0
            sx, sy, n = sx0 + sx + n * x0, sy0 + sy + n * y0, int(n0) + n
            x, y = x0 + x, y0 + y
            error = max(0.0, syy - y / x * (2 * sxy - y / x * sxx))
        total += error
        pools.append((x, y, error, n, sx, sy, sxx, sxy, syy))
        errors.append(total)
    slopes = [y / x for x, y, _, n, *_ in pools for _ in range(int(n))]
    return np.array(errors), np.array(slopes)


def _farthest_off(h: FloatArray, b: FloatArray, near: int) -> int:
    """The row, at or beside `near`, without which the others come closest to a smooth curve."""

    def left(row: int) -> float:
        rest_h, rest_b = np.delete(h, row), np.delete(b, row)
        return float(np.abs(rest_b - smooth_curve(rest_h, rest_b)).max())

    return min(range(max(near - 1, 1), min(near + 2, h.size)), key=left)


def _lines(path: Path) -> Iterator[tuple[int, str]]:
    """Numbered lines, without comments and empty ones."""
    for number, line in enumerate(_text(path).splitlines(), start=1):
        if text := line.split("#")[0].strip():
            yield number, text


def _text(path: Path) -> str:
    rule, allowed = (
        "a curve is read from a text file",
        "a header such as 'H [A/m], B [T]' and rows of two numbers",
    )
    try:
        data = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InvalidValue(refusal(rule, repr(str(path)), f"not readable ({reason})", allowed)) from error
    try:
        if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            return data.decode("utf-16")
        if not _CONTROL & set(data):
            return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        if not _CONTROL & set(data):
            return data.decode("latin-1")  # what is read, letters and digits of English, is the same there
    raise InvalidValue(refusal(rule, path.name, "no text", allowed))


def _separator(line: str) -> str:
    return next((mark for mark in (";", "\t") if mark in line), ",")


def _cells(line: str, separator: str) -> list[str]:
    return [cell.strip().strip('"').strip() for cell in line.split(separator)]


def _header(line: str, name: str) -> list[tuple[str, float]]:
    """Quantity and factor to SI of each column."""
    separator = _separator(line)
    cells = _cells(line, separator)
    if all(re.fullmatch(_NUMBER, cell, re.IGNORECASE) for cell in cells):
        found = repr(line[:40])
        wanted = f"a line before it such as {'H [A/m]' + separator + ' B [T]'!r}: {_ALLOWED}"
        rule = "a header says what the columns are"
        raise InvalidValue(refusal(rule, f"{name}, first line", found, wanted))
    columns = []
    for cell in cells:
        stated = _COLUMN.fullmatch(cell)
        quantity, unit = stated.groups() if stated else ("", "")
        if unit not in _UNITS.get(quantity, {}):
            allowed = f"a header such as 'H [A/m], B [T]': {_ALLOWED}"
            raise InvalidValue(
                refusal("a column states its quantity and unit", name, f"{cell[:40]!r}", allowed)
            )
        columns.append((quantity, _UNITS[quantity][unit]))
    if sorted(quantity for quantity, _ in columns) not in (["B", "H"], ["H", "J"]):
        found = " and ".join(quantity for quantity, _ in columns)
        raise InvalidValue(refusal("a curve has two quantities", name, f"{found}", _ALLOWED))
    return columns


def _numbers(rows: list[tuple[int, str]], separator: str, name: str) -> list[list[float]]:
    """The two numbers of each row."""
    number = _NUMBER.replace(",", "") if separator == "," else _NUMBER
    cell = rf'\s*(?:"\s*({_NUMBER})\s*"|({number}))\s*'
    two = re.compile(f"{cell}{separator}{cell}", re.IGNORECASE)
    found = []
    for line, text in rows:
        pair = two.fullmatch(text)
        try:
            found.append([float(one.replace(",", ".")) for one in pair.groups() if one] if pair else [])
        except ValueError:  # a number with two commas
            pair = None
        if pair is None:
            allowed = f"two numbers with {separator!r} between"
            raise InvalidValue(
                refusal("a row is two numbers", f"{name}, line {line}", f"{text[:40]!r}", allowed)
            )
    return found
