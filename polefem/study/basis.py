"""What is held equal when shapes are compared: copper loss, current, or mean torque.

A shape that makes less torque would look smoother or rougher than it is if each had its own loss.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from polefem.params.checks import positive
from polefem.params.quantity import quantity

__all__ = ["Basis", "EqualCopperLoss", "EqualCurrent", "EqualMeanTorque"]


@dataclass(frozen=True)
class EqualCopperLoss:
    """Every design may turn so many watts into heat in its copper, all phases together."""

    loss: float = field(metadata=quantity("W"))

    def __post_init__(self) -> None:
        positive("copper must be given a loss", "basis.loss", self.loss, "W")

    def __str__(self) -> str:
        return f"equal copper loss of {self.loss:.4g} W"


@dataclass(frozen=True)
class EqualCurrent:
    """Every design carries so many amperes in the conducting phase."""

    current: float = field(metadata=quantity("A"))

    def __post_init__(self) -> None:
        positive("a phase must carry a current", "basis.current", self.current, "A")

    def __str__(self) -> str:
        return f"equal current of {self.current:.4g} A"


@dataclass(frozen=True)
class EqualMeanTorque:
    """Every design gives so many N m on average, with the current that takes; none may need more than
    `most_current` (A), up to which its map is computed."""

    torque: float = field(metadata=quantity("N m"))
    most_current: float = field(metadata=quantity("A"))

    def __post_init__(self) -> None:
        positive("a machine must give a torque", "basis.torque", self.torque, "N m")
        positive("a phase must carry a current", "basis.most_current", self.most_current, "A")

    def __str__(self) -> str:
        return f"equal mean torque of {self.torque:.4g} N m"


Basis = EqualCopperLoss | EqualCurrent | EqualMeanTorque
