"""From a model at an angle and a current to its field: Newton's method on the energy, on kept factors."""

from polefem.solve.newton import FactorCache, Solution, minimise
from polefem.solve.system import Coupled, Expansion, System

__all__ = ["Coupled", "Expansion", "FactorCache", "Solution", "System", "minimise"]
