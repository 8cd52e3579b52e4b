"""What computes fields for a pipeline, and the pipeline itself, loaded where a design is computed: a run whose designs
are all known waits for neither mesher nor solver."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeVar

from numpy.typing import ArrayLike

from polefem.errors import InvalidValue
from polefem.later import Later
from polefem.maps import CoupledMap, FluxMap, MapSlopes
from polefem.params import Phases, RectangularCurrent
from polefem.study.design import Design
from polefem.study.record import Outcome

if TYPE_CHECKING:
    from polefem.field import BuiltMachine, FieldState
    from polefem.forces import GapPressure, OffsetPull

__all__ = [
    "FIELD",
    "KnownJoined",
    "KnownMap",
    "Pressures",
    "SidePulls",
    "Solver",
    "VersionsDiffer",
    "attempt_elsewhere",
]

Kept = TypeVar("Kept", FluxMap, CoupledMap, MapSlopes)


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
    """Pressure in the gap of a machine on some meshes at angles (rad) under phase currents (A), such as
    `polefem.forces.gap_pressures`."""

    def __call__(
        self, meshed: Sequence[BuiltMachine], angles: ArrayLike, phase_currents: ArrayLike, /
    ) -> Sequence[GapPressure]: ...


class SidePulls(Protocol):
    """Pull on the rotor of a machine off its axis by a length (m), such as `polefem.forces.offset_pull`."""

    def __call__(
        self, machine: BuiltMachine, offset: float, angles: ArrayLike, phase_currents: ArrayLike, /
    ) -> OffsetPull: ...


@dataclass(frozen=True)
class Solver:
    """What a pipeline asks for fields: the map of one phase, that of all phases in one field, and states at angles.

    All must be functions of a module, or say of which they are, so that a worker process can find them. sloped: the map
    of one phase with its slopes; pressures, side_pulls: in the gap and on a rotor off its axis, for plans that listen.
    None for a solver that has none to give.
    """

    flux_map: _Maps
    coupled_map: _CoupledMaps
    fields: _Fields
    sloped: _Slopes | None = None
    pressures: Pressures | None = None
    side_pulls: SidePulls | None = None


FIELD = Solver(
    flux_map=Later("polefem.sweep", "flux_map"),
    coupled_map=Later("polefem.sweep", "coupled_map"),
    fields=Later("polefem.field", "field_series"),
    sloped=Later("polefem.slopes", "map_with_slopes"),
    pressures=Later("polefem.forces", "gap_pressures"),
    side_pulls=Later("polefem.forces", "offset_pull"),
)
"""The solver of this package."""


@dataclass(frozen=True, eq=False)
class KnownMap(Generic[Kept]):
    """In place of a solver's map, with slopes or without, where the very same was computed before under another
    drive: whatever it is asked for is that map, whose key stands for machine, angles, currents and fields."""

    kept: Kept

    def __call__(self, *given: Any, **named: Any) -> Kept:
        """The map."""
        return self.kept


_with_coils_turned: Callable[[CoupledMap, Phases, BuiltMachine], CoupledMap | None] = Later(
    "polefem.sweep", "with_coils_turned"
)


@dataclass(frozen=True, eq=False)
class KnownJoined:
    """In place of a solver's coupled maps, where that of the same machine with the coils of some phases turned round
    was computed before: the map that follows from it, or where none does, the solver's own.

    kept: of the machine with the phases `before`. otherwise: what the solver has.
    """

    kept: CoupledMap
    before: Phases
    otherwise: _CoupledMaps

    def __call__(self, machine: BuiltMachine, *given: Any, **named: Any) -> CoupledMap:
        """The map."""
        found = _with_coils_turned(self.kept, self.before, machine)
        return self.otherwise(machine, *given, **named) if found is None else found


class VersionsDiffer(InvalidValue):
    """A worker would compute with other versions than the process that asks it: its figures would not compare."""


attempt_elsewhere: Callable[[Design, Solver, Mapping[str, str]], tuple[Outcome, Mapping[str, str]]] = Later(
    "polefem.study.pipeline", "attempt_elsewhere"
)
"""`polefem.study.pipeline.attempt_elsewhere`, loaded where it runs."""
