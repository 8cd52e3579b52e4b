"""A machine's fields by dotted name, read and changed as copies: what a study varies and a report lists."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any, TypeVar, cast

from polefem.errors import UnknownName, unknown
from polefem.params.quantity import quantity_of

__all__ = ["field_names", "field_value", "shown", "with_fields"]

Value = TypeVar("Value")


def field_names(value: Any, prefix: str = "") -> tuple[str, ...]:
    """Every dotted name under a frozen dataclass, tables before what they hold.

    >>> from polefem.params import Pole, Notch
    >>> field_names(Pole(arc=0.5, notches=(Notch(at=0.1, width=1e-3, depth=1e-3),)))[3:6]
    ('notches', 'notches.0', 'notches.0.at')
    """
    return tuple(_names(value, prefix))


def _names(value: Any, prefix: str) -> Iterator[str]:
    for name, part in _parts(value):
        yield prefix + name
        yield from _names(part, f"{prefix}{name}.")


def _parts(value: Any) -> list[tuple[str, Any]]:
    if isinstance(value, tuple):
        return [(str(at), part) for at, part in enumerate(value)]
    whole = callable(getattr(value, "content", None))  # a steel is changed as one
    if dataclasses.is_dataclass(value) and not isinstance(value, type) and not whole:
        return [(f.name, getattr(value, f.name)) for f in dataclasses.fields(value) if f.init]
    return []


def shown(owner: Any, name: str, value: Any) -> str:
    """A field's value as a person reads it: in the unit that the class (or union of classes) which holds it says.

    >>> from polefem.params import Machine
    >>> shown(Machine, "air_gap", 0.5e-3), shown(Machine, "stator_poles", 6), shown(Machine, "no_such", 0.5e-3)
    ('0.5 mm', '6', '0.0005')
    """
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    how = quantity_of(owner, name)
    return how.setting(value) if how else f"{value:.5g}" if isinstance(value, float) else str(value)


def field_value(value: Any, name: str) -> Any:
    """The value of one field by its dotted name; raises InvalidValue for a name that is not there."""
    before = ""
    for step in name.split("."):
        value = _part(value, step, before)
        before += f"{step}."
    return value


def with_fields(value: Value, changes: Mapping[str, Any]) -> Value:
    """A copy with the fields of these dotted names changed, each value checked by the part that holds it.

    Raises InvalidValue for a name that is not there, and whatever the changed parts refuse.

    >>> from polefem.params import Pole
    >>> with_fields(Pole(arc=0.5), {"arc": 0.6}).arc
    0.6
    """
    return cast(Value, _with_fields(value, changes, ""))


def _with_fields(value: Any, changes: Mapping[str, Any], before: str) -> Any:
    """As `with_fields`, of the part whose names begin so."""
    heads: dict[str, dict[str, Any]] = {}
    for name, new in changes.items():
        head, _, rest = name.partition(".")
        _part(value, head, before)
        heads.setdefault(head, {})[rest] = new
    return _rebuilt(value, {head: _changed(value, head, rests, before) for head, rests in heads.items()})


def _changed(value: Any, head: str, rests: dict[str, Any], before: str) -> Any:
    # A whole part may be put in place and its own fields changed in the same breath: the part goes first.
    part = rests.pop("") if "" in rests else _part(value, head, before)
    return _with_fields(part, rests, f"{before}{head}.") if rests else part


def _rebuilt(value: Any, parts: dict[str, Any]) -> Any:
    if isinstance(value, tuple):
        return tuple(parts.get(str(at), part) for at, part in enumerate(value))
    return dataclasses.replace(value, **parts)


def _part(value: Any, step: str, before: str) -> Any:
    parts = dict(_parts(value))
    if step not in parts:
        raise UnknownName(unknown("a field is called by its dotted name", "field", step, parts, before))
    return parts[step]
