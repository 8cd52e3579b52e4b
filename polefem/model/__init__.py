"""From meshes and steels to a discrete energy: forms, sources and constraints of the field."""

from polefem.model.forms import AIR_ORDER, ShapeRows, shape_rows
from polefem.model.model import IRON_ORDER, Iron, Model, Source, build_model
from polefem.model.symmetry import smallest_sector
from polefem.model.trace import Trace

__all__ = [
    "AIR_ORDER",
    "IRON_ORDER",
    "Iron",
    "Model",
    "ShapeRows",
    "Source",
    "Trace",
    "build_model",
    "shape_rows",
    "smallest_sector",
]
