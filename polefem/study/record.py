"""What is known of one design of a study: its figures, or why there are none."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from polefem.maps import CoupledMap, FluxMap, MapSlopes
from polefem.params import RectangularCurrent
from polefem.params.quantity import Quantity, quantities, quantity
from polefem.ring import RingWaves

__all__ = [
    "NEXT_REASON",
    "OF_SOUND",
    "Figures",
    "OperatingPointFigures",
    "Outcome",
    "PointFigures",
    "ReadingFigures",
    "Record",
    "StartFigures",
    "Status",
    "point_figure_names",
    "point_figures",
    "quantity_of_point_figure",
]


#: Figures with the sign of the torque: above 0 where it drives the rotor, below where it brakes it.
OF_TORQUE = frozenset(
    {
        *("mean_torque", "lowest_torque", "highest_torque"),
        *("torque_per_loss", "torque_per_mass", "torque_per_volume", "shear_stress"),
    }
)

NEXT_REASON = "; and "
"""Between the reasons of a design that has no figures at several operating points."""

OF_SOUND = ("pull_swing", "wave_swing", "surface_velocity", "side_pull")
"""Figures of an operating point that a plan must ask for."""


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
class PointFigures:
    """What is known of a design under the name of an operating point; each kind of point gives figures of its kind."""

    @classmethod
    def names(cls) -> tuple[str, ...]:
        """The names of the figures, in order."""
        return tuple(f.name for f in dataclasses.fields(cls))


@dataclass(frozen=True)
class OperatingPointFigures(PointFigures):
    """The numbers of one design at one operating point of its bridge. SI; torque is that of all phases together.

    mean_torque, lowest_torque, highest_torque: N m, below 0 where a generator brakes; lowest is the weakest in the
    direction of the mean. ripple: (highest - lowest) / |mean|. peak_current, rms_current: of a phase, A. copper_loss:
    of all phases, W. power_in, power_out: W, of a motor from the supply and at the shaft, of a generator from the shaft
    and into the supply, iron loss not counted; from both sides, and none out, where a rotor is braked and nothing comes
    back. efficiency: of the two; None where nothing comes out. Of a bridge, else None: bridge_loss: in source
    resistance, switches and diodes, W, so that power in less power out is copper and bridge loss. link_current: mean of
    the dc link, A, out of it into a motor, into it from a generator. excitation_power: what the link gives while it
    feeds phases, W; excitation_loss: what is lost meanwhile in their copper and bridge, W.

    Where the plan asks for them (`OF_SOUND`), else None: pull_swing: highest less lowest pull on a stator pole, N.
    wave_swing: likewise of the order that squeezes the ring, N. surface_velocity: of the outer ring, root mean square,
    m/s, to compare shapes by. side_pull: the largest force to one side on a rotor off its axis by as much as the plan
    says, N.

    peak_voltage: that a phase asks of whatever keeps its current to a given waveform, V, the resistance's at the peak
    current counted in full; None for other drives.
    """

    mean_torque: float = field(metadata=quantity("N m", more_is_better=True))
    lowest_torque: float = field(metadata=quantity("N m", more_is_better=True, label="lowest"))
    highest_torque: float = field(metadata=quantity("N m"))
    ripple: float = field(metadata=quantity("%", digits=3))
    peak_current: float = field(metadata=quantity("A"))
    rms_current: float = field(metadata=quantity("A"))
    copper_loss: float = field(metadata=quantity("W"))
    power_in: float = field(metadata=quantity("W"))
    power_out: float = field(metadata=quantity("W", more_is_better=True))
    efficiency: float | None = field(metadata=quantity("%", digits=3, more_is_better=True))
    bridge_loss: float | None = field(default=None, metadata=quantity("W"))
    link_current: float | None = field(default=None, metadata=quantity("A", label="dc link current"))
    excitation_power: float | None = field(default=None, metadata=quantity("W"))
    excitation_loss: float | None = field(default=None, metadata=quantity("W"))
    pull_swing: float | None = field(default=None, metadata=quantity("N", digits=3))
    wave_swing: float | None = field(default=None, metadata=quantity("N", digits=3))
    surface_velocity: float | None = field(default=None, metadata=quantity("mm/s", digits=2))
    side_pull: float | None = field(default=None, metadata=quantity("N", digits=3))
    peak_voltage: float | None = field(default=None, metadata=quantity("V", digits=3))


@dataclass(frozen=True)
class StartFigures(PointFigures):
    """The numbers of one design that is let start from rest. SI.

    starting_torque: at the rest angle where it is lowest, N m. weakest_angle: that rest angle, rad, 0 where the first
    phase is aligned. time_to_speed: from there, s; None where it does not get to speed. end_speed: at the end of the
    run, rad/s. peak_current: of a phase, A.
    """

    starting_torque: float = field(metadata=quantity("N m", more_is_better=True))
    weakest_angle: float = field(metadata=quantity("deg", digits=3))
    time_to_speed: float | None = field(metadata=quantity("s", digits=3))
    end_speed: float = field(metadata=quantity("rpm", digits=3, more_is_better=True))
    peak_current: float = field(metadata=quantity("A"))


@dataclass(frozen=True)
class ReadingFigures(PointFigures):
    """How well the angle of one design is read off what its idle phases measure. SI.

    worst_error: of the angle, rad, where the phase that reads it best reads it worst. worst_angle: where that is, rad,
    from aligned of the first phase. mean_error: over a rotor pitch, rad.
    """

    worst_error: float = field(metadata=quantity("deg", digits=3))
    worst_angle: float = field(metadata=quantity("deg", digits=3))
    mean_error: float = field(metadata=quantity("deg", digits=3))


_POINT_KINDS = (OperatingPointFigures, StartFigures, ReadingFigures)
_POINT_QUANTITIES = {name: how for kind in _POINT_KINDS for name, how in quantities(kind).items()}


def point_figure_names() -> tuple[str, ...]:
    """The names of all figures that some kind of operating point gives."""
    return tuple(_POINT_QUANTITIES)


def quantity_of_point_figure(name: str) -> Quantity:
    """How a figure of some kind of operating point is shown, by its own name; KeyError where none gives it."""
    return _POINT_QUANTITIES[name]


def point_figures(values: Mapping[str, Any]) -> PointFigures:
    """The figures with these values, of the kind that has these names; raises TypeError where none has."""
    for kind in _POINT_KINDS:
        if set(kind.names()) == set(values):
            return kind(**values)
    raise TypeError(f"no kind of operating point gives {', '.join(values)}")


@dataclass(frozen=True)
class Figures:
    """The numbers of one design on the basis of its study. SI; torque is that of all phases together.

    current: of the conducting phase, A. copper_loss: of all phases, W. phase_resistance: ohm, warm.
    current_density: in the conductor while it conducts, A/m2. copper_mass, steel_mass: kg.
    mean_torque, lowest_torque, highest_torque: over a turn, N m, below 0 where a generator brakes; lowest is the
    weakest in the direction of the mean. ripple: (highest - lowest) / mean.
    aligned_inductance, unaligned_inductance: flux linkage over current at that current, H.
    torque_per_loss: mean torque over copper loss, N m/W.
    turn_on, turn_off, ramp: of the rectangular current, given or suited to the design, rad.
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

    current: float = field(metadata=quantity("A"))
    copper_loss: float = field(metadata=quantity("W"))
    phase_resistance: float = field(metadata=quantity("ohm"))
    current_density: float = field(metadata=quantity("A/mm²", digits=3))
    copper_mass: float = field(metadata=quantity("kg"))
    steel_mass: float = field(metadata=quantity("kg"))
    mean_torque: float = field(metadata=quantity("N m", more_is_better=True))
    lowest_torque: float = field(metadata=quantity("N m", more_is_better=True, label="lowest"))
    highest_torque: float = field(metadata=quantity("N m"))
    ripple: float = field(metadata=quantity("%", digits=3))
    turn_on: float = field(metadata=quantity("deg", digits=3, label="on"))
    turn_off: float = field(metadata=quantity("deg", digits=3, label="off"))
    ramp: float = field(metadata=quantity("deg", digits=3))
    aligned_inductance: float = field(metadata=quantity("mH", more_is_better=True, label="L aligned"))
    unaligned_inductance: float = field(metadata=quantity("mH", label="L unaligned"))
    torque_per_loss: float = field(metadata=quantity("mN m/W", more_is_better=True, label="torque / loss"))
    rotor_inertia: float = field(metadata=quantity("kg cm²"))
    torque_per_mass: float = field(metadata=quantity("N m/kg", digits=3, more_is_better=True))
    torque_per_volume: float = field(metadata=quantity("N m/l", digits=3, more_is_better=True))
    shear_stress: float = field(metadata=quantity("kPa", digits=3, more_is_better=True))
    end_winding_inductance: float = field(metadata=quantity("mH", digits=2))
    aligned_fringing: float = field(metadata=quantity("mH", digits=2))
    unaligned_fringing: float = field(metadata=quantity("mH", digits=2))
    most_rise: float = field(metadata=quantity("K", digits=2))
    iron_loss: float | None = field(metadata=quantity("W", digits=3))
    phase_interaction: float | None = field(metadata=quantity("% of mean", digits=2))
    operating_points: Mapping[str, PointFigures] = field(default_factory=dict)

    @property
    def switching(self) -> RectangularCurrent:
        """When each phase conducts."""
        return RectangularCurrent(self.turn_on, self.turn_off, self.ramp)

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
        return getattr(self.operating_points.get(point), of, None)

    def brakes(self, figure: str = "mean_torque") -> bool:
        """Whether a figure has the sign of the torque, and the rotor is braked where the figure is of."""
        point, dot, of = figure.rpartition(".")
        return of in OF_TORQUE and (self.value(f"{point}{dot}mean_torque") or 0.0) < 0.0


@dataclass(frozen=True, eq=False)
class Outcome:
    """What computing a design gave: its status, the reason in one sentence, figures and map if it has them.

    seconds: by stage. harmonics: amplitudes of the summed torque's harmonics of the stroke, N m. trace: where an
    error that no one foresaw came from. slopes: the map with its slopes, where the plan asks for them. sound: waves of
    the pull and frequencies of the ring, by operating point, where the plan asks for them. errors: how far figures may
    be off by the mesh, by name ("throwing.pull_swing"): of those that are not read off the map.
    """

    status: Status
    reason: str = ""
    figures: Figures | None = None
    machine_map: CoupledMap | None = None
    seconds: Mapping[str, float] = field(default_factory=dict)
    harmonics: tuple[float, ...] = ()
    trace: str = ""
    slopes: MapSlopes | None = None
    sound: Mapping[str, RingWaves] = field(default_factory=dict)
    errors: Mapping[str, float] = field(default_factory=dict)

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
