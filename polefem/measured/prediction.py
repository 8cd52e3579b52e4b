"""What a meter on the bench will read: the map of a machine, and how each cause moves it.

The map of the field is linear in air gap, stacking factor, knee and saturation about the values that it was made for:
its slopes in air gap and stacking factor are exact ones on the mesh (`polefem.slopes`), those in the steel's two
numbers differences of fields. In the angle offset, the turns and the ends the prediction is exact: an angle moves, a
current counts by the turns it flows in, ends are added. A correction that moves far is predicted anew where it lands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from polefem.errors import GeometryRefused, InvalidValue, MeshFailed, refusal
from polefem.estimates import with_end_effects
from polefem.field import BuiltMachine, built, field_series
from polefem.maps import FluxMap
from polefem.measured.causes import MAP_CAUSES, Tolerances, changed_machine, drawn_values
from polefem.measured.readings import Kind, Readings
from polefem.params import Machine, MeshSpec
from polefem.params.checks import increasing
from polefem.slopes import Following, Swept, sloped_map

__all__ = ["Prediction", "Predictor", "Slopes"]

Floats = NDArray[np.float64]

#: Steps of the differences in the steel's two numbers.
STEPS = {"knee": 0.1, "saturation": 0.005}
#: Of the maps: currents as parts of the largest, and angles over half a rotor pitch.
LEVELS = (0.12, 0.25, 0.4, 0.6, 0.8, 1.0)
ANGLES = 16
IDLE_ANGLES = 20
#: Points that were looked up in the maps, by how many sets are kept.
KEPT = 8


@dataclass(frozen=True, eq=False)
class Slopes:
    """How one cause moves a map: the map with it changed by a step."""

    step: float
    changed: FluxMap
    idle: Floats | None = None


@dataclass(frozen=True, eq=False)
class Prediction:
    """A machine's readings as functions of causes.

    values: of the causes, that the maps are for. flat, full: the map of the field, and with the ends' estimates.
    slopes: by cause, of the map with ends. turns: a pole, that the maps are for. idle_angles, idle: the mutual
    inductance of the phase that is aligned one stroke later, H, shape (n,), over a rotor pitch, where it was asked for.
    """

    values: Mapping[str, float]
    flat: FluxMap
    full: FluxMap
    slopes: Mapping[str, Slopes]
    turns: int
    idle_angles: Floats | None = None
    idle: Floats | None = None
    _kept: dict[tuple[bytes, bytes], tuple[Floats, Floats, dict[str, Floats]]] = field(
        default_factory=dict, init=False, repr=False
    )

    def at(self, readings: Readings, values: Mapping[str, float], turns: int | None = None) -> Floats:
        """What would be read at the points of readings, shape (n,), with causes at other values; those that are not
        named stay.

        Raises InvalidValue for a current beyond the map, and for mutual inductances where none were asked for.
        """
        ratio = (turns or self.turns) / self.turns
        now = {**self.values, **values}
        angles, currents = readings.angles + now["angle_offset"], ratio * readings.currents
        linkage, torque = self._along(angles, currents, now)
        found = np.where(readings.of("inductance"), ratio**2 * linkage / currents, 0.0)
        found = np.where(readings.of("flux linkage"), ratio * linkage, found)
        found = np.where(readings.of("torque"), torque, found)
        idle = readings.of("mutual inductance")
        if idle.any():
            found[idle] = ratio**2 * self._idle(angles[idle], now)
        return found

    def model_deviations(self, readings: Readings) -> Floats:
        """One deviation of the prediction by its mesh, as the map itself estimates it: shape (n,), 0 where it does not.

        Half of the estimated error of any entry, taken to grow as flux linkage does, and as the peak torque at a
        current.
        """
        values = np.abs(self.at(readings, {}))
        most, error = float(self.full.flux_linkage.max()), self.flat.flux_linkage_error or 0.0
        found = 0.5 * error / most * values
        torque = readings.of("torque")
        if torque.any():
            peaks = np.abs(self.full.torque).max(axis=1)
            peak = np.interp(readings.currents[torque], self.full.currents, peaks)
            found[torque] = 0.5 * (self.flat.torque_error or 0.0) * peak / peaks.max()
        return found

    def curve(
        self, kind: Kind, angles: ArrayLike, currents: ArrayLike, values: Mapping[str, float]
    ) -> Floats:
        """The same of one kind at angles (rad) and currents (A), which broadcast: for curves."""
        theta, i = np.broadcast_arrays(np.asarray(angles, dtype=float), np.asarray(currents, dtype=float))
        count = theta.size
        ones, kinds = np.ones(count), (kind,) * count
        points = Readings(kinds, theta.ravel(), i.ravel(), ones, ones, ("curve",) * count)
        return self.at(points, values).reshape(theta.shape)

    def jacobian(self, readings: Readings, values: Mapping[str, float], names: tuple[str, ...]) -> Floats:
        """Slopes of the readings in causes, per SI unit of each: shape (n_readings, n_names)."""
        now = {**self.values, **values}
        columns = []
        for name in names:
            step = self.slopes[name].step if name in self.slopes else 1e-4
            sides = [self.at(readings, {**now, name: now[name] + sign * step / 2}) for sign in (1.0, -1.0)]
            columns.append((sides[0] - sides[1]) / step)
        return np.array(columns).reshape(len(names), len(readings)).T

    def _along(self, angles: Floats, currents: Floats, now: Mapping[str, float]) -> tuple[Floats, Floats]:
        """Flux linkage (Wb) and torque (N m) of the maps, each of shape (n,)."""
        flat, full, slopes = self._looked_up(angles, currents)
        found = flat + now["ends"] * (full - flat)
        for name, slope in slopes.items():
            found = found + (now[name] - self.values[name]) * slope
        return found[0], found[1]

    def _looked_up(self, angles: Floats, currents: Floats) -> tuple[Floats, Floats, dict[str, Floats]]:
        """Flux linkage and torque, flat and with ends, and their slopes by cause, each of shape (2, n): kept, since a
        fit asks for the same points again and again."""
        key = angles.tobytes(), currents.tobytes()
        if key not in self._kept:
            while len(self._kept) >= KEPT:
                self._kept.pop(next(iter(self._kept)))
            flat, full = (np.array(m.at(angles, currents)[:2]) for m in (self.flat, self.full))
            slopes = {
                name: (np.array(slope.changed.at(angles, currents)[:2]) - full) / slope.step
                for name, slope in self.slopes.items()
            }
            self._kept[key] = flat, full, slopes
        return self._kept[key]

    def _idle(self, angles: Floats, now: Mapping[str, float]) -> Floats:
        if self.idle is None or self.idle_angles is None:
            rule, allowed = (
                "an idle phase is predicted where it is asked for",
                "a Predictor with the current of the driven phase",
            )
            raise InvalidValue(refusal(rule, "mutual inductance", "not asked for", allowed))
        table = self.idle.copy()
        for name, slope in self.slopes.items():
            if slope.idle is not None:
                table = table + (now[name] - self.values[name]) / slope.step * (slope.idle - self.idle)
        around = scipy.interpolate.CubicSpline(self.idle_angles, table, bc_type="periodic")
        return np.abs(around(angles))


@dataclass(frozen=True, eq=False)
class Predictor:
    """Makes predictions of a machine as drawn and as corrected, on one mesh that follows.

    angles (rad) and currents (A): of the map, increasing; currents reach past the largest that is read. idle: the
    current (A) of the driven phase at which the voltage of an idle one is asked for; None where it is not. mesh: as
    `built` takes it.
    """

    machine: Machine
    tolerances: Tolerances
    angles: Floats
    currents: Floats
    mesh: MeshSpec | str | None = None
    idle: float | None = None

    @classmethod
    def over(
        cls,
        machine: Machine,
        tolerances: Tolerances,
        largest: float,
        lowest: float | None = None,
        *,
        mesh: MeshSpec | str | None = None,
        idle: float | None = None,
        angle_points: int = ANGLES,
    ) -> Predictor:
        """With currents up to the largest that is read (A), the lowest among them, and angles over half a pitch, or
        over a whole one where poles are no mirror images of themselves."""
        count = machine.winding.turns_per_pole
        top = largest * 1.001 * (count + tolerances.turns) / count
        levels = [level * top for level in LEVELS]
        low = [] if lowest is None or lowest >= 0.8 * levels[0] else [lowest]
        half = machine.rotor_pitch / 2
        mirror = built(machine, mesh).mirror
        angles = np.linspace(0.0 if mirror else -half, half, angle_points if mirror else 2 * angle_points - 1)
        return cls(machine, tolerances, angles if mirror else angles[:-1], np.array(low + levels), mesh, idle)

    @classmethod
    def for_readings(
        cls,
        machine: Machine,
        readings: Readings,
        tolerances: Tolerances,
        mesh: MeshSpec | str | None = None,
        angle_points: int = ANGLES,
    ) -> Predictor:
        """For the points of some readings."""
        currents = readings.currents
        of_idle = currents[readings.of("mutual inductance")]
        idle = float(np.median(of_idle)) if of_idle.size else None
        wanted = readings.currents[~readings.of("mutual inductance")]
        low, top = (float(wanted.min()), float(wanted.max())) if wanted.size else (float(currents.min()),) * 2
        return cls.over(machine, tolerances, top, low, mesh=mesh, idle=idle, angle_points=angle_points)

    @cached_property
    def whole(self) -> BuiltMachine:
        """The machine as drawn, built once."""
        return built(self.machine, self.mesh)

    @cached_property
    def drawn(self) -> Prediction:
        """The prediction of the machine as drawn, made once."""
        return self._about(self.whole, drawn_values(self.machine))

    def corrected(self, values: Mapping[str, float]) -> Prediction:
        """The prediction about other values of the causes; on the drawn machine's mesh, moved, while that follows."""
        machine = changed_machine(self.machine, values)
        try:
            whole = self.following.near(machine)
        except (GeometryRefused, MeshFailed):
            whole = built(machine, self.mesh)
        return self._about(whole, {**drawn_values(self.machine), **values})

    @cached_property
    def following(self) -> Following:
        """Its meshes, that follow the machine's dimensions."""
        return Following(self.whole)

    def _about(self, whole: BuiltMachine, values: dict[str, float]) -> Prediction:
        free = [name for name in MAP_CAUSES if name in self.tolerances.free]
        fields = tuple(name for name in ("air_gap", "stacking_factor") if name in free)
        sloped, swept = sloped_map(whole, self.angles, self.currents, fields)
        flat = sloped.flux_map
        idle = self._idle_of(whole)
        slopes = {}
        for name in free:
            step = STEPS.get(name) or 0.2 * getattr(self.tolerances, name)
            if name == "stacking_factor" and values[name] + step > 1.0:
                step = -step
            machine = changed_machine(whole.machine, {name: values[name] + step})
            near = sloped.changed({name: step}) if name in fields else self._near(swept, machine)
            moved = None if idle is None else self._idle_of(swept.following.near(machine))
            slopes[name] = Slopes(step, with_end_effects(near, machine), moved)
        full = with_end_effects(flat, whole)
        around = None if idle is None else np.linspace(0.0, whole.machine.rotor_pitch, IDLE_ANGLES + 1)
        turns = whole.machine.winding.turns_per_pole
        return Prediction(values, flat, full, slopes, turns, around, idle)

    def _near(self, swept: Swept, machine: Machine) -> FluxMap:
        return replace(swept.near_map(machine, self.angles, self.currents), remarks=())

    def _idle_of(self, whole: BuiltMachine) -> Floats | None:
        """Mutual inductance of phases 0 and 1 over a rotor pitch, both ends in it, H; None where it is not asked
        for."""
        if self.idle is None:
            return None
        count = whole.machine.phases.count
        if count < 2:
            rule, allowed = "an idle phase is beside a driven one", "two phases or more"
            raise InvalidValue(refusal(rule, "phases", count, allowed))
        current = self.idle
        angles = np.linspace(0.0, whole.machine.rotor_pitch, IDLE_ANGLES, endpoint=False)
        increasing("idle phases are read at angles", "angles", angles, "rad")
        states = field_series(whole, angles, [current] + [0.0] * (count - 1))
        found = np.array([state.flux_linkages[1] / current for state in states])
        return np.append(found, found[0])
