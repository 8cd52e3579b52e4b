"""Magnetic materials: a steel's law H(B) with its energy and tangent, ready for the field solver."""

from polefem.materials.law import MU0, NU0, Law
from polefem.materials.steel import Steel

__all__ = ["MU0", "NU0", "Law", "Steel"]
