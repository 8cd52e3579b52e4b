"""Checks at the door: each refuses one number with one sentence."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal

__all__ = ["increasing", "positive", "whole", "within"]


def _number(name: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float | np.integer | np.floating):
        raise InvalidValue(refusal("a dimension must be a number", name, repr(value), "a finite number"))
    number = float(value)
    if not math.isfinite(number):
        raise InvalidValue(refusal("a dimension must be finite", name, number, "a finite number"))
    return number


def positive(rule: str, name: str, value: Any, unit: str = "", zero: bool = False) -> float:
    """Return `value` as a float, refusing what is below zero (or zero, unless `zero`)."""
    number = _number(name, value)
    if number < 0.0 or (number == 0.0 and not zero):
        allowed = f"{'0' if zero else 'above 0'} {unit}".strip() + (" or more" if zero else "")
        raise InvalidValue(refusal(rule, name, f"{number:.6g} {unit}".strip(), allowed))
    return number


def within(rule: str, name: str, value: Any, low: float, high: float, unit: str = "") -> float:
    """Return `value` as a float, refusing what is not strictly between `low` and `high`."""
    number = _number(name, value)
    if not low < number < high:
        allowed = f"above {low:.6g} and below {high:.6g} {unit}".strip()
        raise InvalidValue(refusal(rule, name, f"{number:.6g} {unit}".strip(), allowed))
    return number


def whole(rule: str, name: str, value: Any, low: int = 1) -> int:
    """Return `value` as an int, refusing fractions and what is below `low`."""
    if isinstance(value, bool) or not isinstance(value, int | np.integer) or value < low:
        raise InvalidValue(refusal(rule, name, repr(value), f"a whole number of {low} or more"))
    return int(value)


def increasing(rule: str, name: str, values: ArrayLike, unit: str = "") -> NDArray[np.float64]:
    """Return a read-only copy of a list of finite, strictly increasing numbers, shape (n,)."""
    array = np.array(values, dtype=float)
    if array.ndim != 1 or array.size == 0:
        raise InvalidValue(
            refusal(rule, name, f"of shape {array.shape}", "a flat list of one number or more")
        )
    if not np.isfinite(array).all():
        at = int(np.flatnonzero(~np.isfinite(array))[0])
        raise InvalidValue(refusal(rule, f"{name}[{at}]", array[at], "a finite number"))
    if array.size > 1 and (np.diff(array) <= 0).any():
        at = int(np.flatnonzero(np.diff(array) <= 0)[0]) + 1
        found = f"{array[at]:.6g} {unit}".strip()
        raise InvalidValue(refusal(rule, f"{name}[{at}]", found, f"above {array[at - 1]:.6g} {unit}".strip()))
    array.flags.writeable = False
    return array
