"""A flux map together with the slopes of its tables in a machine's dimensions: values, and their files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from polefem.errors import InvalidValue, refusal
from polefem.maps.coupled_map import CoupledMap
from polefem.maps.files import read, write
from polefem.maps.flux_map import FluxMap

__all__ = ["MapSlopes", "loaded"]

Floats = NDArray[np.float64]

#: A field whose slopes are even in the angle to this part of the largest keeps a machine its own mirror image.
EVEN = 1e-9
_TABLES = ("flux_linkage", "torque", "coenergy")


@dataclass(frozen=True, eq=False)
class MapSlopes:
    """A machine's map and the slopes of its tables in fields of the machine, per SI unit of each.

    machine_map: of all phases. fields: dotted names. flux_linkage, torque, coenergy: of one phase, ndarrays, shape
    (n_fields, n_currents, n_angles). mirrored: the same three at the opposite angles, shape (3, n_fields, n_currents,
    n_angles), where the map mirrors: a field that spoils the symmetry does not do the same at both. together: of the
    nodes of each interaction, each of shape (n_fields,) + that of the nodes; empty where phases are summed.
    """

    machine_map: CoupledMap
    fields: tuple[str, ...]
    flux_linkage: Floats
    torque: Floats
    coenergy: Floats
    mirrored: Floats | None = None
    together: tuple[Floats, ...] = ()

    def __post_init__(self) -> None:
        for array in (self.flux_linkage, self.torque, self.coenergy, self.mirrored, *self.together):
            if array is not None:
                array.flags.writeable = False

    @property
    def flux_map(self) -> FluxMap:
        """The map of one phase, whose tables the slopes are of."""
        return self.machine_map.single

    def symmetric(self, field: str) -> bool:
        """Whether the map mirrors as the field is changed."""
        at = self._at(field)
        return self._even({at: 1.0})

    def changed(self, steps: Mapping[str, float]) -> FluxMap:
        """The map as steps (SI) of fields change it, to first order.

        Where they spoil the mirror, angles of both signs stand in it. Raises InvalidValue for a field that no slopes
        are of.
        """
        taken = {self._at(field): step for field, step in steps.items() if step}
        base = self.flux_map
        tables = [base.flux_linkage, base.torque, base.coenergy]
        slopes = [self._sum(taken, own) for own in (self.flux_linkage, self.torque, self.coenergy)]
        angles, alike = base.angles, self.mirrored is None or self._even(taken)
        if self.mirrored is not None and not alike:
            angles, chosen = np.unique(np.concatenate([-angles, angles]), return_index=True)
            tables = [np.hstack([s * t, t])[:, chosen] for s, t in zip((1.0, -1.0, 1.0), tables, strict=True)]
            behind = [self._sum(taken, own) for own in self.mirrored]
            slopes = [np.hstack([b, s])[:, chosen] for b, s in zip(behind, slopes, strict=True)]
        linkage, torque, coenergy = (t + s for t, s in zip(tables, slopes, strict=True))
        return replace(
            base,
            angles=angles,
            flux_linkage=linkage,
            torque=torque,
            coenergy=coenergy,
            mirror=base.mirror and alike,
            iterations=base.iterations if alike else None,
            converged=base.converged if alike else None,
            incremental_inductance=None,
        )

    def changed_machine(self, steps: Mapping[str, float]) -> CoupledMap:
        """The map of all phases as steps (SI) of fields change it, to first order. Raises as `changed`."""
        taken = {self._at(field): step for field, step in steps.items() if step}
        parts = [
            replace(part, nodes=part.nodes + sum(step * slopes[at] for at, step in taken.items()))
            for part, slopes in zip(self.machine_map.interactions, self.together, strict=False)
        ]
        return replace(self.machine_map, single=self.changed(steps), interactions=tuple(parts))

    def _sum(self, steps: Mapping[int, float], slopes: Floats) -> Floats:
        return sum((step * slopes[at] for at, step in steps.items()), np.zeros(self.flux_map.torque.shape))

    def _even(self, steps: Mapping[int, float]) -> bool:
        if self.mirrored is None:
            return False
        ahead, behind = self._sum(steps, self.coenergy), self._sum(steps, self.mirrored[2])
        return bool(np.abs(ahead - behind).max() <= EVEN * np.abs(ahead).max())

    def save(self, path: str | Path) -> None:
        """Write map and slopes to one .npz file with a checksum of its contents; no code is stored."""
        own: dict[str, object] = {"slope_fields": self.fields, "slope_mirrored": self.mirrored}
        own |= {f"slope_together {at:02d}": one for at, one in enumerate(self.together)}
        tables = {f"slope_of_{name}": getattr(self, name) for name in _TABLES}
        write(path, {**self.machine_map.contents(), **own, **tables})

    def _at(self, field: str) -> int:
        if field not in self.fields:
            rule = "slopes are of the fields that were asked for"
            raise InvalidValue(refusal(rule, "field", repr(field), ", ".join(self.fields)))
        return self.fields.index(field)


def loaded(path: str | Path) -> CoupledMap | MapSlopes:
    """What `CoupledMap.save` or `MapSlopes.save` wrote; raises StoreRefused as `CoupledMap.load` does."""
    contents = read(path)
    if "slope_fields" not in contents:
        return CoupledMap.of_contents(contents, path)
    own = {name: contents.pop(name, None) for name in [n for n in contents if n.startswith("slope_")]}
    linkage, torque, coenergy = (own[f"slope_of_{name}"] for name in _TABLES)
    base = CoupledMap.of_contents(contents, path)
    together = tuple(own[name] for name in sorted(own) if name.startswith("slope_together"))
    return MapSlopes(base, own["slope_fields"], linkage, torque, coenergy, own["slope_mirrored"], together)
