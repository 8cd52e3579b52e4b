"""Round wire as it is bought: the copper's diameter, and the diameter over its enamel.

Metric wire comes in the preferred numbers of ISO 3, series R20 and, between them, R40, which IEC 60317-0-1 lists as
nominal diameters. American gauges follow ASTM B258: d = 0.127 mm * 92^((36 - n) / 39).

What enamel adds to the diameter is a power of it through two of the largest overall diameters in IEC 60317-0-1: 0.544
mm over 0.500 mm and 1.062 over 1.000 for grade 1, 0.566 and 1.094 for grade 2. It grows about as the square root
of the diameter; for thick wire the standard allows less (at 2 mm by some 0.02 mm), so that what fits by this formula
fits. American wire is taken to be enamelled alike (an assumption): single build as grade 1, heavy build as grade 2.

What the standards say is from memory.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from polefem.copper.metal import copper_resistivity
from polefem.errors import InvalidValue, refusal
from polefem.params.checks import positive, within

__all__ = ["Wire", "bare_diameter", "enamelled_diameter", "preferred_diameters"]

R40 = (
    *(
        1.0,
        1.06,
        1.12,
        1.18,
        1.25,
        1.32,
        1.4,
        1.5,
        1.6,
        1.7,
        1.8,
        1.9,
        2.0,
        2.12,
        2.24,
        2.36,
        2.5,
        2.65,
        2.8,
        3.0,
    ),
    *(
        3.15,
        3.35,
        3.55,
        3.75,
        4.0,
        4.25,
        4.5,
        4.75,
        5.0,
        5.3,
        5.6,
        6.0,
        6.3,
        6.7,
        7.1,
        7.5,
        8.0,
        8.5,
        9.0,
        9.5,
    ),
)
#: Bare diameters (m) through which the enamel's formula goes, and the largest diameters over it, by grade.
FITTED = (0.5e-3, 1.0e-3)
OVERALL = {1: (0.544e-3, 1.062e-3), 2: (0.566e-3, 1.094e-3)}
NEWTON_STEPS = 20


@dataclass(frozen=True)
class Wire:
    """Round copper wire. bare: diameter of its copper, overall: over its enamel, m. name: as it is ordered.

    >>> Wire.metric(0.5e-3).overall, Wire.gauge(20).name
    (0.000566, 'AWG 20, grade 2')
    >>> print(f"{Wire.gauge(20).bare * 1e3:.4f} mm")
    0.8118 mm
    """

    bare: float
    overall: float
    name: str = ""

    def __post_init__(self) -> None:
        positive("a wire must have copper", "bare", self.bare, "m")
        within("enamel lies outside the copper", "overall", self.overall, self.bare, math.inf, "m")

    @classmethod
    def metric(cls, bare: float, grade: int = 2) -> Wire:
        """Of a nominal diameter (m) of IEC 60317-0-1, with enamel of grade 1 or 2.

        Raises InvalidValue for a diameter that is no preferred number, naming its neighbours, and for other grades.
        """
        positive("a wire must have copper", "bare", bare, "m")
        below = [size for size in preferred_diameters(bare / 1.1, bare) if size < bare * (1 + 1e-6)]
        above = [size for size in preferred_diameters(bare, bare * 1.1) if size > bare * (1 - 1e-6)]
        if below[-1] != above[0]:
            allowed = f"{below[-1] * 1e3:.4g} or {above[0] * 1e3:.4g} mm"
            rule = "metric wire comes in preferred numbers"
            raise InvalidValue(refusal(rule, "bare", f"{bare * 1e3:.6g} mm", allowed))
        size = below[-1]
        return cls(size, enamelled_diameter(size, grade), f"{size * 1e3:.3f} mm, grade {grade}")

    @classmethod
    def gauge(cls, number: int, grade: int = 2) -> Wire:
        """Of an American gauge (ASTM B258; -3 is 4/0), with enamel of grade 1 or 2."""
        bare = 0.127e-3 * 92.0 ** ((36 - number) / 39)
        return cls(bare, enamelled_diameter(bare, grade), f"AWG {number}, grade {grade}")

    @classmethod
    def over_enamel(cls, overall: float) -> Wire:
        """Of a diameter over its enamel (m), taken to be grade 2."""
        return cls(bare_diameter(overall), overall, f"{overall * 1e3:.3f} mm over its enamel")

    @property
    def area(self) -> float:
        """Of its copper, m2."""
        return math.pi / 4 * self.bare**2

    def resistance(self, temperature: float = 20.0) -> float:
        """Of one metre at a temperature in degC, ohm/m."""
        return copper_resistivity(temperature) / self.area


def preferred_diameters(low: float, high: float) -> list[float]:
    """Nominal diameters of metric wire from `low` to `high` (m), ascending: R20 and R40.

    >>> [round(d * 1e3, 3) for d in preferred_diameters(0.5e-3, 0.6e-3)]
    [0.5, 0.53, 0.56, 0.6]
    """
    return [size for size in _diameters(low, high) if low * (1 - 1e-6) <= size <= high * (1 + 1e-6)]


def _diameters(low: float, high: float) -> Iterator[float]:
    for decade in range(math.floor(math.log10(low)), math.floor(math.log10(high)) + 1):
        yield from (float(f"{number:g}e{decade}") for number in R40)


def enamelled_diameter(bare: float, grade: int = 2) -> float:
    """Largest diameter over the enamel of wire whose copper measures `bare`, m; see the head of this file.

    >>> round(enamelled_diameter(1e-3, 1) * 1e3, 6), round(enamelled_diameter(0.71e-3) * 1e3, 3)
    (1.062, 0.789)
    """
    factor, power = _enamel(grade)
    return round(bare + factor * math.pow(bare, power), 12)


def bare_diameter(overall: float, grade: int = 2) -> float:
    """Diameter of the copper in a wire of this diameter over its enamel, m: `enamelled_diameter` turned round.

    >>> round(bare_diameter(1.094e-3) * 1e3, 6)
    1.0
    """
    factor, power = _enamel(grade)
    bare = overall / 2
    for _ in range(
        NEWTON_STEPS
    ):  # the sum rises and is concave: from below Newton's steps never overshoot twice
        excess = bare + factor * math.pow(bare, power) - overall
        bare = max(bare - excess / (1 + factor * power * math.pow(bare, power - 1)), 1e-3 * overall)
    return bare


def _enamel(grade: int) -> tuple[float, float]:
    """Factor and power of what enamel adds to the diameter, both in metres."""
    if grade not in OVERALL:
        raise InvalidValue(refusal("enamel is of a known grade", "grade", grade, "1 or 2"))
    low, high = (overall - bare for overall, bare in zip(OVERALL[grade], FITTED, strict=True))
    power = math.log(high / low) / math.log(FITTED[1] / FITTED[0])
    return high / math.pow(FITTED[1], power), power
