"""Magnetic materials: a steel's law H(B) with its energy and tangent, ready for the field solver.

`Steel` is what the other rooms use. The files read from the law outwards: `law`, `table`, `curve` and `csv_file`; the
`grade` with its figures, the `standard_grades`, `published_sheet` and `published_iron`, all named in the `library`;
what building does, `as_built`, after `built_cores`; `steel` and its `curve_data`; then what a changing field costs:
`eddy`, `loops` and `iron_loss`.
"""

from polefem.materials.as_built import LEAST_SHARE, MOST_SHARE, Allowance
from polefem.materials.curve import Curve
from polefem.materials.curve_data import CurveData, curve_data
from polefem.materials.eddy import skin_depth, solid_part_caution
from polefem.materials.grade import Figure, Grade, Loss
from polefem.materials.iron_loss import LossSeparation, Steinmetz, fitted_separation, loss_separation
from polefem.materials.law import MU0, NU0, Law
from polefem.materials.library import steel_names
from polefem.materials.steel import Steel

__all__ = [
    "LEAST_SHARE",
    "MOST_SHARE",
    "MU0",
    "NU0",
    "Allowance",
    "Curve",
    "CurveData",
    "Figure",
    "Grade",
    "Law",
    "Loss",
    "LossSeparation",
    "Steel",
    "Steinmetz",
    "curve_data",
    "fitted_separation",
    "loss_separation",
    "skin_depth",
    "solid_part_caution",
    "steel_names",
]
