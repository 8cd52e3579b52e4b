"""The small error tree: what a person may get to read, one sentence each.

Every refusal is made by `refusal`, so that each says the rule, the name, the value and what is allowed; of a name that
is not known, `unknown` also says the one that comes nearest.
"""

import difflib
import functools
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, fields
from typing import Any, TypeVar, get_type_hints

from polefem.kinds import called, of_kind, plain, told

__all__ = [
    "GeometryRefused",
    "InvalidValue",
    "MeshFailed",
    "MissingLibrary",
    "PolefemError",
    "SolveFailed",
    "StoreRefused",
    "UnknownName",
    "UnusualValue",
    "lacking",
    "refusal",
    "spelled",
    "unknown",
]

Value = TypeVar("Value")


class PolefemError(Exception):
    """Root of every error that polefem raises on purpose."""


class InvalidValue(PolefemError, ValueError):
    """A value that no machine, steel, mesh or drive can have."""


class UnknownName(InvalidValue):
    """A name of something that there is not: a field, a keyword, a figure, a steel."""


class UnusualValue(InvalidValue):
    """A dimension outside what anyone builds. in_file: the sentence in the keys and units of a machine file."""

    in_file: str = ""


class GeometryRefused(PolefemError, ValueError):
    """Values that are each fine, but make a machine that cannot be built."""


class MeshFailed(PolefemError, RuntimeError):
    """The mesher gave no usable mesh for an outline that passed its checks."""


class SolveFailed(PolefemError, RuntimeError):
    """A field solution did not converge; its history is in the sentence."""


class StoreRefused(PolefemError, RuntimeError):
    """A file of results that cannot be read: damaged, or of another version."""


class MissingLibrary(PolefemError, ImportError):
    """A library that is not installed, or lacks one of the system's; the sentence has the line that installs it."""


def refusal(rule: str, name: str, value: object, allowed: str) -> str:
    """One sentence: the rule, the name of the value, the value, and what would be allowed.

    >>> refusal("the air gap must be open", "air_gap", "0 mm", "above 0 mm")
    'the air gap must be open: air_gap is 0 mm, allowed is above 0 mm'
    """
    return f"{rule}: {name} is {value}, allowed is {allowed}"


_MANY = 40


def unknown(rule: str, name: str, value: str, known: Iterable[str], before: str = "") -> str:
    """The refusal of a name that is none of those known, with the one that comes nearest. before: what both begin with.
    Where one comes near, more than _MANY are counted instead of listed: nobody reads them.

    >>> unknown("a field is called by its name", "field", "ark", ("arc", "taper"))
    "a field is called by its name: field is 'ark' (did you mean 'arc'?), allowed is arc, taper"
    """
    names = tuple(known)
    near = difflib.get_close_matches(value, names, n=1)
    found = repr(before + value) + (f" (did you mean {before + near[0]!r}?)" if near else "")
    told = ", ".join(names) if not near or len(names) <= _MANY else f"one of {len(names)} names"
    return refusal(rule, name, found, told or "nothing here")


def lacking(what: str, library: str, group: str) -> str:
    """The sentence of a MissingLibrary that a group of the package brings.

    >>> lacking("a DXF file needs", "ezdxf", "cut")
    "a DXF file needs ezdxf, which is not installed: pip install 'polefem[cut]'"
    """
    return f"{what} {library}, which is not installed: pip install 'polefem[{group}]'"


def spelled(cls: type[Value]) -> type[Value]:
    """A dataclass that people fill: a keyword that is misspelt or left out, and a value of another kind than its field,
    are refused in a sentence. What the class itself refuses goes first. A list is taken for a tuple, and a number of
    numpy for one of Python.

    >>> from polefem.params import Pole
    >>> Pole(ark=0.5)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    polefem.errors.UnknownName: Pole is described by its own keywords: keyword is 'ark' (did you mean 'arc'?), ...
    >>> Pole(arc=0.5, shoe=0.1)
    Traceback (most recent call last):
    polefem.errors.InvalidValue: each value is of its own kind: Pole.shoe is 0.1, allowed is Shoe or None
    """
    owner: Any = cls
    made: Callable[..., None] = vars(cls)["__init__"]

    @functools.wraps(made)
    def __init__(self: Any, *given: Any, **named: Any) -> None:
        try:
            made(self, *given, **named)
        except PolefemError:
            raise
        except Exception as error:
            if isinstance(error, TypeError) and f"{cls.__name__}.__init__()" in str(error):
                _refuse_keywords(cls, len(given), named)
            _check_kinds(owner, dict(zip(_kinds(owner), given, strict=False)) | named, error)
            raise
        for name, kind in _kinds(owner).items():
            object.__setattr__(self, name, plain(getattr(self, name), kind))
        _check_kinds(owner, {name: getattr(self, name) for name in _kinds(owner)})

    cls.__init__ = __init__  # type: ignore[method-assign]
    return cls


@functools.cache
def _kinds(cls: type) -> Mapping[str, Any]:
    """What a dataclass is given, by name, and of which kind."""
    kinds = get_type_hints(cls)
    return {field.name: kinds[field.name] for field in fields(cls) if field.init}


def _check_kinds(cls: Any, values: Mapping[str, Any], cause: Exception | None = None) -> None:
    """Raise InvalidValue for the first value that is not of its field's kind. cause: what it led to."""
    for name, value in values.items():
        if not of_kind(value, kind := _kinds(cls)[name]):
            rule = "each value is of its own kind"
            raise InvalidValue(refusal(rule, f"{cls.__name__}.{name}", told(value), called(kind))) from cause


def _refuse_keywords(cls: Any, positional: int, named: Iterable[str]) -> None:
    """Raise UnknownName for a keyword that the dataclass has not, InvalidValue for what it lacks or has twice."""
    own = [field for field in fields(cls) if field.init]
    names = [field.name for field in own]
    for name in named:
        if name not in names:
            raise UnknownName(
                unknown(f"{cls.__name__} is described by its own keywords", "keyword", name, names)
            )
    needed = [f.name for f in own if f.default is MISSING and f.default_factory is MISSING]
    missing = [name for name in needed if name not in named and name not in names[:positional]]
    if missing:
        rule = f"{cls.__name__} is described in full"
        raise InvalidValue(refusal(rule, ", ".join(missing), "missing", "a value for each"))
    found = f"{positional} without a name, then {', '.join(named) or 'nothing'}"
    raise InvalidValue(refusal(f"{cls.__name__} takes each value once", "values", found, ", ".join(names)))
