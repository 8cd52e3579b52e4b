"""A controller's table is searched for once a design."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from fake_solver import MACHINE, PLAN

from polefem.drive import AngleTable
from polefem.errors import StoreRefused
from polefem.maps import linear_map, summed
from polefem.maps.files import read, write
from polefem.params.drive_spec import Bridge
from polefem.study import Design, Store, SwitchingTable, kept_switching
from polefem.units import deg

MAP = summed(linear_map(60e-3, 6e-3, full=3 * deg, apart=30 * deg, current=40.0))
ASKED = SwitchingTable(Bridge(48.0), (5.0, 10.0), (-1.0, 1.0, 900.0))


def test_a_table_is_read_where_it_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    counted: list[SwitchingTable] = []

    def table(asked: SwitchingTable, *_: object) -> AngleTable:
        counted.append(asked)
        cells = np.full((2, 3), float(len(counted)))
        cells[:, 2] = np.nan
        fields = (field.name for field in dataclasses.fields(AngleTable))
        columns = [name for name in fields if name not in ("speeds", "torques", "reasons", "coupling")]
        reasons = (("", "", "too much"), ("", "", "too much"))
        axes = np.array(asked.speeds), np.array(asked.torques)
        return AngleTable(
            *axes, **{name: cells.copy() for name in columns}, reasons=reasons, coupling="joint"
        )

    monkeypatch.setattr(SwitchingTable, "table", table)
    design = Design("one", MACHINE, {}, PLAN)
    with Store(tmp_path) as store:
        first = kept_switching(ASKED, design, MAP, 0.5, store)
        again = kept_switching(ASKED, design, MAP, 0.5, store)
        assert len(counted) == 1
        for field in dataclasses.fields(AngleTable):
            assert np.array_equal(getattr(first, field.name), getattr(again, field.name)) or np.array_equal(
                getattr(first, field.name), getattr(again, field.name), equal_nan=True
            )
        kept_switching(dataclasses.replace(ASKED, objective="ripple"), design, MAP, 0.5, store)
        kept_switching(ASKED, Design("two", MACHINE, {"air_gap": 5e-4}, PLAN), MAP, 0.5, store)
        assert len(counted) == 3
        (file, *_) = (tmp_path / "switching").glob("*.npz")
        held = read(file)
        del held["efficiency"]
        write(file, held)
        with pytest.raises(StoreRefused, match="a switching table has its columns"):
            AngleTable.load(file)
        file.write_bytes(file.read_bytes()[:-20])
        with pytest.raises(StoreRefused, match="a map file must be readable"):
            AngleTable.load(file)
