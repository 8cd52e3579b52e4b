"""`CoupledMap`: what a whole machine does over its angle and all phase currents, from one potential.

The co-energy is the sum of what each phase has alone and of what phases that conduct together add,

    W'(theta, i) = sum_p W1(theta - p * stroke, i_p) + sum_(p<q) C_pq(theta, i_p, i_q) + ...

with every C = 0 where one of its currents is 0. Flux linkages and torque are its exact derivatives, so that no motion
round a closed path can make or lose energy.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, StoreRefused, refusal
from polefem.maps.files import read, write
from polefem.maps.flux_map import FluxMap
from polefem.maps.interaction import Interaction

__all__ = ["CoupledMap", "CoupledPoint", "summed"]

Array = NDArray[np.float64]

_FACTS = ("coupling", "flux_linkage_error", "torque_error", "remarks", "lost")
_PARTS = ("angles", "currents", "nodes")
_NEWTON_STEPS = 60
_SETTLED = 1e-12
#: A current below zero, or above the last, by no more than this part of the last is rounding.
ROUNDING = 1e-9


class CoupledPoint(NamedTuple):
    """What a machine does: flux linkages, shape (..., n_phases), Wb; torque, N m, and co-energy, J, shape (...)."""

    flux_linkages: Array
    torque: Array
    coenergy: Array


class _Values(NamedTuple):
    """A `CoupledPoint` with the incremental inductances, H, shape (..., n_phases, n_phases)."""

    flux_linkages: Array
    torque: Array
    coenergy: Array
    inductances: Array


@dataclass(frozen=True, eq=False, repr=False)
class CoupledMap:
    """Flux linkages of all phases, torque and co-energy over the rotor's angle and all phase currents.

    single: of phase 0 alone; phase p alone is the same, p strokes on. interactions: what sets of phases add, each set
    once; none where phases do not know of each other. coupling: "joint" where the map comes from fields of the whole
    machine, "summed" where phases were added up. flux_linkage_error, torque_error: the estimated error of any flux
    linkage, Wb, and torque, N m, from mesh and interpolation, where known. remarks: what a reader must know, the
    single map's apart. lost: how many joint fields did not converge; the first remarks name them.

    Raises InvalidValue where the parts contradict each other.
    """

    single: FluxMap
    interactions: tuple[Interaction, ...] = ()
    coupling: str = "joint"
    flux_linkage_error: float | None = None
    torque_error: float | None = None
    remarks: tuple[str, ...] = ()
    lost: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "interactions", tuple(self.interactions))
        object.__setattr__(self, "remarks", tuple(self.remarks))
        if self.coupling not in ("joint", "summed"):
            rule = "phases share one field or are added up"
            raise InvalidValue(refusal(rule, "coupling", repr(self.coupling), "'joint' or 'summed'"))
        sets = [part.phases for part in self.interactions]
        known = range(self.phases)
        if len(set(sets)) < len(sets) or any(
            len(one) < 2 or list(one) != sorted(set(one)) or not set(one) <= set(known) for one in sets
        ):
            rule = "each set of phases interacts once, its phases in rising order"
            raise InvalidValue(refusal(rule, "interactions", f"of phases {sets}", f"sets of {list(known)}"))
        spans = [part.angles[-1] - part.angles[0] for part in self.interactions]
        if not np.allclose(spans, self.pitch, rtol=1e-9):
            found, allowed = f"{np.degrees(spans)} deg", f"{np.degrees(self.pitch):.6g} deg"
            rule = "an interaction covers one rotor pitch"
            raise InvalidValue(refusal(rule, "interactions", found, allowed))

    @property
    def phases(self) -> int:
        """How many phases the machine has."""
        return self.single.phases

    @property
    def rotor_poles(self) -> int:
        """How many rotor poles; the map repeats over one pitch of them."""
        return self.single.rotor_poles

    @property
    def pitch(self) -> float:
        """Angle over which the map repeats, rad."""
        return self.single.pitch

    @property
    def stroke(self) -> float:
        """Angle from one phase to the next, rad."""
        return self.single.stroke

    @property
    def mirror(self) -> bool:
        """Whether the torque of one phase alone is odd, and its flux linkage even, in the angle."""
        return self.single.mirror

    @property
    def name(self) -> str:
        """Of the machine or variant."""
        return self.single.name

    @property
    def angles(self) -> Array:
        """Angles of the map of one phase, rad, shape (n_angles,)."""
        return self.single.angles

    @cached_property
    def currents(self) -> Array:
        """Currents of the map of one phase as far as the whole map reaches, A, shape (n_currents,); the last is the
        largest current that any phase may carry."""
        last = min([self.single.currents[-1], *(part.currents[-1] for part in self.interactions)])
        inside = self.single.currents[self.single.currents < last * (1 - ROUNDING)]
        currents = np.append(inside, last)
        currents.flags.writeable = False
        return currents

    def at(self, angle: ArrayLike, phase_currents: ArrayLike) -> CoupledPoint:
        """Flux linkages (Wb), torque (N m), co-energy (J) at angles (rad), shape (...), and phase currents (A), shape
        (..., n_phases); the leading shapes broadcast.

        Raises InvalidValue for a current below zero, since two currents that are turned together leave the field as it
        is and one turned alone does not, and beyond the last current of the map.
        """
        found = self._values(*self._checked(angle, phase_currents))
        return CoupledPoint(found.flux_linkages, found.torque, found.coenergy)

    def torque(self, angle: ArrayLike, phase_currents: ArrayLike) -> Array:
        """Torque alone, N m, shape (...): that of `at`, with its arguments and refusals, for a fraction of the time."""
        return self._only("torque", *self._checked(angle, phase_currents))

    def coenergy(self, angle: ArrayLike, phase_currents: ArrayLike) -> Array:
        """Co-energy alone, J, shape (...): that of `at`, its arguments and refusals too, for a fraction of the time."""
        return self._only("coenergy", *self._checked(angle, phase_currents))

    def inductances(self, angle: ArrayLike, phase_currents: ArrayLike) -> Array:
        """Incremental inductances d(flux linkage)/d(current), H, shape (..., n_phases, n_phases); raises as `at`."""
        return self._values(*self._checked(angle, phase_currents)).inductances

    def invert(self, angle: ArrayLike, flux_linkages: ArrayLike) -> Array:
        """The phase currents (A), shape (..., n_phases), that give flux linkages (Wb) of that shape at angles (rad).

        Newton's method on the co-energy less the sum of flux linkage times current, from what each phase alone would
        carry. Raises InvalidValue where a phase would carry a current below zero or beyond the map.
        """
        angle, linkages = self._broadcast(angle, flux_linkages, "flux_linkages")
        last = float(self.currents[-1])
        currents = self._alone(angle, linkages)
        slack = 0.05 * last
        best = np.inf
        for _ in range(_NEWTON_STEPS):
            found = self._values(angle, currents)
            step = np.linalg.solve(found.inductances, (linkages - found.flux_linkages)[..., None])[..., 0]
            moved = np.clip(currents + step, -slack, last + slack)
            change = float(np.abs(moved - currents).max(initial=0.0))
            # Where full steps go to and fro across a knee, half steps do not.
            currents = moved if change < 0.9 * best else (currents + moved) / 2
            best = min(best, change)
            if change <= _SETTLED * last:
                break
        outside = np.maximum(-currents, currents - last).max(initial=0.0)
        if outside > ROUNDING * last or change > ROUNDING * last:
            worst = np.unravel_index(np.maximum(-currents, currents - last).argmax(), currents.shape)
            rule = "a map knows the flux linkages of currents from 0 to its last"
            name = f"flux_linkages of phase {worst[-1]}"
            found_here = f"{linkages[worst]:.6g} Wb at {np.degrees(angle[worst[:-1]]):.4g} deg"
            raise InvalidValue(refusal(rule, name, found_here, f"what 0 to {last:.6g} A give there"))
        return np.clip(currents, 0.0, last)

    def _alone(self, angle: Array, linkages: Array) -> Array:
        """The currents that each phase would carry for its flux linkage if it were alone, within the map."""
        last = float(self.currents[-1])
        own = angle[..., None] - np.arange(self.phases) * self.stroke
        most = self.single.potential.at(own, last).flux_linkage
        return self.single.potential.current(own, np.clip(linkages, 0.0, most))

    def _broadcast(self, angle: ArrayLike, table: ArrayLike, name: str) -> tuple[Array, Array]:
        angle, table = np.asarray(angle, dtype=float), np.asarray(table, dtype=float)
        if table.ndim == 0 or table.shape[-1] != self.phases:
            rule = "each phase has its own"
            raise InvalidValue(refusal(rule, name, f"of shape {table.shape}", f"shape (..., {self.phases})"))
        shape = np.broadcast_shapes(angle.shape, table.shape[:-1])
        return np.broadcast_to(angle, shape), np.broadcast_to(table, (*shape, self.phases))

    def _checked(self, angle: ArrayLike, phase_currents: ArrayLike) -> tuple[Array, Array]:
        angle, currents = self._broadcast(angle, phase_currents, "phase_currents")
        last = float(self.currents[-1])
        if not (currents >= -ROUNDING * last).all():
            rule = "currents of phases that share a field are of one sign"
            raise InvalidValue(
                refusal(rule, "phase_currents", f"{np.min(currents):.6g} A", "0 A or more in every phase")
            )
        if not (currents <= last * (1 + ROUNDING)).all():
            found, most = f"{np.max(currents):.6g} A", f"up to {last:.6g} A"
            raise InvalidValue(
                refusal("a map says nothing beyond its last current", "phase_currents", found, most)
            )
        return angle, np.clip(currents, 0.0, last)

    def _values(self, angle: Array, currents: Array) -> _Values:
        """Values at currents that may stand a little outside the map, followed along the nearest polynomial."""
        last, own = float(self.single.currents[-1]), angle[..., None] - np.arange(self.phases) * self.stroke
        inside = np.clip(currents, -last, last)
        alone = self.single.potential.at(own, inside)
        over = currents - inside
        linkages = alone.flux_linkage + alone.incremental_inductance * over
        torque, coenergy = alone.torque.sum(axis=-1), alone.coenergy.sum(axis=-1)
        inductances = alone.incremental_inductance[..., None] * np.eye(self.phases)
        for part in self.interactions:
            at = np.array(part.phases)
            found = part.at(angle, currents[..., at])
            linkages[..., at] += found.flux_linkages
            torque, coenergy = torque + found.torque, coenergy + found.coenergy
            inductances[..., at[:, None], at] += found.inductances
        return _Values(linkages, torque, coenergy, inductances)

    def _only(self, name: str, angle: Array, currents: Array) -> Array:
        """Torque or co-energy; where a phase rests, neither it nor what it would add is looked up."""
        flat, rows = angle.reshape(-1), currents.reshape(-1, self.phases)
        on, found = rows > 0.0, np.zeros(flat.size)
        for phase in range(self.phases):
            at = np.flatnonzero(on[:, phase])
            own = self.single.potential.at(flat[at] - phase * self.stroke, rows[at, phase])
            found[at] += getattr(own, name)
        for part in self.interactions:
            chosen = list(part.phases)
            at = np.flatnonzero(on[:, chosen].all(axis=1))
            if at.size:
                found[at] += part.only(flat[at], rows[at][:, chosen], turned=name == "torque")
        return found.reshape(angle.shape)

    def save(self, path: str | Path) -> None:
        """Write the map to an .npz file with a checksum of its contents; no code is stored."""
        write(path, self.contents())

    def contents(self) -> dict[str, Any]:
        """What a file of the map holds."""
        contents: dict[str, Any] = {name: getattr(self, name) for name in _FACTS}
        contents |= {f"single {item.name}": getattr(self.single, item.name) for item in fields(FluxMap)}
        for part in self.interactions:
            of = f"phases {' '.join(map(str, part.phases))}"
            contents |= {f"{of} {name}": getattr(part, name) for name in _PARTS}
        return contents

    @classmethod
    def load(cls, path: str | Path) -> CoupledMap:
        """Read what `save` wrote; raises StoreRefused for a file that is damaged or of another version."""
        return cls.of_contents(read(path), path)

    @classmethod
    def of_contents(cls, contents: dict[str, Any], path: str | Path) -> CoupledMap:
        """The map of what a file at a path holds; raises StoreRefused where that is no coupled map."""
        try:
            single = FluxMap(**{item.name: contents.pop(f"single {item.name}") for item in fields(FluxMap)})
            facts = {name: contents.pop(name) for name in _FACTS}
            sets = dict.fromkeys(name.rpartition(" ")[0] for name in contents)
            parts = [
                Interaction(
                    tuple(int(phase) for phase in of.removeprefix("phases ").split()),
                    *(contents.pop(f"{of} {name}") for name in _PARTS),
                )
                for of in sets
            ]
        except (KeyError, ValueError) as error:
            rule, allowed = "a file of a coupled map holds one", "a saved coupled map"
            raise StoreRefused(refusal(rule, str(path), f"a file with {error} amiss", allowed)) from error
        return cls(single, tuple(parts), **facts)

    def __repr__(self) -> str:
        sets = f", {len(self.interactions)} sets of phases interact" if self.interactions else ""
        return f"CoupledMap({self.coupling}{sets}; {self.single!r})"


def summed(flux_map: FluxMap) -> CoupledMap:
    """The machine whose phases do not know of each other: everything is the sum of what each phase does alone.

    Its errors are those of the flux map, of one phase; what the sum leaves out is not in them.
    """
    return CoupledMap(
        flux_map,
        coupling="summed",
        flux_linkage_error=flux_map.flux_linkage_error,
        torque_error=flux_map.torque_error,
    )
