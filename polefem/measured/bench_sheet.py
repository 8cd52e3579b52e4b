"""What a builder says of a machine on the bench, in one value: a Python file defines it, as a study file its study."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from polefem.errors import InvalidValue, refusal
from polefem.materials import Steel
from polefem.measured.causes import Tolerances
from polefem.measured.planning import METERS, MeasuringPlan, Meter, candidates, planned
from polefem.measured.prediction import ANGLES, Predictor
from polefem.measured.readings import KINDS, Kind, Readings
from polefem.params import Machine, MeshSpec
from polefem.params.checks import positive, printable, whole
from polefem.params.quantity import quantity
from polefem.study import Study

__all__ = ["BenchSheet"]


@dataclass(frozen=True, eq=False)
class BenchSheet:
    """A machine on the bench.

    name: of the machine; results are kept under it. machine: as drawn. current: the most that the bench drives through
    a phase, A. meter_current, frequency: of the bridge that reads inductance, A and Hz. tolerances: how far each cause
    may be off. meters: of each kind that the workshop has; others are not planned. points: to measure. angle_step: of
    the dividing head, rad. mesh, angle_points: of the map. readings: what was read; None before. study: of the next
    shapes, to be ranked again with the corrected machine.

    Raises InvalidValue for numbers that no bench has.
    """

    name: str
    machine: Machine
    current: float = field(metadata=quantity("A"))
    meter_current: float = field(default=0.1, metadata=quantity("A"))
    frequency: float = 100.0
    tolerances: Tolerances = field(default_factory=Tolerances)
    meters: dict[Kind, Meter] = field(default_factory=lambda: dict(METERS))
    points: int = 16
    angle_step: float = field(default=np.pi / 36, metadata=quantity("deg"))
    mesh: MeshSpec | str | None = None
    angle_points: int = ANGLES
    readings: Readings | None = None
    study: Study | None = None

    def __post_init__(self) -> None:
        printable("a machine on the bench has a name", "name", self.name)
        positive("a bench drives a current", "current", self.current, "A")
        positive("a bridge drives a current", "meter_current", self.meter_current, "A")
        positive("a bridge has a frequency", "frequency", self.frequency, "Hz")
        positive("a dividing head has a step", "angle_step", self.angle_step, "rad")
        whole("a plan has points", "points", self.points)
        whole("a map needs angles", "angle_points", self.angle_points, 5)
        for kind in self.meters:
            if kind not in KINDS:
                raise InvalidValue(refusal("a meter reads a kind", "meters", repr(kind), ", ".join(KINDS)))
        if not self.meters:
            raise InvalidValue(refusal("a plan needs a meter", "meters", "empty", "one or more"))

    @cached_property
    def predictor(self) -> Predictor:
        """Of the readings, or of all that could be read."""
        if self.readings is not None:
            return Predictor.for_readings(
                self.machine, self.readings, self.tolerances, self.mesh, self.angle_points
            )
        idle = 0.3 * self.current if "mutual inductance" in self.meters else None
        return Predictor.over(
            self.machine,
            self.tolerances,
            self.current,
            self.meter_current,
            mesh=self.mesh,
            idle=idle,
            angle_points=self.angle_points,
        )

    def candidates(self) -> Readings:
        """Every point that the bench could read: the head's steps over a rotor pitch, a few currents of each kind."""
        half = self.machine.rotor_pitch / 2
        steps = int(np.floor(half / self.angle_step + 1e-9))
        angles = np.asarray(np.arange(-steps, steps + 1) * self.angle_step, dtype=np.float64)
        levels = self.current * np.array([0.2, 0.4, 0.7, 1.0])
        currents = {
            "inductance": np.array([self.meter_current]),
            "flux linkage": levels,
            "torque": levels[1:],
            "mutual inductance": np.array([0.3 * self.current]),
        }
        kinds = [kind for kind in KINDS if kind in self.meters]
        solid = [kind for kind in kinds if self._shielded(kind)]
        kept = [kind for kind in kinds if kind not in solid] or kinds
        chosen = {kind: currents[kind] for kind in kept}
        return candidates(self.predictor.drawn, kept, angles, chosen, self.meters)

    def _shielded(self, kind: Kind) -> bool:
        """Whether a solid core keeps an alternating flux out."""
        steels: tuple[Steel, ...] = self.machine.core_steels
        solid = any(steel.grade is not None and steel.grade.thickness is None for steel in steels)
        return solid and kind in ("inductance", "mutual inductance")

    def plan(self) -> MeasuringPlan:
        """The points that tell most about the causes."""
        among = self.candidates()
        return planned(self.predictor.drawn, among, min(self.points, len(among)), self.tolerances)
