"""Everything about one shape as files: its machine, its outline at 1:1, its map."""

from __future__ import annotations

from pathlib import Path

from polefem.export.maps import write_csv, write_json, write_netcdf
from polefem.export.svg import write_svg
from polefem.files import write_text
from polefem.maps import FluxMap
from polefem.outline import DrawnMachine, machine_of
from polefem.params import Machine
from polefem.params.toml import machine_text

__all__ = ["write_shape"]


def write_shape(
    machine: Machine | DrawnMachine, flux_map: FluxMap, folder: Path, stem: str
) -> dict[str, Path]:
    """Write the files of a shape into a folder; returns what they hold and where they are.

    Raises GeometryRefused for a machine that cannot be built.
    """
    folder.mkdir(parents=True, exist_ok=True)
    described = folder / f"{stem}.toml"
    write_text(described, machine_text(machine_of(machine)))
    return {
        "machine (TOML)": described,
        "outline at 1:1 (SVG)": write_svg(machine, folder / f"{stem}.svg"),
        "flux map (netCDF)": write_netcdf(flux_map, folder / f"{stem}.nc"),
        "flux map (CSV)": write_csv(flux_map, folder / f"{stem}.csv"),
        "flux map (JSON)": write_json(flux_map, folder / f"{stem}.json"),
    }
