"""How a number is shown: unit, digits, label, which way is better. It is said once, with the field that holds it.

    arc: float = field(metadata=quantity("deg"))

Tables, pages, pictures, keys of TOML files and sentences read it there (`quantity_of`).

Digits follow the error. The rule is the Particle Data Group's (Review of Particle Physics, "Rounding"; from memory):
of the three leading digits of an error, 100 to 354 keep two, 355 to 949 keep one, and 950 to 999 are rounded up to
1000 and keep two; the value ends where its error ends. A value whose error is not known has as many digits as its
field says.
"""

from __future__ import annotations

import dataclasses
import functools
import inspect
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, get_args, get_type_hints

from polefem.errors import InvalidValue, refusal
from polefem.units import A_mm2, deg, mm, rpm

__all__ = [
    "Quantity",
    "figures_of_error",
    "percent",
    "quantities",
    "quantity",
    "quantity_of",
    "relative",
    "rounded",
    "speed_text",
]

#: Units that a person reads numbers in, and their sizes in SI.
SIZES = {
    **dict.fromkeys(("", "A", "V", "W", "K", "s", "°C", "kg", "kg m²", "ohm", "N", "Hz"), 1.0),
    **dict.fromkeys(("N m", "N m/kg", "N m s", "N m s²"), 1.0),
    "mm": mm,
    "mm/s": mm,
    "N/mm": 1e3,
    "deg": deg,
    "rpm": rpm,
    "A/mm²": A_mm2,
    "%": 0.01,
    "% of mean": 0.01,
    "mH": 1e-3,
    "mN m/W": 1e-3,
    "kg cm²": 1e-4,
    "N m/l": 1e3,
    "kPa": 1e3,
}
MOST_FIGURES = 6
NOUGHT = 1e-9  # what is left of a difference, not a figure


@dataclass(frozen=True)
class Quantity:
    """How the numbers of a field are shown; the numbers themselves are in SI.

    unit: one of `SIZES`, "" for a bare number. digits: significant figures where no error is known. more_is_better:
    whether it is wanted high. label: for the narrow head of a column; the field's own name, in words, where empty.
    turned: whether it is shown with its sign turned, as a braking torque is.
    """

    unit: str = ""
    digits: int = 4
    more_is_better: bool = False
    label: str = ""
    turned: bool = False

    def __post_init__(self) -> None:
        if self.unit not in SIZES:
            raise InvalidValue(
                refusal("a number has a known unit", "unit", repr(self.unit), ", ".join(SIZES))
            )

    @property
    def size(self) -> float:
        """The unit in SI; below 0 where the sign is turned."""
        return -SIZES[self.unit] if self.turned else SIZES[self.unit]

    def number(self, value: float | None, error: float | None = None) -> str:
        """The value (SI) in the unit, without it, as far as its error (SI) lets it be known."""
        if value is None:
            return "-"
        return rounded(value / self.size, None if error is None else error / abs(self.size), self.digits)

    def error(self, error: float | None) -> str:
        """The error (SI) in the unit, without it; empty where none is known."""
        return "" if error is None else figures_of_error(error / abs(self.size))

    def text(self, value: float | None, error: float | None = None) -> str:
        """The value with its unit; a dash where it is not known.

        >>> quantity("%")["quantity"].text(0.30512, 0.006), quantity("mm")["quantity"].text(0.4e-3)
        ('30.5 %', '0.4000 mm')
        """
        return "-" if value is None else f"{self.number(value, error)} {self.unit}".strip()

    def setting(self, value: float) -> str:
        """A value that someone chose, with its unit: it is exact, so zeros at its end say nothing.

        >>> quantity("mm")["quantity"].setting(0.4e-3)
        '0.4 mm'
        """
        return f"{self.exact(value)} {self.unit}".strip()

    def exact(self, value: float) -> str:
        """A value that someone chose in the unit, without it."""
        return f"{value / self.size:.5g}"


def quantity(
    unit: str = "", *, digits: int = 4, more_is_better: bool = False, label: str = ""
) -> Mapping[str, Quantity]:
    """The metadata of a dataclass's field that is shown so: `field(metadata=quantity("deg"))`."""
    return {"quantity": Quantity(unit, digits, more_is_better, label)}


def relative(*names: str) -> Mapping[str, tuple[str, ...]]:
    """The metadata of a dataclass's field that holds a form, to be scaled: fields of these names within it are shown as
    bare numbers, whatever unit they have elsewhere: `current: Tracking = field(metadata=relative("currents"))`."""
    return {"relative": names}


def quantities(owner: type) -> dict[str, Quantity]:
    """The fields of a dataclass that say how they are shown."""
    found = {f.name: f.metadata.get("quantity") for f in dataclasses.fields(owner)}
    return {name: how for name, how in found.items() if how is not None}


@functools.cache
def quantity_of(owner: Any, name: str) -> Quantity | None:
    """How the field of a dotted name is shown under a class (or a union of classes); None where nothing is said of it.

    >>> from polefem.params import Machine
    >>> [quantity_of(Machine, name).unit for name in ("air_gap", "rotor_pole.arc", "rotor_pole.notches.0.at")]
    ['mm', 'deg', 'deg']
    >>> quantity_of(Machine, "stator_poles"), quantity_of(Machine, "no.such.field")
    (None, None)
    """
    here, found = [owner], None
    bare: set[str] = set()
    for step in name.split("."):
        if step.isdigit():  # one of several, each shown like all
            continue
        holders = [cls for hint in here for cls in _classes(hint) if step in cls.__dataclass_fields__]
        found = next((known for cls in holders if (known := quantities(cls).get(step))), None)
        found = Quantity() if step in bare else found
        bare = {one for cls in holders for one in cls.__dataclass_fields__[step].metadata.get("relative", ())}
        here = [_hints(cls)[step] for cls in holders]
    return found


@functools.cache
def _hints(owner: type) -> dict[str, Any]:
    return get_type_hints(owner)


def _classes(hint: Any) -> Iterator[Any]:
    """The dataclasses that a type names, however deep; of a type that only others are made of, those others."""
    if isinstance(hint, type) and dataclasses.is_dataclass(hint):
        yield hint
    elif inspect.isabstract(hint):
        yield from hint.__subclasses__()
    for part in get_args(hint):
        yield from _classes(part)


def rounded(value: float, error: float | None = None, digits: int = 4) -> str:
    """A number to the digits that its error leaves, or to so many where no error is known; a dash for none.

    >>> rounded(30.512, 0.6), rounded(32.78, 0.6), rounded(32.78, 0.12), rounded(1234.5, 60.0)
    ('30.5', '32.8', '32.78', '1230')
    >>> rounded(30.5), rounded(0.0123456), rounded(12345.6), rounded(float("nan"))
    ('30.50', '0.01235', '12346', '-')
    """
    if not math.isfinite(value):
        return "-"
    if error is not None and math.isfinite(error) and error > 0.0:
        most = MOST_FIGURES - 1 - _exponent(value) if value else MOST_FIGURES
        return _fixed(value, min(_places(error), most))
    if abs(value) < NOUGHT:
        return "0"
    places = digits - 1 - _exponent(float(f"{value:.{digits - 1}e}"))
    return _fixed(value, max(places, 0))


def speed_text(speed: float) -> str:
    """A speed, rad/s, as people read it.

    >>> speed_text(10.471976)
    '100 rpm'
    """
    return f"{speed / rpm:.4g} rpm"


def figures_of_error(error: float) -> str:
    """An error to its first significant figure or its first two.

    >>> [figures_of_error(error) for error in (0.6, 0.123, 0.0354, 0.0355, 0.0961, 60.2, 0.0)]
    ['0.6', '0.12', '0.035', '0.04', '0.10', '60', '0']
    """
    if not math.isfinite(error):
        return "-"
    return _fixed(error, _places(error)) if error > 0.0 else "0"


def _places(error: float) -> int:
    """Decimal places to which an error above 0 is known; below 0 for tens and more."""
    exponent = _exponent(error)
    leading = error / 10.0**exponent
    return 1 - exponent if leading < 3.55 else -exponent


def _exponent(value: float) -> int:
    return math.floor(math.log10(abs(value)))


def _fixed(value: float, places: int) -> str:
    said = f"{round(value, places):.{max(places, 0)}f}"
    return said.removeprefix("-") if not float(said) else said


def percent(share: float) -> str:
    """A share in per cent, as people read it.

    >>> percent(0.956)
    '96 %'
    """
    return f"{100 * share:.0f} %"
