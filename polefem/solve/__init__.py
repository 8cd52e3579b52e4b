"""From a model at an angle and a current to its field: Newton's method on the energy, on kept factors."""

from polefem.solve.factor import factored
from polefem.solve.newton import FactorCache, Solution, minimise, tangent_solutions
from polefem.solve.span import Span, Sum
from polefem.solve.system import Coupled, Expansion, System

__all__ = [
    "Coupled",
    "Expansion",
    "FactorCache",
    "Solution",
    "Span",
    "Sum",
    "System",
    "factored",
    "minimise",
    "tangent_solutions",
]
