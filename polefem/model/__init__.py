"""From meshes and steels to a discrete energy: forms, sources and constraints. The only room that knows skfem."""

from polefem.model.model import Iron, Model, Source, build_model
from polefem.model.symmetry import smallest_sector
from polefem.model.trace import Trace

__all__ = ["Iron", "Model", "Source", "Trace", "build_model", "smallest_sector"]
