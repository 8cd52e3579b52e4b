"""What a person says about a machine: frozen, in SI, checked at the door."""

from polefem.params.drive_spec import SquareDrive
from polefem.params.machine import RadialMachine
from polefem.params.mesh_spec import MeshSpec
from polefem.params.phases import Phases, phases_of
from polefem.params.pole import Notch, Pole, Shoe
from polefem.params.winding import Winding

__all__ = ["MeshSpec", "Notch", "Phases", "Pole", "RadialMachine", "Shoe", "SquareDrive", "Winding", "phases_of"]
