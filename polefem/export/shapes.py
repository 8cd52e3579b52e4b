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

__all__ = ["shape_files", "write_shape"]


def write_shape(
    machine: Machine | DrawnMachine, flux_map: FluxMap, folder: Path, stem: str
) -> dict[str, Path]:
    """Write the files of a shape into a folder; returns what they hold and where they are.

    Raises GeometryRefused for a machine that cannot be built.
    """
    folder.mkdir(parents=True, exist_ok=True)
    files = shape_files(folder, stem)
    described, outline, netcdf, csv, json = files.values()
    write_text(described, machine_text(machine_of(machine)))
    write_svg(machine, outline)
    write_netcdf(flux_map, netcdf)
    write_csv(flux_map, csv)
    write_json(flux_map, json)
    return files


def shape_files(folder: Path, stem: str) -> dict[str, Path]:
    """Where the files of a shape are, by what they hold."""
    endings = {
        "machine (TOML)": "toml",
        "outline at 1:1 (SVG)": "svg",
        "flux map (netCDF)": "nc",
        "flux map (CSV)": "csv",
        "flux map (JSON)": "json",
    }
    return {said: folder / f"{stem}.{ending}" for said, ending in endings.items()}
