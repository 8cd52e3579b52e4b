"""Flux maps as tables that anything reads: netCDF (the classic format), CSV and JSON, each number with its unit.

Angles are in rad, 0 where aligned, counter-clockwise positive; every table has a row for each current and a column for
each angle. What a map does not know is left out.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.files import complete, write_text
from polefem.maps import FluxMap
from polefem.units import deg
from polefem.version import __version__

__all__ = ["ANGLE", "Quantity", "entry", "head_of", "variable_of", "write_csv", "write_json", "write_netcdf"]


@dataclass(frozen=True)
class Quantity:
    """One quantity of a map: its name as a variable and in words, its unit, and the map's estimate of its error."""

    name: str
    words: str
    unit: str
    error: str = ""


ANGLE = Quantity("angle", "rotor angle", "rad")
_CURRENT = Quantity("current", "phase current", "A")
_TABLES = (
    Quantity("flux_linkage", "flux linkage of one phase", "Wb", "flux_linkage_error"),
    Quantity("torque", "torque of one phase", "N m", "torque_error"),
    Quantity("coenergy", "co-energy of one phase", "J"),
    Quantity("inductance", "flux linkage over current", "H"),
    Quantity("incremental_inductance", "d(flux linkage)/d(current)", "H"),
    Quantity("iterations", "Newton steps of the field solution", "1"),
    Quantity("converged", "whether the field solution converged", "1"),
)
_NOTE = "angle 0: a rotor pole aligned with the phase; positive counter-clockwise; tables of shape (current, angle)"


def _known(flux_map: FluxMap) -> Iterator[tuple[Quantity, NDArray[Any]]]:
    """Every table that the map has; truth as 0 and 1, whole numbers as the classic format takes them."""
    for quantity in _TABLES:
        table = getattr(flux_map, quantity.name)
        if table is not None:
            yield quantity, table if table.dtype == np.float64 else table.astype(np.int32)


def _error(flux_map: FluxMap, quantity: Quantity) -> float | None:
    """The estimated error of any entry of a table, in its unit, where known."""
    error: float | None = getattr(flux_map, quantity.error) if quantity.error else None
    return error


def _facts(flux_map: FluxMap) -> dict[str, str | int]:
    """What holds for the whole map."""
    facts: dict[str, str | int | None] = {
        "title": flux_map.name or None,
        "source": f"polefem {__version__}",
        "comment": _NOTE,
        "phases": flux_map.phases,
        "rotor_poles": flux_map.rotor_poles,
        "mirror": int(flux_map.mirror),
        "turns": flux_map.turns,
        "remarks": "\n".join(flux_map.remarks) or None,
    }
    return {name: fact for name, fact in facts.items() if fact is not None}


def write_netcdf(flux_map: FluxMap, path: str | Path) -> Path:
    """Write a map as netCDF, classic format: dimensions `current` and `angle`, with variables of the same names.

    Each variable has `units` and `long_name`, and `estimated_error` in its unit where that is known.
    """
    axes = ((_CURRENT, flux_map.currents), (ANGLE, flux_map.angles))
    with complete(path) as part, scipy.io.netcdf_file(str(part), "w", version=1) as file:
        for name, fact in _facts(flux_map).items():
            setattr(file, name, fact.encode() if isinstance(fact, str) else fact)
        for axis, values in axes:
            file.createDimension(axis.name, len(values))
            variable_of(file, axis, (axis.name,), values)
        for quantity, table in _known(flux_map):
            variable = variable_of(file, quantity, ("current", "angle"), table)
            if (error := _error(flux_map, quantity)) is not None:
                variable.estimated_error = np.float64(error)  # a plain float would lose half of its digits
    return Path(path)


def variable_of(file: Any, quantity: Quantity, axes: tuple[str, ...], values: NDArray[Any]) -> Any:
    """A new variable of a netCDF file, with its unit and words."""
    variable = file.createVariable(quantity.name, values.dtype, axes)
    variable[:] = values
    variable.units, variable.long_name = quantity.unit, quantity.words
    return variable


def write_csv(flux_map: FluxMap, path: str | Path) -> Path:
    """Write a map as one long table: a line for each current and angle, units in the header; angles in deg as well."""
    tables = list(_known(flux_map))
    head = [head_of(_CURRENT), head_of(ANGLE), "rotor angle (deg)"]
    with complete(path) as part, part.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([*head, *(head_of(quantity) for quantity, _ in tables)])
        for k, current in enumerate(flux_map.currents.tolist()):
            for j, angle in enumerate(flux_map.angles.tolist()):
                writer.writerow([current, angle, angle / deg, *(table[k, j].item() for _, table in tables)])
    return Path(path)


def head_of(quantity: Quantity) -> str:
    """A quantity at the head of a column: words and unit."""
    return quantity.words if quantity.unit == "1" else f"{quantity.words} ({quantity.unit})"


def write_json(flux_map: FluxMap, path: str | Path) -> Path:
    """Write a map as JSON: `facts`, then `axes` and `tables` by name, each with its words, unit and values."""
    axes = {
        axis.name: entry(axis, values)
        for axis, values in ((_CURRENT, flux_map.currents), (ANGLE, flux_map.angles))
    }
    tables = {}
    for quantity, table in _known(flux_map):
        tables[quantity.name] = {**entry(quantity, table), "axes": ["current", "angle"]}
        if (error := _error(flux_map, quantity)) is not None:
            tables[quantity.name]["estimated error"] = error
    everything = {"facts": _facts(flux_map), "axes": axes, "tables": tables}
    write_text(path, json.dumps(everything, indent=1) + "\n")
    return Path(path)


def entry(quantity: Quantity, values: NDArray[Any]) -> dict[str, Any]:
    """A quantity in JSON."""
    return {"words": quantity.words, "unit": quantity.unit, "values": values.tolist()}
