"""Whether a value is of the kind that an annotation says, and what people call that kind and that value."""

from __future__ import annotations

import inspect
import numbers
import reprlib
import types
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal, Union, get_args, get_origin

import numpy as np

__all__ = ["called", "of_kind", "plain", "told"]

_CALLED = {
    bool: "True or False",
    int: "a whole number",
    float: "a number",
    str: "text",
    types.NoneType: "None",
    Callable: "a function",
}
_AT_MOST = 10**40  # whole numbers have no end, and those with more digits are neither taken nor written out


def of_kind(value: Any, kind: Any) -> bool:
    """Whether a value is of a kind, as an annotation says it. A whole number is a number too; True is neither.

    >>> of_kind(1, float), of_kind(True, float), of_kind((1.0, "x"), tuple[float, ...]), of_kind(None, float | None)
    (True, False, False, True)
    """
    origin, parts = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return any(of_kind(value, part) for part in parts)
    if origin is Literal:
        return isinstance(value, str) and value in parts
    if origin is tuple and isinstance(value, tuple):
        wanted = parts[:1] * len(value) if parts[1:] == (...,) else parts
        return len(value) == len(wanted) and all(map(of_kind, value, wanted))
    if isinstance(value, Mapping) and origin is Mapping:
        return all(of_kind(n, parts[0]) and of_kind(part, parts[1]) for n, part in value.items())
    if isinstance(value, Sequence) and origin is Sequence:
        return not isinstance(value, str) and all(of_kind(part, parts[0]) for part in value)
    if kind is Any:
        return True
    if kind in (int, float):
        number = numbers.Integral if kind is int else numbers.Real
        endless = isinstance(value, int) and abs(value) > _AT_MOST
        return isinstance(value, number) and not endless and not isinstance(value, bool | np.bool_)
    return isinstance(value, bool | np.bool_ if kind is bool else origin or kind)


def plain(value: Any, kind: Any) -> Any:
    """A value as it is kept: a list where a tuple is wanted as one, a number of numpy as Python's own.

    >>> plain([1, 2], tuple[int, ...]), plain([1, 2], list), plain(np.float32(0.5), float)
    ((1, 2), [1, 2], 0.5)
    """
    if isinstance(value, list) and of_kind(tuple(value), kind):
        return tuple(value)
    return value.item() if isinstance(value, np.bool_ | np.number) else value


def called(kind: Any) -> str:
    """What people call a kind.

    >>> called(float | None), called(tuple[str, ...]), called(Literal["loss", "ripple"])
    ('a number or None', 'a tuple of text', "'loss' or 'ripple'")
    """
    origin, parts = get_origin(kind), get_args(kind)
    if origin in (Union, types.UnionType):
        return " or ".join(map(called, parts))
    if origin is Literal:
        return " or ".join(map(repr, parts))
    if origin is Mapping:
        return f"names with {called(parts[1])} for each"
    if origin in (tuple, Sequence):
        wanted = dict.fromkeys(called(part) for part in parts if part is not ...)
        return f"a {origin.__name__.lower()} of {', '.join(wanted)}"
    if inspect.isabstract(kind):
        return " or ".join(part.__name__ for part in kind.__subclasses__())
    return "any value" if kind is Any else _CALLED.get(origin or kind, getattr(kind, "__name__", str(kind)))


def told(value: Any) -> str:
    """A value of any kind on one short line.

    >>> told("wheel.toml"), told(float), told([1, np.zeros(2)]), told(10**5000)
    ("'wheel.toml'", 'the class float', '[1, ndarray(...)]', 'a number of more than 40 digits')
    """
    return _TOLD.repr(value)


class _Told(reprlib.Repr):
    """What is built in as Python writes it, if shortened; of anything else, what it is."""

    def repr_int(self, value: int, level: int) -> str:
        return repr(value) if abs(value) < _AT_MOST else "a number of more than 40 digits"

    def repr_instance(self, value: Any, level: int) -> str:
        if value is None or isinstance(value, bool | float | complex | bytes):
            return super().repr_instance(value, level)
        return f"the class {value.__name__}" if isinstance(value, type) else f"{type(value).__name__}(...)"


_TOLD = _Told()
