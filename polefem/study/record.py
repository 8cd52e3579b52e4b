"""What is known of one design of a study: its figures, or why there are none."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from polefem.maps import CoupledMap, FluxMap
from polefem.params import RectangularCurrent

__all__ = ["NEXT_REASON", "Figures", "OperatingPointFigures", "Outcome", "Record", "Status"]


NEXT_REASON = "; and "
"""Between the reasons of a design that has no figures at several operating points."""


class Status(StrEnum):
    """How a design ended.

    SOLVED: it has figures. REFUSED: it cannot be built, or cannot do what is asked. FAILED: meshing or solving
    gave no answer. LOST: its worker died or hung; it is tried again when the study next runs.
    """

    SOLVED = "solved"
    REFUSED = "refused"
    FAILED = "failed"
    LOST = "lost"


@dataclass(frozen=True)
class OperatingPointFigures:
    """The numbers of one design at one operating point of its bridge. SI; torque is that of all phases together.

    mean_torque, lowest_torque, highest_torque: N m. ripple: (highest - lowest) / |mean|. peak_current, rms_current: of
    a phase, A. copper_loss: of all phases, W. input_power: from the supply, W. efficiency: shaft over supply, iron
    loss not counted; None where power goes in from both sides.
    """

    mean_torque: float
    lowest_torque: float
    highest_torque: float
    ripple: float
    peak_current: float
    rms_current: float
    copper_loss: float
    input_power: float
    efficiency: float | None

    @classmethod
    def names(cls) -> tuple[str, ...]:
        """The names of the figures, in order."""
        return tuple(f.name for f in dataclasses.fields(cls))


@dataclass(frozen=True)
class Figures:
    """The numbers of one design on the basis of its study. SI; torque is that of all phases together.

    current: of the conducting phase, A. copper_loss: of all phases, W. phase_resistance: ohm, warm.
    current_density: in the conductor while it conducts, A/m2. copper_mass, steel_mass: kg.
    mean_torque, lowest_torque, highest_torque: over a turn, N m, below 0 where a generator brakes; lowest is the
    weakest in the direction of the mean. ripple: (highest - lowest) / mean.
    aligned_inductance, unaligned_inductance: flux linkage over current at that current, H.
    torque_per_loss: mean torque over copper loss, N m/W.
    turn_on, turn_off: of the rectangular current, given or suited to the design, rad.
    phase_interaction: the largest difference between the torque of single phases, summed, and the machine's, over the
    mean torque; None where phases were summed.
    rotor_inertia: of the rotor's steel, kg m2. torque_per_mass: mean torque over copper and steel, N m/kg.
    torque_per_volume: over the cylinder that the machine just fits into, N m/m3. shear_stress: mean in the gap, Pa.
    end_winding_inductance: estimate, H. aligned_fringing, unaligned_fringing: estimates of what flux out of the stack's
    ends adds to the unsaturated inductance, H. most_rise: the higher end of how warm the outside
    gets in still air by these losses, a coarse estimate, K. iron_loss: at the speed that the plan asks for, W; None
    where it does not.
    operating_points: by name, figures at the operating points that the plan asks for.
    """

    current: float
    copper_loss: float
    phase_resistance: float
    current_density: float
    copper_mass: float
    steel_mass: float
    mean_torque: float
    lowest_torque: float
    highest_torque: float
    ripple: float
    turn_on: float
    turn_off: float
    aligned_inductance: float
    unaligned_inductance: float
    torque_per_loss: float
    rotor_inertia: float
    torque_per_mass: float
    torque_per_volume: float
    shear_stress: float
    end_winding_inductance: float
    aligned_fringing: float
    unaligned_fringing: float
    most_rise: float
    iron_loss: float | None
    phase_interaction: float | None
    operating_points: Mapping[str, OperatingPointFigures] = field(default_factory=dict)

    @property
    def switching(self) -> RectangularCurrent:
        """When each phase conducts."""
        return RectangularCurrent(self.turn_on, self.turn_off)

    @classmethod
    def names(cls) -> tuple[str, ...]:
        """The names of the figures on the basis of the study, in order; those of operating points are not among
        them."""
        return tuple(f.name for f in dataclasses.fields(cls) if f.name != "operating_points")

    def values(self) -> tuple[float | None, ...]:
        """The figures on the basis of the study, in the order of their names."""
        return tuple(getattr(self, name) for name in self.names())

    def value(self, name: str) -> float | None:
        """A figure by name: "ripple", or that of an operating point: "throwing.ripple"; None where it is not known."""
        point, _, of = name.rpartition(".")
        if not point:
            found: float | None = getattr(self, name)
            return found
        return getattr(self.operating_points[point], of) if point in self.operating_points else None


@dataclass(frozen=True, eq=False)
class Outcome:
    """What computing a design gave: its status, the reason in one sentence, figures and map if it has them.

    seconds: by stage. harmonics: amplitudes of the summed torque's harmonics of the stroke, N m. trace: where an
    error that no one foresaw came from.
    """

    status: Status
    reason: str = ""
    figures: Figures | None = None
    machine_map: CoupledMap | None = None
    seconds: Mapping[str, float] = field(default_factory=dict)
    harmonics: tuple[float, ...] = ()
    trace: str = ""

    @property
    def flux_map(self) -> FluxMap | None:
        """The map of one phase alone, if it has a map."""
        return None if self.machine_map is None else self.machine_map.single


@dataclass(frozen=True, eq=False)
class Record:
    """A design of a study and how it ended.

    name: of the design in its study. key: of the content of all its inputs. changes: the fields it changes, by
    dotted name, as text or numbers. outcome: what computing it gave. versions: of what computed it.
    """

    name: str
    key: str
    changes: Mapping[str, Any]
    outcome: Outcome
    versions: Mapping[str, str] = field(default_factory=dict)

    @property
    def status(self) -> Status:
        """How the design ended."""
        return self.outcome.status

    @property
    def reason(self) -> str:
        """Why it has no figures, in one sentence; where it has, why it has none at some operating point; else empty."""
        return self.outcome.reason

    @property
    def figures(self) -> Figures | None:
        """Its figures, or None."""
        return self.outcome.figures

    def __repr__(self) -> str:
        said = self.reason
        if self.figures is not None:
            said = f"{self.figures.mean_torque:.4g} N m, ripple {self.figures.ripple:.3g}"
        return f"Record({self.name!r}, {self.status}: {said})"
