"""Machines as TOML files, the unit in the key: `air_gap_mm`, `arc_deg`.

The keys follow from the fields of the dataclasses themselves: numbers in the unit that their field says (`Quantity`),
counts and words bare, parts as tables, parts that repeat as lists of tables. What is not a key of its table is
refused with the list of what is.
"""

from __future__ import annotations

import dataclasses
import json
import os
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from polefem.errors import InvalidValue, UnknownName, UnusualValue, refusal, unknown
from polefem.files import read_text
from polefem.materials import NU0, Steel, steel_names
from polefem.params.axial import AxialMachine
from polefem.params.checks import number, printable
from polefem.params.kinds import Machine
from polefem.params.machine import OuterRotorMachine, RadialMachine
from polefem.params.quantity import Quantity

__all__ = ["load_machine", "machine_from_text", "machine_text"]

_KINDS: dict[str, type] = {
    "radial": RadialMachine,
    "radial, outer rotor": OuterRotorMachine,
    "axial": AxialMachine,
}

#: Keys of a steel that was cut, pressed and joined: see `Steel.as_built`.
_BUILT = ("as_built", "polarisation")


def load_machine(path: str | os.PathLike[str]) -> Machine:
    """The machine that a TOML file describes.

    Raises InvalidValue, with the file's name, for a file that is missing or no TOML, for unknown or missing
    keys, and for values no machine can have; GeometryRefused where values contradict each other.
    """
    text = read_text(path, "a machine file must be readable text")
    try:
        return machine_from_text(text)
    except InvalidValue as error:
        raise InvalidValue(f"{Path(path).name}: {error}") from error


def machine_from_text(text: str) -> Machine:
    """The machine that TOML text describes; raises as `load_machine` does."""
    try:
        table = tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # a number of thousands of digits, lists in lists in lists
        sentence = refusal("a machine file must be TOML", "text", "not TOML", f"TOML 1.0 ({error})")
        raise InvalidValue(sentence) from error
    kind = table.pop("kind", None)
    if not isinstance(kind, str) or kind not in _KINDS:
        found = "missing" if kind is None else repr(kind)
        allowed = ", or ".join(repr(name) for name in _KINDS)
        raise InvalidValue(refusal("a machine file says what it describes", "kind", found, allowed))
    try:
        machine: Machine = _part((_KINDS[kind],), table, "")
    except UnusualValue as error:
        raise InvalidValue(error.in_file) from error
    return machine


def machine_text(machine: Machine) -> str:
    """TOML text that `machine_from_text` turns into the same machine, dimensions to twelve digits."""
    (kind,) = (name for name, cls in _KINDS.items() if cls is type(machine))
    return f"kind = {json.dumps(kind)}\n" + "\n".join(_lines(machine, "")) + "\n"


@dataclasses.dataclass(frozen=True)
class _Key:
    """One key of a table. factor: to SI, of a dimension. parts: the classes a table may stand for. single, many:
    whether one table may stand there, or a list of them."""

    field: str
    required: bool
    factor: float | None = None
    parts: tuple[type, ...] = ()
    single: bool = True
    many: bool = False


def _keys(cls: type) -> dict[str, _Key]:
    hints = get_type_hints(cls)
    return dict(_key(field, hints[field.name]) for field in dataclasses.fields(cls) if field.init)


def _key(field: dataclasses.Field[Any], hint: Any) -> tuple[str, _Key]:
    required = field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
    options = [option for option in _options(hint) if option is not NoneType]
    ones: tuple[type, ...] = tuple(o for o in options if isinstance(o, type) and dataclasses.is_dataclass(o))
    rows: tuple[type, ...] = tuple(get_args(o)[0] for o in options if get_origin(o) is tuple)
    rows = tuple(part for part in rows if dataclasses.is_dataclass(part))
    if ones or rows:
        name = field.name if ones else _singular(field.name)
        return name, _Key(field.name, required, None, ones or rows, bool(ones), bool(rows))
    how: Quantity | None = field.metadata.get("quantity")
    if how is None or not how.unit:
        return field.name, _Key(field.name, required)
    return f"{field.name}_{how.unit}", _Key(field.name, required, how.size)


def _options(hint: Any) -> tuple[Any, ...]:
    return get_args(hint) if get_origin(hint) in (Union, UnionType) else (hint,)


def _singular(name: str) -> str:
    return name.removesuffix("es" if name.endswith("ches") else "s")


def _part(classes: tuple[type, ...], table: Any, path: str) -> Any:
    where = path.rstrip(".") or "the file"
    if not isinstance(table, Mapping):
        raise InvalidValue(refusal("a part is a table", where, repr(table), f"a table [{where}]"))
    if classes == (Steel,):
        return _steel(table, where)
    cls = max(classes, key=lambda option: len(set(table) & set(_keys(option))))
    keys = _keys(cls)
    for name in table:
        if name not in keys:
            known = dict.fromkeys(one for option in classes for one in _keys(option))
            raise UnknownName(unknown("a machine file holds known keys", "key", name, known, path))
    for name, key in keys.items():
        if key.required and name not in table:
            raise InvalidValue(refusal("a machine must be whole", path + name, "missing", "a value for it"))
    return cls(**{keys[name].field: _value(keys[name], value, path + name) for name, value in table.items()})


def _value(key: _Key, value: Any, name: str) -> Any:
    if key.many and isinstance(value, list):
        return tuple(_part(key.parts, table, f"{name}.{at}.") for at, table in enumerate(value))
    if key.parts and not key.single:
        raise InvalidValue(
            refusal("parts that repeat are tables in a list", name, repr(value), f"[[{name}]]")
        )
    if key.parts:
        return _part(key.parts, value, f"{name}.")
    if isinstance(value, list):
        return tuple(_dimension(key, one, name) for one in value)
    return _dimension(key, value, name)


def _dimension(key: _Key, value: Any, name: str) -> Any:
    if key.factor is None:
        return value
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InvalidValue(refusal("a dimension must be a number", name, repr(value), "a finite number"))
    return number(name, value) * key.factor


def _steel(table: Mapping[str, Any], where: str) -> Steel:
    named = (
        {"name": printable("a steel has a name", f"{where}.name", table["name"])} if "name" in table else {}
    )
    built = {key: number(f"{where}.{key}", table[key]) for key in _BUILT if key in table}
    if built:
        sheet = _steel({key: value for key, value in table.items() if key not in built}, where)
        return sheet.as_built(built.get("as_built", 0.0), built.get("polarisation", 1.0))
    made_of = set(table) - set(named)
    if made_of - {"saturation_T"} == {"h_A_per_m", "b_T"}:
        saturation = table.get("saturation_T")
        if saturation is not None:
            saturation = number(f"{where}.saturation_T", saturation)
        h, b = (_numbers(f"{where}.{name}", table[name]) for name in ("h_A_per_m", "b_T"))
        return Steel.from_table(h, b, **named, saturation=saturation)
    if made_of == {"mu_r"}:
        return Steel.linear(number(f"{where}.mu_r", table["mu_r"]), **named)
    if named and not made_of:
        return Steel.named(table["name"])
    found, allowed = (
        ", ".join(table) or "nothing",
        "a name of the library, or h_A_per_m with b_T (and saturation_T), or mu_r; with as_built and polarisation for "
        "what building did to it",
    )
    raise InvalidValue(refusal("a steel is known by its law", where, found, allowed))


def _numbers(name: str, values: Any) -> list[float]:
    if not isinstance(values, list):
        raise InvalidValue(refusal("a curve is lists of numbers", name, repr(values), "a list"))
    return [number(f"{name}[{at}]", value) for at, value in enumerate(values)]


def _lines(value: Any, path: str) -> Iterator[str]:
    keys = _keys(type(value))
    for name, key in keys.items():
        part = getattr(value, key.field)
        if not key.parts and part is not None:
            yield f"{name} = {_written(part, key.factor)}"
    for name, key in keys.items():
        part = getattr(value, key.field)
        for one in part if isinstance(part, tuple) else (part,):
            if key.parts and one is not None:
                yield f"\n[[{path}{name}]]" if isinstance(part, tuple) else f"\n[{path}{name}]"
                yield from _steel_lines(one) if isinstance(one, Steel) else _lines(one, f"{path}{name}.")


def _written(value: Any, factor: float | None) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(_written(one, factor) for one in value)}]"
    return json.dumps(value) if factor is None else f"{value / factor:.12g}"


def _steel_lines(steel: Steel) -> Iterator[str]:
    if steel.sheet is not None and steel.allowance is not None:
        yield from _steel_lines(steel.sheet)
        yield f"as_built = {steel.allowance.share!r}"
        yield f"polarisation = {steel.allowance.polarisation!r}"
        return
    yield f"name = {json.dumps(steel.name, ensure_ascii=False)}"
    if steel.law.b.size == 1:
        yield f"mu_r = {NU0 / float(steel.law.slope[0])!r}"
    elif steel.name not in steel_names() or Steel.named(steel.name).content() != steel.content():
        points = steel.law if steel.curve is None else steel.curve
        yield f"h_A_per_m = {points.h.tolist()}"
        yield f"b_T = {points.b.tolist()}"
        if steel.curve is not None and steel.curve.saturation is not None:
            yield f"saturation_T = {steel.curve.saturation!r}"
