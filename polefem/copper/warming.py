"""How warm a winding gets, coarsely: its heat spread over the machine's outside, against what its insulation stands.

    rise = loss / (coefficient * surface),  coefficient = 10 to 15 W/(m2 K)

for natural convection and radiation from a painted case in still air (common practice). The surface is the mantle and
both ends of the cylinder that the machine just fits into. The formula gives the surface's rise; copper deep in a coil
is warmer, by 10 to 20 K where the coil touches iron well (common practice).

Classes are those of IEC 60085 (A, B and F read in a second text), for an ambient of 40 degC.
The mean of a winding, as its resistance shows it, must stay below the class by a margin for its hottest spot: IEC
60034-1 leaves B a rise of 80 K, F 105 K and H 125 K. For the others 15 K are kept here (an assumption). What else the
two standards say is from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

from polefem.copper.envelope import Envelope
from polefem.errors import InvalidValue, refusal
from polefem.params.checks import positive

__all__ = ["COEFFICIENTS", "INSULATION_CLASSES", "THERMAL_CAUTION", "Warming", "allowed_rise", "warming"]

COEFFICIENTS = (10.0, 15.0)  #: W/(m2 K): least and most
AMBIENT = 40.0  #: degC
#: Temperature (degC) that each class of insulation stands for its life.
INSULATION_CLASSES = {
    "Y": 90.0,
    "A": 105.0,
    "E": 120.0,
    "B": 130.0,
    "F": 155.0,
    "H": 180.0,
    "N": 200.0,
    "R": 220.0,
}
STATED_RISES = {"B": 80.0, "F": 105.0, "H": 125.0}
MARGIN = 15.0
THERMAL_CAUTION = (
    "A coarse check that knows neither the case nor its mounting: put a thermal cut-out in a coil, and take the "
    "winding's temperature by its resistance before you trust it."
)


@dataclass(frozen=True)
class Warming:
    """What a loss does to a winding in still air.

    loss: W. surface: that sheds it, m2. least_rise, most_rise: of the surface over the ambient, K. insulation: its
    class. allowed_rise: of the winding's mean, K.
    """

    loss: float
    surface: float
    least_rise: float
    most_rise: float
    insulation: str
    allowed_rise: float

    @property
    def verdict(self) -> str:
        """Whether the winding stays cool: "stays within", "may exceed" or "exceeds"."""
        if self.most_rise <= self.allowed_rise:
            return "stays within"
        return "may exceed" if self.least_rise <= self.allowed_rise else "exceeds"

    def __str__(self) -> str:
        return (
            f"{self.loss:.4g} W over {self.surface * 1e4:.0f} cm² warm it by {self.least_rise:.0f} to "
            f"{self.most_rise:.0f} K: {self.verdict} the {self.allowed_rise:.0f} K that class {self.insulation} "
            f"leaves. {THERMAL_CAUTION}"
        )


def warming(loss: float, hull: Envelope, insulation: str = "F") -> Warming:
    """The rise of temperature for a loss (W, all that turns into heat in the machine), by the formula above.

    Raises InvalidValue for an unknown class.

    >>> print(warming(60.0, Envelope(90e-3, 120e-3)))  # doctest: +ELLIPSIS
    60 W over 1188 cm² warm it by 34 to 51 K: stays within the 105 K that class F leaves. A coarse check ...
    """
    positive("a loss cannot cool", "loss", loss, "W", zero=True)
    least, most = (loss / (coefficient * hull.surface) for coefficient in reversed(COEFFICIENTS))
    return Warming(loss, hull.surface, least, most, insulation, allowed_rise(insulation))


def allowed_rise(insulation: str) -> float:
    """Rise of a winding's mean over 40 degC that a class of insulation allows, K.

    >>> allowed_rise("F"), allowed_rise("A")
    (105.0, 50.0)
    """
    if insulation not in INSULATION_CLASSES:
        raise InvalidValue(
            refusal(
                "insulation is of a known class",
                "insulation",
                repr(insulation),
                ", ".join(INSULATION_CLASSES),
            )
        )
    return STATED_RISES.get(insulation, INSULATION_CLASSES[insulation] - AMBIENT - MARGIN)
