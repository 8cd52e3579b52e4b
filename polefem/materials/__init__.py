"""Magnetic materials: a steel's law H(B) with its energy and tangent, ready for the field solver.

`Steel` is what the other rooms use; the files read from the law outwards: `law`, `table`, `curve`, `csv_file`, the
published curves and the standard's grades, the `library` of named steels, and `steel`.
"""

from polefem.materials.curve import Curve
from polefem.materials.curve_data import CurveData, curve_data
from polefem.materials.grade import Figure, Grade, Loss
from polefem.materials.law import MU0, NU0, Law
from polefem.materials.library import steel_names
from polefem.materials.steel import Steel

__all__ = [
    "MU0",
    "NU0",
    "Curve",
    "CurveData",
    "Figure",
    "Grade",
    "Law",
    "Loss",
    "Steel",
    "curve_data",
    "steel_names",
]
