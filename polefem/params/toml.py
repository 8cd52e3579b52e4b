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
from polefem.params.axial import AxialMachine
from polefem.params.machine import OuterRotorMachine, RadialMachine
from polefem.units import deg, mm

__all__ = ["load_machine", "machine_from_text", "machine_text"]

_ANGLES = frozenset({"arc", "taper", "at", "tilt", "start"})
_BARE = frozenset({"most_fill", "stations"})
Machine = RadialMachine | OuterRotorMachine | AxialMachine
_KINDS: dict[str, type[Machine]] = {
    "radial": RadialMachine,
    "outer rotor": OuterRotorMachine,
    "axial": AxialMachine,
}


def load_machine(path: str | os.PathLike[str]) -> Machine:
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


def machine_from_text(text: str) -> Machine:
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
    machine: Machine = _built(_KINDS[kind], table, "")
    return machine


def machine_text(machine: Machine) -> str:
    """TOML text that `machine_from_text` turns into the same machine, dimensions to twelve digits."""
    (kind,) = (name for name, cls in _KINDS.items() if cls is type(machine))
    return f'kind = "{kind}"\n' + "\n".join(_lines(machine, ""))


@dataclasses.dataclass(frozen=True)
class _Key:
    """One key of a table: the field it fills, the factor to SI, and the parts it may hold, one or many of them."""

    field: str
    factor: float | None = None
    parts: tuple[type, ...] = ()
    one: bool = True
    many: bool = False
    required: bool = False


def _keys(cls: type) -> dict[str, _Key]:
    hints = get_type_hints(cls)
    return dict(_key(field, hints[field.name]) for field in dataclasses.fields(cls) if field.init)


def _key(field: dataclasses.Field[Any], hint: Any) -> tuple[str, _Key]:
    required = field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
    options = _options(hint)
    rows = [get_args(option)[0] for option in options if get_origin(option) is tuple]
    kinds = {option for option in [*options, *rows] if isinstance(option, type)}
    parts = tuple(
        kind for kind in [*options, *rows] if dataclasses.is_dataclass(kind) and isinstance(kind, type)
    )
    if parts:
        one = any(option in parts for option in options)
        name = field.name if one else parts[0].__name__.lower()
        return name, _Key(field.name, None, tuple(dict.fromkeys(parts)), one, bool(rows), required)
    if float in kinds and field.name not in _BARE:
        unit, factor = ("deg", deg) if field.name in _ANGLES else ("mm", mm)
        return f"{field.name}_{unit}", _Key(field.name, factor, required=required, many=bool(rows))
    return field.name, _Key(field.name, required=required, many=bool(rows))


def _options(hint: Any) -> list[Any]:
    """What a field may be, unions taken apart."""
    if get_origin(hint) in (Union, UnionType):
        return [option for option in get_args(hint) if option is not type(None)]
    return [hint]


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
    if key.parts:
        return _part(key, value, name)
    if isinstance(value, list) and key.many:
        return tuple(
            _value(dataclasses.replace(key, many=False), one, f"{name}.{at}") for at, one in enumerate(value)
        )
    if key.factor is not None:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InvalidValue(refusal("a dimension must be a number", name, repr(value), "a finite number"))
        return value * key.factor
    return value


def _part(key: _Key, value: Any, name: str) -> Any:
    if key.many and (isinstance(value, list) or not key.one):
        if not isinstance(value, list):
            raise InvalidValue(
                refusal("parts that repeat are tables in a list", name, repr(value), f"[[{name}]]")
            )
        return tuple(_one(key, table, f"{name}.{at}.") for at, table in enumerate(value))
    return _one(key, value, f"{name}.")


def _one(key: _Key, table: Any, path: str) -> Any:
    """A part from its table; where it may be one of several, the table says which by its `kind`."""
    kinds = {_kind(part): part for part in key.parts}
    if len(kinds) == 1 or not isinstance(table, Mapping):
        return _built(key.parts[0], table, path)
    kind = table.get("kind")
    if kind not in kinds:
        found = "missing" if kind is None else repr(kind)
        raise InvalidValue(refusal("a part says what it is", f"{path}kind", found, ", ".join(kinds)))
    return _built(kinds[kind], {name: value for name, value in table.items() if name != "kind"}, path)


def _kind(part: type) -> str:
    """What a file calls a part that may be one of several: SlopedFace is a face of the kind "sloped"."""
    return part.__name__.removesuffix("Face").lower()


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
        if part is None:
            continue
        if key.parts == (Steel,):
            tables += _steel_lines(part, path + name)
        elif isinstance(part, tuple) and key.parts:
            for one in part:
                tables += ["", f"[[{path}{name}]]", *_part_lines(key, one, f"{path}{name}.")]
        elif key.parts:
            tables += ["", f"[{path}{name}]", *_part_lines(key, part, f"{path}{name}.")]
        else:
            plain.append(f"{name} = {_text(part, key.factor)}")
    return plain + tables


def _part_lines(key: _Key, part: Any, path: str) -> list[str]:
    own = [f'kind = "{_kind(type(part))}"'] if len(key.parts) > 1 else []
    return own + _lines(part, path)


def _text(value: Any, factor: float | None) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(_text(one, factor) for one in value)}]"
    if factor is not None:
        return f"{value / factor:.12g}"
    return json.dumps(value)


def _steel_lines(steel: Steel | None, path: str) -> list[str]:
    if steel is None:
        return []
    law = steel.law
    if law.b.size == 1:
        made_of = [f"mu_r = {NU0 / float(law.slope[0])!r}"]
    else:
        made_of = [f"h_A_per_m = {law.h.tolist()}", f"b_T = {law.b.tolist()}"]
    return ["", f"[{path}]", f"name = {json.dumps(steel.name, ensure_ascii=False)}", *made_of]
