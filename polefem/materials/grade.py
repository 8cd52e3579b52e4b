"""What a steel grade promises beside its curve: loss, density, resistivity, thickness, each with its standing."""

from dataclasses import dataclass
from typing import Literal

from polefem.errors import InvalidValue, refusal

__all__ = ["Figure", "Grade", "Loss", "Seen", "Standing"]

#: How much a figure can be relied on when buying.
Standing = Literal[
    "guaranteed minimum",
    "guaranteed maximum",
    "conventional",
    "measured",
    "typical",
    "computed",
    "assumption",
]
#: How its source was seen: read, read in a second text that names it, or named from memory.
Seen = Literal["read", "read in a second text", "from memory", "computed"]


@dataclass(frozen=True)
class Figure:
    """A number with its unit, its standing and where it is from.

    >>> print(Figure(7650.0, "kg/m3", "conventional", "IEC 60404-8-4", "from memory"))
    7650 kg/m3 (conventional; IEC 60404-8-4, from memory)
    """

    value: float
    unit: str
    standing: Standing
    source: str
    seen: Seen

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit} ({self.standing}; {self.source}, {self.seen})"


@dataclass(frozen=True)
class Loss:
    """A specific loss under a sine: peak flux density in T, frequency in Hz, loss in W/kg."""

    peak: float
    frequency: float
    figure: Figure


@dataclass(frozen=True)
class Grade:
    """The figures of a grade other than its curve.

    Attributes
    ----------
    density : Figure, kg/m3
    resistivity : Figure, ohm m
    thickness : Figure, m, of a sheet; None for a bar
    minima : pairs of a field strength in A/m and the least polarisation there, a Figure in T
    losses : the losses known at a sine
    """

    name: str
    density: Figure
    resistivity: Figure
    thickness: Figure | None = None
    minima: tuple[tuple[float, Figure], ...] = ()
    losses: tuple[Loss, ...] = ()

    def content(self) -> tuple[str | float, ...]:
        """The numbers that a result may depend on, for a content key."""
        thickness = () if self.thickness is None else (self.thickness.value,)
        losses = [number for loss in self.losses for number in (loss.peak, loss.frequency, loss.figure.value)]
        return ("grade", self.density.value, self.resistivity.value, *thickness, *losses)

    def loss(self, peak: float, frequency: float) -> Figure:
        """The figure in W/kg for a sine of this peak in T and this frequency in Hz.

        Raises
        ------
        InvalidValue
            If the grade gives no figure there.
        """
        for loss in self.losses:
            if (loss.peak, loss.frequency) == (peak, frequency):
                return loss.figure
        known = (
            ", ".join(f"{loss.peak:g} T at {loss.frequency:g} Hz" for loss in self.losses) or "none at all"
        )
        raise InvalidValue(
            refusal("a loss is read where it is given", self.name, f"{peak:g} T at {frequency:g} Hz", known)
        )
