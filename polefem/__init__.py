"""polefem: decide the pole shapes of a switched reluctance machine before cutting steel.

A study describes a machine and the shapes it might have; the rooms of this package turn each shape into an outline,
meshes, nonlinear fields over angle and current, a flux map, torque and its ripple, and a ranking.

What a script needs can be had from here; the rooms hold the rest. Names are taken from their rooms when first asked for
(PEP 562), so that a room loads what it needs and no more: a drive needs no mesher.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from polefem.version import __version__

if TYPE_CHECKING:
    from polefem.bench import Measured, Result, film, measure, plan_measurements, run
    from polefem.command_line import main
    from polefem.copper import Copper
    from polefem.estimates import Turning
    from polefem.field import BuiltMachine, built, pole_pull, solve_state
    from polefem.forces import gap_pressure, offset_pull
    from polefem.maps import CoupledMap, FluxMap, Slice, linear_map, skewed, stacked, summed
    from polefem.materials import MU0, Steel
    from polefem.measured import (
        BenchSheet,
        Meter,
        Readings,
        Recording,
        Tolerances,
        flux_linkage_of,
        read_readings,
        read_recording,
    )
    from polefem.outline import outline_of
    from polefem.params import (
        AxialMachine,
        Barrier,
        CoilStep,
        FreeFace,
        Hole,
        Machine,
        MeshSpec,
        Notch,
        OuterRotorMachine,
        Pole,
        RadialMachine,
        RectangularCurrent,
        RoundFace,
        Shoe,
        SlopedFace,
        SuitedSwitching,
        Winding,
    )
    from polefem.params.drive_spec import (
        AverageVoltage,
        Bridge,
        Chopping,
        DriveSpec,
        Load,
        SinglePulse,
        Tracking,
    )
    from polefem.params.fields import with_fields
    from polefem.params.toml import load_machine
    from polefem.ring import Hearing
    from polefem.study import (
        BestOperatingPoint,
        Constraint,
        DriveOperatingPoint,
        EccentricityTolerance,
        EqualCopperLoss,
        EqualCurrent,
        EqualMeanTorque,
        FieldTolerance,
        Grid,
        JointTolerance,
        LatinHypercube,
        LevelOperatingPoint,
        Limit,
        Plan,
        Range,
        ReadingOperatingPoint,
        RectangularOperatingPoint,
        Search,
        Sensitivities,
        SharedTorqueOperatingPoint,
        SobolPoints,
        StartOperatingPoint,
        SteelTolerance,
        Study,
        SwitchingTable,
        Variant,
        WaveformOperatingPoint,
    )
    from polefem.sweep import coupled_map, flux_map

__all__ = [
    "MU0",
    "AverageVoltage",
    "AxialMachine",
    "Barrier",
    "BenchSheet",
    "BestOperatingPoint",
    "Bridge",
    "BuiltMachine",
    "Chopping",
    "CoilStep",
    "Constraint",
    "Copper",
    "CoupledMap",
    "DriveOperatingPoint",
    "DriveSpec",
    "EccentricityTolerance",
    "EqualCopperLoss",
    "EqualCurrent",
    "EqualMeanTorque",
    "FieldTolerance",
    "FluxMap",
    "FreeFace",
    "Grid",
    "Hearing",
    "Hole",
    "JointTolerance",
    "LatinHypercube",
    "LevelOperatingPoint",
    "Limit",
    "Load",
    "Machine",
    "Measured",
    "MeshSpec",
    "Meter",
    "Notch",
    "OuterRotorMachine",
    "Plan",
    "Pole",
    "RadialMachine",
    "Range",
    "ReadingOperatingPoint",
    "Readings",
    "Recording",
    "RectangularCurrent",
    "RectangularOperatingPoint",
    "Result",
    "RoundFace",
    "Search",
    "Sensitivities",
    "SharedTorqueOperatingPoint",
    "Shoe",
    "SinglePulse",
    "Slice",
    "SlopedFace",
    "SobolPoints",
    "StartOperatingPoint",
    "Steel",
    "SteelTolerance",
    "Study",
    "SuitedSwitching",
    "SwitchingTable",
    "Tolerances",
    "Tracking",
    "Turning",
    "Variant",
    "WaveformOperatingPoint",
    "Winding",
    "__version__",
    "built",
    "coupled_map",
    "film",
    "flux_linkage_of",
    "flux_map",
    "gap_pressure",
    "linear_map",
    "load_machine",
    "main",
    "measure",
    "offset_pull",
    "outline_of",
    "plan_measurements",
    "pole_pull",
    "read_readings",
    "read_recording",
    "run",
    "skewed",
    "solve_state",
    "stacked",
    "summed",
    "with_fields",
]

#: Names by their room.
_HELD = {
    "bench": "Measured Result film measure plan_measurements run",
    "command_line": "main",
    "copper": "Copper",
    "estimates": "Turning",
    "field": "BuiltMachine built pole_pull solve_state",
    "forces": "gap_pressure offset_pull",
    "maps": "CoupledMap FluxMap Slice linear_map skewed stacked summed",
    "materials": "MU0 Steel",
    "measured": (
        "BenchSheet Meter Readings Recording Tolerances flux_linkage_of read_readings read_recording"
    ),
    "outline": "outline_of",
    "params": (
        "AxialMachine Barrier CoilStep FreeFace Hole Machine MeshSpec Notch OuterRotorMachine Pole "
        "RadialMachine RectangularCurrent RoundFace Shoe SlopedFace SuitedSwitching Winding"
    ),
    "params.drive_spec": "AverageVoltage Bridge Chopping DriveSpec Load SinglePulse Tracking",
    "params.fields": "with_fields",
    "params.toml": "load_machine",
    "ring": "Hearing",
    "sweep": "coupled_map flux_map",
    "study": (
        "BestOperatingPoint Constraint DriveOperatingPoint EccentricityTolerance EqualCopperLoss EqualCurrent "
        "EqualMeanTorque FieldTolerance Grid JointTolerance LatinHypercube LevelOperatingPoint Limit Plan "
        "Range ReadingOperatingPoint RectangularOperatingPoint Search "
        "Sensitivities SharedTorqueOperatingPoint SobolPoints StartOperatingPoint SteelTolerance Study "
        "SwitchingTable Variant WaveformOperatingPoint"
    ),
}
_ROOMS = {name: room for room, names in _HELD.items() for name in names.split()}


def __getattr__(name: str) -> Any:
    if name not in _ROOMS:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_ROOMS[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
