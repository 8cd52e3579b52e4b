"""Coupled maps as tables that anything reads: netCDF (the classic format), CSV and JSON, each number with its unit.

A table for phase 0 alone and for every set of phases that interact, all other phases resting: torque, co-energy and the
flux linkages of all phases over the rotor's angle and the currents of the set, at the map's own nodes. Angles are in
rad, 0 where phase 0 is aligned, counter-clockwise positive; phase p alone is phase 0, p strokes on.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.export.maps import ANGLE, Quantity, entry, head_of, variable_of
from polefem.files import complete, write_text
from polefem.maps import CoupledMap
from polefem.units import deg
from polefem.version import __version__

__all__ = ["write_coupled_csv", "write_coupled_json", "write_coupled_netcdf"]

Floats = NDArray[np.float64]

_NOTE = (
    "angle 0: a rotor pole aligned with phase 0; positive counter-clockwise; phase p alone is phase 0, p strokes on; "
    "tables of shape (angle, current of the set's first phase, of its second ...), all other phases resting"
)


@dataclass(frozen=True, eq=False)
class _Set:
    """Phases that conduct, over n angles (rad) and m currents (A): tables of shape (n,) + (m,) * k by quantity."""

    phases: tuple[int, ...]
    angles: Floats
    currents: Floats
    tables: tuple[tuple[Quantity, Floats], ...]

    @property
    def name(self) -> str:
        """As it stands behind the names of variables."""
        return "_".join(map(str, self.phases))


def _sets(coupled_map: CoupledMap) -> Iterator[_Set]:
    single = coupled_map.single
    yield _tabled(
        coupled_map, (0,), single.angles, np.append(0.0, coupled_map.currents[coupled_map.currents > 0.0])
    )
    for part in coupled_map.interactions:
        yield _tabled(coupled_map, part.phases, part.angles, part.currents)


def _tabled(coupled_map: CoupledMap, phases: tuple[int, ...], angles: Floats, currents: Floats) -> _Set:
    k, name = len(phases), "_".join(map(str, phases))
    rows = np.zeros((len(angles), *[len(currents)] * k, coupled_map.phases))
    for axis, phase in enumerate(phases):
        rows[..., phase] = currents.reshape([-1 if at == axis else 1 for at in range(k)])
    found = coupled_map.at(angles.reshape(-1, *[1] * k), rows)
    on = " and ".join(map(str, phases))
    tables = [
        (Quantity(f"torque_{name}", f"torque with phase {on} on", "N m", "torque_error"), found.torque),
        (Quantity(f"coenergy_{name}", f"co-energy with phase {on} on", "J"), found.coenergy),
    ]
    for phase in range(coupled_map.phases):
        words = f"flux linkage of phase {phase} with phase {on} on"
        own = Quantity(f"flux_linkage_{phase}_of_{name}", words, "Wb", "flux_linkage_error")
        tables.append((own, found.flux_linkages[..., phase]))
    return _Set(phases, angles, currents, tuple(tables))


def _current(one: _Set, phase: int) -> Quantity:
    return Quantity(f"current_{phase}_of_{one.name}", f"current of phase {phase}", "A")


def _facts(coupled_map: CoupledMap) -> dict[str, str | int]:
    """What holds for the whole map."""
    remarks = (*coupled_map.single.remarks, *coupled_map.remarks)
    facts: dict[str, str | int] = {
        "source": f"polefem {__version__}",
        "comment": _NOTE,
        "coupling": coupled_map.coupling,
        "phases": coupled_map.phases,
        "rotor_poles": coupled_map.rotor_poles,
    }
    told = {"title": coupled_map.name, "remarks": "\n".join(remarks)}
    return facts | {name: text for name, text in told.items() if text}


def _error(coupled_map: CoupledMap, quantity: Quantity) -> float | None:
    error: float | None = getattr(coupled_map, quantity.error) if quantity.error else None
    return error


def write_coupled_netcdf(coupled_map: CoupledMap, path: str | Path) -> Path:
    """Write a coupled map as netCDF, classic format.

    Each set of phases has dimensions of its own, `angle_of_0_1`, `current_0_of_0_1` and `current_1_of_0_1` for phases 0
    and 1, with variables of the same names; and `torque_0_1`, `coenergy_0_1`, `flux_linkage_2_of_0_1` ... over them.
    Each variable has `units` and `long_name`, and `estimated_error` in its unit where that is known.
    """
    with complete(path) as part, scipy.io.netcdf_file(str(part), "w", version=1) as file:
        for name, fact in _facts(coupled_map).items():
            setattr(file, name, fact.encode() if isinstance(fact, str) else fact)
        for one in _sets(coupled_map):
            axes = [(Quantity(f"angle_of_{one.name}", ANGLE.words, ANGLE.unit), one.angles)]
            axes += [(_current(one, phase), one.currents) for phase in one.phases]
            for axis, values in axes:
                file.createDimension(axis.name, len(values))
                variable_of(file, axis, (axis.name,), values)
            for quantity, table in one.tables:
                variable = variable_of(file, quantity, tuple(axis.name for axis, _ in axes), table)
                if (error := _error(coupled_map, quantity)) is not None:
                    variable.estimated_error = np.float64(error)
    return Path(path)


def write_coupled_csv(coupled_map: CoupledMap, path: str | Path) -> Path:
    """Write a coupled map as one long table: a line for each node of each set of phases, units in the header."""
    count = range(coupled_map.phases)
    quantities = [Quantity("", f"current of phase {phase}", "A") for phase in count]
    quantities += [Quantity("", "torque", "N m"), Quantity("", "co-energy", "J")]
    quantities += [Quantity("", f"flux linkage of phase {phase}", "Wb") for phase in count]
    with complete(path) as part, part.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([head_of(ANGLE), "rotor angle (deg)", *map(head_of, quantities)])
        for one in _sets(coupled_map):
            for j, angle in enumerate(one.angles.tolist()):
                for at in product(range(len(one.currents)), repeat=len(one.phases)):
                    row = [0.0] * coupled_map.phases
                    for phase, k in zip(one.phases, at, strict=True):
                        row[phase] = float(one.currents[k])
                    values = [table[(j, *at)].item() for _, table in one.tables]
                    writer.writerow([angle, angle / deg, *row, *values])
    return Path(path)


def write_coupled_json(coupled_map: CoupledMap, path: str | Path) -> Path:
    """Write a coupled map as JSON: `facts`, then `sets`, each with its phases, its axes and its tables by name."""
    sets: list[dict[str, Any]] = []
    for one in _sets(coupled_map):
        axes = {"angle": entry(ANGLE, one.angles)}
        axes |= {f"current_{phase}": entry(_current(one, phase), one.currents) for phase in one.phases}
        tables = {}
        for quantity, table in one.tables:
            tables[quantity.name] = {**entry(quantity, table), "axes": list(axes)}
            if (error := _error(coupled_map, quantity)) is not None:
                tables[quantity.name]["estimated error"] = error
        sets.append({"phases": list(one.phases), "axes": axes, "tables": tables})
    write_text(path, json.dumps({"facts": _facts(coupled_map), "sets": sets}, indent=1) + "\n")
    return Path(path)
