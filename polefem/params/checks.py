"""Checks at the door: each refuses one number with one sentence."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.kinds import told
from polefem.units import deg, mm, rpm

__all__ = ["Sides", "both", "increasing", "made", "number", "positive", "printable", "whole", "within"]

#: What is counted ends here: more turns, poles or points no machine has.
MOST = 10**9

#: One number for both sides of a pole, or a pair: the minus side (clockwise of the pole axis), then the plus
#: side.
Sides = float | tuple[float, float]


def _told(value: float, unit: str, with_unit: bool = True) -> str:
    """A number in the unit in which people type it: lengths in mm, angles in deg, speeds in rpm."""
    shown, size = {"m": ("mm", mm), "rad": ("deg", deg), "rad/s": ("rpm", rpm)}.get(unit, (unit, 1.0))
    return f"{value / size:.6g} {shown if with_unit else ''}".strip()


def both(value: Sides) -> tuple[float, float]:
    """The minus side and the plus side of a value that may differ between them.

    >>> both(2.0), both((1.0, 3.0))
    ((2.0, 2.0), (1.0, 3.0))
    """
    if isinstance(value, tuple):
        if len(value) != 2:
            raise InvalidValue(
                refusal("a pole has two sides", "value", value, "one number, or a pair of them")
            )
        return value
    return (value, value)


def made(rule: str, name: str, value: Any, kind: Any, allowed: str) -> None:
    """Refuse a value that is not of a kind."""
    if not isinstance(value, kind):
        raise InvalidValue(refusal(rule, name, told(value), allowed))


def number(name: str, value: Any) -> float:
    """Return `value` as a float, refusing what is no finite number."""
    if isinstance(value, bool) or not isinstance(value, int | float | np.integer | np.floating):
        raise InvalidValue(refusal("a dimension must be a number", name, told(value), "a finite number"))
    try:
        found = float(value)
    except OverflowError:  # whole numbers have no end
        found = math.inf
    if not math.isfinite(found):
        raise InvalidValue(refusal("a dimension must be finite", name, found, "a finite number"))
    return found


def positive(rule: str, name: str, value: Any, unit: str = "", zero: bool = False) -> float:
    """Return `value` as a float, refusing what is below zero (or zero, unless `zero`)."""
    found = number(name, value)
    if found < 0.0 or (found == 0.0 and not zero):
        allowed = f"{_told(0.0, unit)} or more" if zero else f"above {_told(0.0, unit)}"
        raise InvalidValue(refusal(rule, name, _told(found, unit), allowed))
    return found


def within(rule: str, name: str, value: Any, low: float, high: float, unit: str = "") -> float:
    """Return `value` as a float, refusing what is not strictly between `low` and `high`."""
    found = number(name, value)
    if not low < found < high:
        allowed = f"above {_told(low, unit, False)} and below {_told(high, unit)}"
        if unit == "rad" and abs(found) > 2 * math.pi and low < found * deg < high:
            allowed += f": did you mean {found:.6g} * deg?"
        raise InvalidValue(refusal(rule, name, _told(found, unit), allowed))
    return found


def whole(rule: str, name: str, value: Any, low: int = 1) -> int:
    """Return `value` as an int, refusing fractions, what is below `low`, and more than a thousand million."""
    if isinstance(value, bool) or not isinstance(value, int | np.integer) or value < low:
        raise InvalidValue(refusal(rule, name, told(value), f"a whole number of {low} or more"))
    if value > MOST:
        raise InvalidValue(refusal(rule, name, f"above {MOST:g}", f"a whole number of {low} to {MOST:g}"))
    return int(value)


def printable(rule: str, name: str, value: Any) -> str:
    """Return text that stands on one line and moves no cursor, refusing any other: names are shown in many places."""
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        raise InvalidValue(refusal(rule, name, told(value), "text that can be printed on one line"))
    return value


def increasing(rule: str, name: str, values: ArrayLike, unit: str = "") -> NDArray[np.float64]:
    """Return a read-only copy of a list of finite, strictly increasing numbers, shape (n,)."""
    try:
        array = np.array(values, dtype=float)
    except (TypeError, ValueError) as problem:
        raise InvalidValue(refusal(rule, name, told(values), "a flat list of numbers")) from problem
    if array.ndim != 1 or array.size == 0:
        raise InvalidValue(
            refusal(rule, name, f"of shape {array.shape}", "a flat list of one number or more")
        )
    if not np.isfinite(array).all():
        at = int(np.flatnonzero(~np.isfinite(array))[0])
        raise InvalidValue(refusal(rule, f"{name}[{at}]", array[at], "a finite number"))
    if array.size > 1 and (np.diff(array) <= 0).any():
        at = int(np.flatnonzero(np.diff(array) <= 0)[0]) + 1
        found, before = (_told(value, unit) for value in (array[at], array[at - 1]))
        raise InvalidValue(refusal(rule, f"{name}[{at}]", found, f"above {before}"))
    array.flags.writeable = False
    return array
