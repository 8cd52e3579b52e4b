"""Maps as tables: a map of a closed formula, read back by readers that know nothing of this project."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.io import netcdf_file

from polefem.export import write_csv, write_json, write_netcdf
from polefem.maps import FluxMap

ANGLES = np.linspace(-np.pi / 4, np.pi / 4, 7)
CURRENTS = np.array([0.0, 2.0, 5.0, 10.0])
MEAN, SWING, POLES = 30e-3, 25e-3, 4  # H, H, rotor poles
INDUCTANCE = MEAN + SWING * np.cos(POLES * ANGLES)
MAP = FluxMap(
    ANGLES,
    CURRENTS,
    CURRENTS[:, None] * INDUCTANCE,
    -(CURRENTS[:, None] ** 2) / 2 * POLES * SWING * np.sin(POLES * ANGLES),
    CURRENTS[:, None] ** 2 / 2 * INDUCTANCE,
    phases=3,
    rotor_poles=POLES,
    mirror=True,
    iterations=np.arange(28).reshape(4, 7),
    converged=np.arange(28).reshape(4, 7) != 5,
    torque_error=0.0125,
    name="cosine, Ä",
    remarks=("made up", "no convergence at one point"),
)


@dataclass(frozen=True, eq=False)
class Table:
    """A quantity as a file holds it."""

    unit: str
    values: NDArray[Any]


Tables = dict[str, Table]
SI = {"rad": 1.0, "A": 1.0, "Wb": 1.0, "mWb": 1e-3, "N m": 1.0, "mN m": 1e-3, "J": 1.0, "mJ": 1e-3, "H": 1.0}


def of_netcdf(path: Path) -> Tables:
    with netcdf_file(str(path), "r", mmap=False) as file:
        assert file.dimensions == {"current": 4, "angle": 7}
        assert all(
            v.dimensions == ((name,) if name in file.dimensions else ("current", "angle"))
            for name, v in file.variables.items()
        )
        return {name: Table(v.units.decode(), v[:].copy()) for name, v in file.variables.items()}


def of_csv(path: Path) -> Tables:
    head, *rows = csv.reader(path.read_text("utf-8").splitlines())
    columns = dict(zip(head, np.array(rows, dtype=float).T, strict=True))
    assert np.allclose(columns.pop("rotor angle (deg)"), np.degrees(columns["rotor angle (rad)"]))
    words = {
        "phase current": "current",
        "rotor angle": "angle",
        "flux linkage of one phase": "flux_linkage",
        "torque of one phase": "torque",
        "co-energy of one phase": "coenergy",
        "flux linkage over current": "inductance",
        "Newton steps of the field solution": "iterations",
        "whether the field solution converged": "converged",
    }
    tables = {}
    for title, values in columns.items():
        said, unit = re.fullmatch(r"(.*?)(?: \((.*)\))?", title).groups()
        tables[words[said]] = Table(unit or "1", values.reshape(4, 7))
    # The long table repeats its axes.
    assert (tables["current"].values == tables["current"].values[:, :1]).all()
    tables["current"] = Table("A", tables["current"].values[:, 0])
    tables["angle"] = Table(tables["angle"].unit, tables["angle"].values[0])
    return tables


def of_json(path: Path) -> Tables:
    whole = json.loads(path.read_text("utf-8"))
    assert all(table["axes"] == ["current", "angle"] for table in whole["tables"].values())
    both = {**whole["axes"], **whole["tables"]}
    return {name: Table(each["unit"], np.array(each["values"])) for name, each in both.items()}


def holds_the_map(tables: Tables) -> bool:
    """Whether the numbers, in the units they claim, are those of the formulas."""
    i, angle = CURRENTS[:, None], ANGLES
    wanted = {
        "angle": (ANGLES, "rad"),
        "current": (CURRENTS, "A"),
        "inductance": (np.broadcast_to(INDUCTANCE, (4, 7)), "H"),
        "flux_linkage": (i * INDUCTANCE, "Wb"),
        "torque": (-(i**2) / 2 * POLES * SWING * np.sin(POLES * angle), "N m"),
        "coenergy": (i**2 / 2 * INDUCTANCE, "J"),
    }
    others = tables.keys() - wanted.keys()
    return (
        others == {"iterations", "converged"}
        and all(
            tables[name].values.shape == values.shape
            and tables[name].unit.lstrip("m") == unit
            and np.allclose(tables[name].values * SI[tables[name].unit], values, rtol=1e-12, atol=1e-15)
            for name, (values, unit) in wanted.items()
        )
        and np.array_equal(tables["iterations"].values.ravel(), np.arange(28))
        and np.array_equal(tables["converged"].values.ravel(), np.arange(28) != 5)
    )


Pair = tuple[Callable[[FluxMap, Path], Path], Callable[[Path], Tables]]
FORMATS: dict[str, Pair] = {
    "netcdf": (write_netcdf, of_netcdf),
    "csv": (write_csv, of_csv),
    "json": (write_json, of_json),
}
each_format = pytest.mark.parametrize(("write", "read"), FORMATS.values(), ids=FORMATS)


@each_format
def test_the_file_holds_the_map_in_its_units(write: Any, read: Any, tmp_path: Path) -> None:
    assert holds_the_map(read(write(MAP, tmp_path / "map")))


@each_format
def test_a_wrong_unit_or_table_is_noticed(write: Any, read: Any, tmp_path: Path) -> None:
    tables = read(write(MAP, tmp_path / "map"))
    torque = tables["torque"]
    assert not holds_the_map({**tables, "torque": replace(torque, unit="mN m")})
    assert not holds_the_map({**tables, "torque": replace(torque, values=-torque.values)})
    assert not holds_the_map({**tables, "torque": replace(torque, values=torque.values.T)})


def test_netcdf_is_classic_and_says_what_it_holds(tmp_path: Path) -> None:
    path = write_netcdf(MAP, tmp_path / "map.nc")
    assert path.read_bytes()[:4] == b"CDF\x01"
    with netcdf_file(str(path), "r", mmap=False) as file:
        assert (file.phases, file.rotor_poles, file.mirror) == (3, 4, 1)
        assert file.title.decode() == "cosine, Ä"
        assert file.remarks.decode() == "made up\nno convergence at one point"
        assert file.variables["torque"].estimated_error == 0.0125
        assert not hasattr(file.variables["flux_linkage"], "estimated_error")
        assert file.variables["torque"].long_name == b"torque of one phase"


def test_the_netcdf_library_reads_it(tmp_path: Path) -> None:
    library = pytest.importorskip("netCDF4")
    with library.Dataset(write_netcdf(MAP, tmp_path / "map.nc")) as file:
        assert file.data_model == "NETCDF3_CLASSIC"
        assert file.title == "cosine, Ä"
        assert holds_the_map({n: Table(v.units, np.asarray(v[:])) for n, v in file.variables.items()})


def test_json_and_csv_say_what_they_hold(tmp_path: Path) -> None:
    whole = json.loads(write_json(MAP, tmp_path / "map.json").read_text("utf-8"))
    assert whole["facts"]["phases"] == 3
    assert whole["facts"]["title"] == "cosine, Ä"
    assert whole["tables"]["torque"]["estimated error"] == 0.0125
    head = write_csv(MAP, tmp_path / "map.csv").read_text("utf-8").splitlines()[0]
    assert head.startswith(
        "phase current (A),rotor angle (rad),rotor angle (deg),flux linkage of one phase (Wb),"
    )


def test_a_map_without_a_name_or_tables_it_does_not_know(tmp_path: Path) -> None:
    bare = replace(MAP, name="", remarks=(), iterations=None, converged=None, torque_error=None)
    for write, read in FORMATS.values():
        assert read(write(bare, tmp_path / "map")).keys() == {
            *("angle", "current", "flux_linkage", "torque", "coenergy", "inductance")
        }
