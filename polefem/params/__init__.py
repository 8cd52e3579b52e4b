"""What a person says about a machine: frozen, in SI, checked at the door."""

from polefem.params.axial import AxialMachine
from polefem.params.face import FreeFace, RoundFace, SlopedFace
from polefem.params.kinds import Machine, made_of_discs
from polefem.params.machine import OuterRotorMachine, RadialMachine
from polefem.params.mesh_spec import MeshSpec
from polefem.params.phases import Phases, joined_otherwise, phases_of
from polefem.params.pole import Barrier, Hole, Notch, Pole, Shoe
from polefem.params.rectangular import RectangularCurrent, SuitedSwitching
from polefem.params.row import Member, Row
from polefem.params.symmetry import Symmetry, Turning, symmetries, turnings
from polefem.params.winding import CoilStep, Winding

__all__ = [
    "AxialMachine",
    "Barrier",
    "CoilStep",
    "FreeFace",
    "Hole",
    "Machine",
    "Member",
    "MeshSpec",
    "Notch",
    "OuterRotorMachine",
    "Phases",
    "Pole",
    "RadialMachine",
    "RectangularCurrent",
    "RoundFace",
    "Row",
    "Shoe",
    "SlopedFace",
    "SuitedSwitching",
    "Symmetry",
    "Turning",
    "Winding",
    "joined_otherwise",
    "made_of_discs",
    "phases_of",
    "symmetries",
    "turnings",
]
