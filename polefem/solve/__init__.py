"""From a model at an angle and a current to its field: Newton's method on the energy, on kept factors."""

from polefem.solve.newton import Solution, Workshop, minimise
from polefem.solve.system import Coupled, State, System

__all__ = ["Coupled", "Solution", "State", "System", "Workshop", "minimise"]
