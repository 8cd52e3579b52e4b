"""`FluxMap`: what one phase does over angle and current. The one value that the drive sees."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, StoreRefused, refusal
from polefem.maps.files import read, write
from polefem.maps.interpolation import Potential, initial_inductance
from polefem.params.checks import increasing, whole

__all__ = ["FluxMap"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False, repr=False)
class FluxMap:
    """Flux linkage, torque and co-energy of one phase over a grid of angles and currents.

    angles: ndarray, shape (n_angles,), rad, increasing; 0 is aligned.
    currents: ndarray, shape (n_currents,), A, increasing from 0 or above.
    flux_linkage: ndarray, shape (n_currents, n_angles), Wb.
    torque: ndarray, shape (n_currents, n_angles), N m.
    coenergy: ndarray, shape (n_currents, n_angles), J.
    phases, rotor_poles: of the machine; the map repeats over 2 pi / rotor_poles.
    mirror: whether torque is odd and flux linkage even in the angle (both pole shapes symmetric).
    incremental_inductance: d(flux linkage)/d(current), H, of the same shape, where known.
    iterations, converged: how the field solution of each point ended, of the same shape, where known.
    flux_linkage_error, torque_error: the estimated error of any entry, Wb and N m, where known.
    turns: in series in the phase, where known. name: of the machine or variant. remarks: what a reader must
    know.

    Raises InvalidValue where shapes, signs or numbers contradict each other. Arrays are kept as read-only
    copies.
    """

    angles: Array
    currents: Array
    flux_linkage: Array
    torque: Array
    coenergy: Array
    phases: int
    rotor_poles: int
    mirror: bool
    incremental_inductance: Array | None = None
    iterations: NDArray[np.int64] | None = None
    converged: NDArray[np.bool_] | None = None
    flux_linkage_error: float | None = None
    torque_error: float | None = None
    turns: int | None = None
    name: str = ""
    remarks: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        whole("a map belongs to a machine with phases", "phases", self.phases)
        whole("a map belongs to a machine with rotor poles", "rotor_poles", self.rotor_poles)
        self._keep("angles", increasing("the angles of a map must increase", "angles", self.angles, "rad"))
        self._keep(
            "currents", increasing("the currents of a map must increase", "currents", self.currents, "A")
        )
        if self.currents[0] < 0.0:
            found = f"{self.currents[0]:.6g} A"
            raise InvalidValue(
                refusal("a map holds one sign of current", "currents[0]", found, "0 A or more")
            )
        if self.currents[-1] == 0.0:
            raise InvalidValue(
                refusal("a map needs a current that flows", "currents[-1]", "0 A", "above 0 A")
            )
        for name in ("flux_linkage", "torque", "coenergy", "incremental_inductance"):
            self._keep_table(name, np.float64)
        self._keep_table("iterations", np.int64)
        self._keep_table("converged", np.bool_)
        object.__setattr__(self, "remarks", tuple(self.remarks))

    def _keep(self, name: str, array: NDArray[Any]) -> None:
        array.flags.writeable = False
        object.__setattr__(self, name, array)

    def _keep_table(self, name: str, kind: type) -> None:
        if getattr(self, name) is None:
            return
        raw = np.array(getattr(self, name))
        if raw.dtype.kind == "f" and kind is not np.float64 and not np.isfinite(raw).all():
            raise InvalidValue(refusal("a map counts whole numbers", name, "not finite", "finite"))
        table: NDArray[Any] = raw.astype(kind)
        shape = (self.currents.size, self.angles.size)
        if table.shape != shape:
            rule = "a table of a map has a row for each current and a column for each angle"
            raise InvalidValue(refusal(rule, name, f"of shape {table.shape}", f"shape {shape}"))
        if kind is np.float64 and not np.isfinite(table).all():
            k, j = np.argwhere(~np.isfinite(table))[0]
            raise InvalidValue(
                refusal("a map holds finite numbers", f"{name}[{k}, {j}]", table[k, j], "finite")
            )
        self._keep(name, table)

    @property
    def pitch(self) -> float:
        """Angle over which the map repeats, rad."""
        return 2 * math.pi / self.rotor_poles

    @property
    def stroke(self) -> float:
        """Angle from one phase to the next, rad."""
        return self.pitch / self.phases

    @cached_property
    def inductance(self) -> Array:
        """Flux linkage over current, H, shape (n_currents, n_angles); its limit where the current is zero."""
        inductance = np.empty_like(self.flux_linkage)
        flowing = self.currents > 0.0
        inductance[flowing] = self.flux_linkage[flowing] / self.currents[flowing, None]
        if not flowing[0]:
            known = self.incremental_inductance
            at_rest = known[0] if known is not None else initial_inductance(self.currents, self.flux_linkage)
            inductance[0] = at_rest
        inductance.flags.writeable = False
        return inductance

    @cached_property
    def potential(self) -> Potential:
        """The co-energy as one smooth function of angle and current, made when first asked for.

        Raises InvalidValue where the angles leave out a part of the pitch, or the flux linkage does not rise.
        """
        return Potential.through(
            self.angles,
            self.currents,
            self.flux_linkage,
            self.torque,
            self.coenergy,
            self.incremental_inductance,
            pitch=self.pitch,
            mirror=self.mirror,
        )

    def at(self, angle: ArrayLike, current: ArrayLike) -> tuple[Array, Array, Array]:
        """Flux linkage (Wb), torque (N m), co-energy (J) at any angle (rad) and current (A) of the map.

        The arguments broadcast; each result has their common shape. Flux linkage and torque are the exact
        partial derivatives of the co-energy, so that energy balances close; at the map's own points they are
        the map's own values. A current below zero turns the sign of the flux linkage alone.

        Raises InvalidValue for a current beyond the last of the map: saturation past it is not known.
        """
        point = self.potential.at(angle, current)
        return point.flux_linkage, point.torque, point.coenergy

    def invert(self, angle: ArrayLike, flux_linkage: ArrayLike) -> Array:
        """The current (A) that gives a flux linkage (Wb) at an angle (rad); the arguments broadcast.

        Raises InvalidValue for a flux linkage beyond that of the map's last current.
        """
        return self.potential.current(angle, flux_linkage)

    def save(self, path: str | Path) -> None:
        """Write the map to an .npz file with a checksum of its contents; no code is stored."""
        write(path, self.contents())

    def contents(self) -> dict[str, Any]:
        """All that makes the map, by name, as files hold it."""
        return {item.name: getattr(self, item.name) for item in fields(self)}

    @classmethod
    def load(cls, path: str | Path) -> FluxMap:
        """Read what `save` wrote; raises StoreRefused for a file that is damaged or of another version."""
        return cls.of_contents(read(path), path)

    @classmethod
    def of_contents(cls, contents: dict[str, Any], path: str | Path) -> FluxMap:
        """The map of what a file at a path holds; raises StoreRefused where that is no map."""
        known = {item.name for item in fields(cls)}
        if set(contents) != known:
            odd = ", ".join(sorted(set(contents) ^ known))
            raise StoreRefused(
                refusal("a map file holds a map", str(path), f"a file with {odd} amiss", "a saved map")
            )
        try:
            return cls(**contents)
        except (InvalidValue, TypeError, ValueError, AttributeError, IndexError) as error:
            said = f"a file whose contents are no map ({error})"
            raise StoreRefused(refusal("a map file holds a map", str(path), said, "a saved map")) from error

    def __repr__(self) -> str:
        tables = f"{self.currents.size} currents to {self.currents[-1]:.4g} A x {self.angles.size} angles"
        span = f"{math.degrees(self.angles[0]):.4g} to {math.degrees(self.angles[-1]):.4g} deg"
        machine = f"{self.phases} phases, {self.rotor_poles} rotor poles{', mirror' if self.mirror else ''}"
        low, high = self.inductance.min() * 1e3, self.inductance.max() * 1e3
        name = f"{self.name}: " if self.name else ""
        return f"FluxMap({name}{tables} {span}, {machine}, inductance {low:.4g} to {high:.4g} mH)"
