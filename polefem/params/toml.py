"""Machines as TOML files, the unit in the key: `air_gap_mm`, `arc_deg`.

The keys follow from the fields of the dataclasses themselves: lengths in millimetres, angles in degrees,
counts bare, parts as tables. What is not a key of its table is refused with the list of what is.
"""

from __future__ import annotations

import dataclasses
import json
import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from polefem.errors import InvalidValue, refusal
from polefem.materials import NU0, Steel
from polefem.params.machine import RadialMachine
from polefem.units import deg, mm

__all__ = ["load_machine", "machine_from_text", "machine_text"]

_ANGLES = frozenset({"arc", "taper", "at"})
_KINDS = {"radial": RadialMachine}


def load_machine(path: str | os.PathLike[str]) -> RadialMachine:
    """The machine that a TOML file describes.

    Raises InvalidValue, with the file's name, for a file that is missing or no TOML, for unknown or missing
    keys, and for values no machine can have; GeometryRefused where values contradict each other.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InvalidValue(
            refusal("a machine file must be readable text", "path", repr(str(path)), f"a TOML file ({error})")
        ) from error
    try:
        return machine_from_text(text)
    except InvalidValue as error:
        raise InvalidValue(f"{file.name}: {error}") from error


def machine_from_text(text: str) -> RadialMachine:
    """The machine that TOML text describes; raises as `load_machine` does."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InvalidValue(
            refusal("a machine file must be TOML", "text", "not TOML", f"TOML 1.0 ({error})")
        ) from error
    kind = table.pop("kind", None)
    if kind not in _KINDS:
        found = "missing" if kind is None else repr(kind)
        raise InvalidValue(refusal("a machine file says what it describes", "kind", found, ", ".join(_KINDS)))
    machine: RadialMachine = _built(_KINDS[kind], table, "")
    return machine


def machine_text(machine: RadialMachine) -> str:
    """TOML text that `machine_from_text` turns into the same machine, dimensions to twelve digits."""
    (kind,) = (name for name, cls in _KINDS.items() if cls is type(machine))
    return f'kind = "{kind}"\n' + "\n".join(_lines(machine, ""))


@dataclasses.dataclass(frozen=True)
class _Key:
    """One key of a table: the field it fills, the factor to SI, and the part it holds, if any."""

    field: str
    factor: float | None = None
    part: type | None = None
    many: bool = False
    required: bool = False


def _keys(cls: type) -> dict[str, _Key]:
    hints = get_type_hints(cls)
    return dict(_key(field, hints[field.name]) for field in dataclasses.fields(cls) if field.init)


def _key(field: dataclasses.Field[Any], hint: Any) -> tuple[str, _Key]:
    required = field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
    if get_origin(hint) is tuple:
        return field.name.removesuffix("es").removesuffix("s"), _Key(
            field.name, part=get_args(hint)[0], many=True
        )
    if get_origin(hint) in (Union, UnionType):
        (hint,) = (option for option in get_args(hint) if option is not type(None))
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return field.name, _Key(field.name, part=hint, required=required)
    if hint is float:
        unit, factor = ("deg", deg) if field.name in _ANGLES else ("mm", mm)
        return f"{field.name}_{unit}", _Key(field.name, factor=factor, required=required)
    return field.name, _Key(field.name, required=required)


def _built(cls: type, table: Any, path: str) -> Any:
    where = path.rstrip(".") or "the file"
    if not isinstance(table, Mapping):
        raise InvalidValue(
            refusal("a part of a machine is a table", where, repr(table), f"a table [{where}]")
        )
    if cls is Steel:
        return _steel(table, path)
    keys = _keys(cls)
    for name in table:
        if name not in keys:
            raise InvalidValue(
                refusal("a machine file holds known keys", "key", path + name, ", ".join(keys))
            )
    for name, key in keys.items():
        if key.required and name not in table:
            raise InvalidValue(refusal("a machine must be whole", path + name, "missing", "a value for it"))
    return cls(**{keys[name].field: _value(keys[name], value, path + name) for name, value in table.items()})


def _value(key: _Key, value: Any, name: str) -> Any:
    if key.many and key.part is not None:
        if not isinstance(value, list):
            raise InvalidValue(
                refusal("parts that repeat are tables in a list", name, repr(value), f"[[{name}]]")
            )
        return tuple(_built(key.part, table, f"{name}.{at}.") for at, table in enumerate(value))
    if key.part is not None:
        return _built(key.part, value, f"{name}.")
    if key.factor is not None:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InvalidValue(refusal("a dimension must be a number", name, repr(value), "a finite number"))
        return value * key.factor
    return value


def _steel(table: Mapping[str, Any], path: str) -> Steel:
    named = {"name": table["name"]} if "name" in table else {}
    made_of = set(table) - set(named)
    if made_of == {"h_A_per_m", "b_T"}:
        return Steel.from_table(table["h_A_per_m"], table["b_T"], **named)
    if made_of == {"mu_r"}:
        return Steel.linear(table["mu_r"], **named)
    found, allowed = ", ".join(table) or "nothing", "h_A_per_m with b_T, or mu_r; and a name"
    raise InvalidValue(refusal("a steel is known by its law", path.rstrip("."), found, allowed))


def _lines(value: Any, path: str) -> list[str]:
    tables: list[str] = []
    plain: list[str] = []
    for name, key in _keys(type(value)).items():
        part = getattr(value, key.field)
        if key.many:
            for one in part:
                tables += ["", f"[[{path}{name}]]", *_lines(one, f"{path}{name}.")]
        elif key.part is Steel:
            tables += _steel_lines(part, path + name)
        elif key.part is not None:
            tables += [] if part is None else ["", f"[{path}{name}]", *_lines(part, f"{path}{name}.")]
        else:
            plain.append(f"{name} = {part if key.factor is None else f'{part / key.factor:.12g}'}")
    return plain + tables


def _steel_lines(steel: Steel | None, path: str) -> list[str]:
    if steel is None:
        return []
    law = steel.law
    if law.b.size == 1:
        made_of = [f"mu_r = {NU0 / float(law.slope[0])!r}"]
    else:
        made_of = [f"h_A_per_m = {law.h.tolist()}", f"b_T = {law.b.tolist()}"]
    return ["", f"[{path}]", f"name = {json.dumps(steel.name, ensure_ascii=False)}", *made_of]
