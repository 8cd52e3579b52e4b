"""Sizes that machines are built in: what lies outside is most often a unit left out, so it is asked about at the door.

A rotor measures 3 mm to 2 m across its gap, the gap a hundredth of a millimetre to a tenth of its radius, a pole's
arc a fiftieth of its pitch at least; no other length is many times the machine's own. Whoever means such a machine
says `unusual=True` with it.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from polefem.errors import UnusualValue, refusal
from polefem.params.quantity import Quantity, quantities
from polefem.units import mm

__all__ = ["check_usual"]

_RULE = "a machine has a size that can be built"
_GAP_RADIUS = (1.5 * mm, 1.0)
_LEAST_GAP = 0.01 * mm
_LEAST_ARC = 1 / 50  # of a pole pitch
_MOST = 10.0  # lengths of the machine itself, in radii of its gap
_FAR = 100.0  # those that say how flat something is, or how far the field is followed
_LEAST = {"stack_length": 0.1 * mm, "coil_width": 0.01 * mm, "wire_diameter": 0.01 * mm}
_ROUNDING = 1e-9


@dataclass(frozen=True)
class _Dimension:
    """A value with the bounds of what is built, SI. name: dotted, of its field. how: it is shown."""

    name: str
    value: float
    how: Quantity
    low: float
    high: float

    @property
    def meant(self) -> float | None:
        """The number, in its unit, that would have been usual: without its unit, or with it twice; None for none."""
        size = self.how.size
        for value in (self.value * size, self.value / size):
            if self.low <= value <= self.high:
                return value / size
        return None

    def in_python(self) -> str:
        """The sentence for who types numbers with factors."""
        asked = "" if self.meant is None else f": did you mean {self.meant:.6g} * {self.how.unit}?"
        found = self.how.setting(self.value)
        return refusal(_RULE, self.name, found, f"{self._span()}{asked} (unusual=True lets it stand)")

    def in_file(self) -> str:
        """The sentence for who types numbers behind keys that name the unit."""
        key, asked = f"{self.name}_{self.how.unit}", ""
        if self.meant is not None:
            asked = f": did you mean {self.meant:.6g}?"
        found = self.how.exact(self.value)
        return refusal(_RULE, key, found, f"{self._span()}{asked} (unusual = true lets it stand)")

    def _span(self) -> str:
        exact, unit = self.how.exact, self.how.unit
        if self.low == -self.high:
            return f"up to {exact(self.high)} {unit}"
        return f"{exact(self.low)} to {exact(self.high)} {unit}"


def check_usual(machine: Any, outside: float) -> None:
    """Raise UnusualValue for the first dimension outside what anyone builds, the machine's own before its parts'.

    machine: any kind of `params.Machine`. outside: radius of its steel, m.
    """
    for one in _dimensions(machine, outside):
        if not isinstance(one.value, int | float):
            continue  # no number at all: the field's own check says so
        size = max(abs(one.low), abs(one.high)) * _ROUNDING
        if not one.low - size <= one.value <= one.high + size:
            error = UnusualValue(one.in_python())
            error.in_file = one.in_file()
            raise error


def _dimensions(machine: Any, outside: float) -> Iterator[_Dimension]:
    """Every dimension of a machine with its bounds, in the order in which they are asked about."""
    own = quantities(type(machine))
    radius_name = machine.gap_radius_name
    radius = getattr(machine, radius_name)
    yield _Dimension(radius_name, radius, own[radius_name], *_GAP_RADIUS)
    yield _Dimension("air_gap", machine.air_gap, own["air_gap"], _LEAST_GAP, max(radius / 10, _LEAST_GAP))
    for name, how in own.items():
        if how.unit == "mm" and name not in (radius_name, "air_gap"):
            most = _FAR if name == "surrounding_air" else _MOST
            yield _Dimension(name, getattr(machine, name), how, _LEAST.get(name, 0.0), most * radius)
    pitches = {"stator_pole": math.tau / machine.stator_poles, "rotor_pole": math.tau / machine.rotor_poles}
    for name, pitch in pitches.items():
        yield from _of_part(name, getattr(machine, name), outside, pitch)
    yield from _of_part("winding", machine.winding, outside, math.tau)


def _of_part(path: str, part: Any, outside: float, pitch: float) -> Iterator[_Dimension]:
    """The dimensions of a part, or of a row of parts, below a dotted name. outside: of the machine, m."""
    if isinstance(part, tuple):
        for at, one in enumerate(part):
            yield from _of_part(f"{path}.{at}", one, outside, pitch)
        return
    if not dataclasses.is_dataclass(part):
        return
    shown = quantities(type(part))
    for field in dataclasses.fields(part):
        name, value, how = field.name, getattr(part, field.name), shown.get(field.name)
        if how is None:
            yield from _of_part(f"{path}.{name}", value, outside, pitch)
        for one in value if isinstance(value, tuple) else (value,):
            if how is None or isinstance(one, bool) or not isinstance(one, int | float):
                continue
            if how.unit == "mm":
                most = outside * (_FAR if name == "radius" else 1.0)
                yield _Dimension(f"{path}.{name}", one, how, _LEAST.get(name, -most), most)
            elif how.unit == "deg":
                most = pitch / 2 if name == "at" else math.pi
                least = pitch * _LEAST_ARC if name == "arc" else -most
                yield _Dimension(f"{path}.{name}", one, how, least, most)
