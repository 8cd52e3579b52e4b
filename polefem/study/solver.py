"""What computes fields for a pipeline, and the pipeline itself, loaded where a design is computed: a run whose designs
are all known waits for neither mesher nor solver."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeVar

from numpy.typing import ArrayLike

from polefem.errors import InvalidValue
from polefem.maps import CoupledMap, FluxMap, MapSlopes
from polefem.params import RectangularCurrent
from polefem.study.design import Design
from polefem.study.record import Outcome

if TYPE_CHECKING:
    from polefem.field import BuiltMachine, FieldState
    from polefem.forces import GapPressure, OffsetPull

__all__ = [
    "FIELD",
    "KnownMap",
    "KnownSlopes",
    "Pressures",
    "SidePulls",
    "Solver",
    "VersionsDiffer",
    "attempt_elsewhere",
]

Kept = TypeVar("Kept", FluxMap, CoupledMap)


class _Maps(Protocol):
    def __call__(self, machine: BuiltMachine, angles: ArrayLike, currents: ArrayLike) -> FluxMap: ...


class _CoupledMaps(Protocol):
    def __call__(
        self,
        machine: BuiltMachine,
        angles: ArrayLike,
        currents: ArrayLike,
        *,
        joint_currents: ArrayLike | None = None,
        at_once: int = 3,
    ) -> CoupledMap: ...


class _Slopes(Protocol):
    def __call__(
        self,
        machine: BuiltMachine,
        angles: ArrayLike,
        currents: ArrayLike,
        fields: Sequence[str],
        drives: Sequence[RectangularCurrent] = (),
    ) -> MapSlopes: ...


class _Fields(Protocol):
    def __call__(
        self, machine: BuiltMachine, angles: ArrayLike, phase_currents: ArrayLike
    ) -> Iterator[FieldState]: ...


class Pressures(Protocol):
    """Pressure in the gap of a machine at angles (rad) under phase currents (A), such as
    `polefem.forces.gap_pressure`."""

    def __call__(
        self, machine: BuiltMachine, angles: ArrayLike, phase_currents: ArrayLike, /
    ) -> GapPressure: ...


class SidePulls(Protocol):
    """Pull on the rotor of a machine off its axis by a length (m), such as `polefem.forces.offset_pull`."""

    def __call__(
        self, machine: BuiltMachine, offset: float, angles: ArrayLike, phase_currents: ArrayLike, /
    ) -> OffsetPull: ...


@dataclass(frozen=True)
class Solver:
    """What a pipeline asks for fields: the map of one phase, that of all phases in one field, and states at angles.

    All must be functions of a module, so that a worker process can find them. sloped: the map of one phase with its
    slopes; pressures, side_pulls: in the gap and on a rotor off its axis, for plans that listen. None for a solver that
    has none to give.
    """

    flux_map: _Maps
    coupled_map: _CoupledMaps
    fields: _Fields
    sloped: _Slopes | None = None
    pressures: Pressures | None = None
    side_pulls: SidePulls | None = None


def _flux_map(*given: Any, **named: Any) -> FluxMap:
    found: FluxMap = import_module("polefem.sweep").flux_map(*given, **named)
    return found


def _coupled_map(*given: Any, **named: Any) -> CoupledMap:
    found: CoupledMap = import_module("polefem.sweep").coupled_map(*given, **named)
    return found


def _fields(*given: Any, **named: Any) -> Iterator[FieldState]:
    found: Iterator[FieldState] = import_module("polefem.field").field_series(*given, **named)
    return found


def _sloped(*given: Any, **named: Any) -> MapSlopes:
    found: MapSlopes = import_module("polefem.slopes").map_with_slopes(*given, **named)
    return found


def _pressures(*given: Any, **named: Any) -> GapPressure:
    found: GapPressure = import_module("polefem.forces").gap_pressure(*given, **named)
    return found


def _side_pulls(*given: Any, **named: Any) -> OffsetPull:
    found: OffsetPull = import_module("polefem.forces").offset_pull(*given, **named)
    return found


FIELD = Solver(_flux_map, _coupled_map, _fields, _sloped, _pressures, _side_pulls)
"""The solver of this package."""


@dataclass(frozen=True, eq=False)
class KnownMap(Generic[Kept]):
    """In place of a solver's map, where the very same was computed before under another drive."""

    kept: Kept

    def __call__(
        self,
        machine: BuiltMachine,
        angles: ArrayLike,
        currents: ArrayLike,
        *,
        joint_currents: ArrayLike | None = None,
        at_once: int = 3,
    ) -> Kept:
        """The map, whose angles and currents are those asked for: its key stands for them."""
        return self.kept


@dataclass(frozen=True, eq=False)
class KnownSlopes:
    """In place of a solver's map with slopes, as `KnownMap`."""

    slopes: MapSlopes

    def __call__(
        self,
        machine: BuiltMachine,
        angles: ArrayLike,
        currents: ArrayLike,
        fields: Sequence[str],
        drives: Sequence[RectangularCurrent] = (),
    ) -> MapSlopes:
        """The map with its slopes, which are those asked for."""
        return self.slopes


class VersionsDiffer(InvalidValue):
    """A worker would compute with other versions than the process that asks it: its figures would not compare."""


def attempt_elsewhere(
    design: Design, solver: Solver, asked_with: Mapping[str, str]
) -> tuple[Outcome, Mapping[str, str]]:
    """As `polefem.study.pipeline.attempt_elsewhere`, which is loaded where this runs."""
    found: tuple[Outcome, Mapping[str, str]] = import_module("polefem.study.pipeline").attempt_elsewhere(
        design, solver, asked_with
    )
    return found
