"""Coupled maps as tables, read back by readers that know nothing of this project, held against the closed phases."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.io import netcdf_file

from polefem.export import write_coupled_csv, write_coupled_json, write_coupled_netcdf
from polefem.maps import CoupledMap, summed
from tests.maps.coupled_phases import CURRENTS, closed, coupled

Floats = NDArray[np.float64]
MAP = replace(coupled(12), torque_error=0.0125, remarks=("made up",))


def of_netcdf(path: Path) -> Floats:
    """Torque of phases 0 and 2 over angle and their currents, and the flux linkage of phase 2, (2, n, m, m)."""
    with netcdf_file(str(path), "r", mmap=False) as file:
        torque, flux = file.variables["torque_0_2"], file.variables["flux_linkage_2_of_0_2"]
        assert torque.dimensions == ("angle_of_0_2", "current_0_of_0_2", "current_2_of_0_2")
        assert (torque.units, flux.units, torque.estimated_error) == (b"N m", b"Wb", 0.0125)
        assert (file.phases, file.coupling, file.remarks) == (3, b"joint", b"made up")
        return np.array([torque[:], flux[:]])


def of_csv(path: Path) -> Floats:
    with path.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    names = [f"current of phase {phase} (A)" for phase in range(3)]
    lines = [row for row in rows if float(row[names[1]]) == 0.0]
    # The set of phases 0 and 2 stands before that of 1 and 2, of which those lines are left where phase 1 rests.
    last = lines[-(13 * 25 + 13 * 5) : -13 * 5]
    values = [[float(row[key]) for row in last] for key in ("torque (N m)", "flux linkage of phase 2 (Wb)")]
    return np.array(values).reshape(2, 13, 5, 5)


def of_json(path: Path) -> Floats:
    read = json.loads(path.read_text("utf-8"))
    (one,) = [one for one in read["sets"] if one["phases"] == [0, 2]]
    assert one["axes"]["current_2"]["values"] == CURRENTS.tolist() and read["facts"]["coupling"] == "joint"
    torque = one["tables"]["torque_0_2"]
    assert torque["estimated error"] == 0.0125 and torque["axes"] == ["angle", "current_0", "current_2"]
    return np.array([torque["values"], one["tables"]["flux_linkage_2_of_0_2"]["values"]])


def right(found: Floats) -> bool:
    """Whether torque and flux linkage are those of the closed phases at the nodes."""
    rows = np.zeros((13, 5, 5, 3))
    rows[..., 0], rows[..., 2] = CURRENTS[:, None], CURRENTS
    linkages, torque, _ = closed(MAP.interactions[1].angles[:, None, None], rows)
    exact = np.array([torque, linkages[..., 2]])
    return all(
        bool(np.abs(one - own).max() < 1e-3 * np.abs(own).max())
        for one, own in zip(found, exact, strict=True)
    )


@pytest.mark.parametrize(
    ("write", "read"),
    [(write_coupled_netcdf, of_netcdf), (write_coupled_csv, of_csv), (write_coupled_json, of_json)],
    ids=["netCDF", "CSV", "JSON"],
)
def test_files_hold_the_joint_tables(
    write: Callable[[CoupledMap, Path], Path], read: Callable[[Path], Floats], tmp_path: Path
) -> None:
    found = read(write(MAP, tmp_path / "m"))
    assert right(found) and not right(found.swapaxes(2, 3))


def test_a_sum_has_the_table_of_one_phase(tmp_path: Path) -> None:
    read = json.loads(write_coupled_json(summed(MAP.single), tmp_path / "m.json").read_text("utf-8"))
    assert [one["phases"] for one in read["sets"]] == [[0]] and read["facts"]["coupling"] == "summed"
