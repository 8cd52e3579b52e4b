"""The air gap: the only room that knows the rotor angle."""

from polefem.gap.annulus import Gap
from polefem.gap.harmonics import fourier
from polefem.gap.sliding import SlidField, Sliding

__all__ = ["Gap", "SlidField", "Sliding", "fourier"]
