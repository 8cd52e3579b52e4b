"""The table for a controller, kept in the store: a search over many switchings, made once for a design."""

from __future__ import annotations

from polefem.drive import AngleTable
from polefem.errors import StoreRefused
from polefem.maps import CoupledMap
from polefem.params.content import content_key
from polefem.study.design import Design
from polefem.study.operating_points import SwitchingTable
from polefem.study.store import Store

__all__ = ["kept_switching"]


def kept_switching(
    asked: SwitchingTable, design: Design, machine_map: CoupledMap, resistance: float, store: Store
) -> AngleTable:
    """The settings of a design on its map (`resistance` of one phase, ohm), as they are kept; computed and kept where
    they are not. Raises StoreRefused where they cannot be kept."""
    path = store.folder / "switching" / f"{content_key(asked, design.key)}.npz"
    try:
        return AngleTable.load(path)
    except StoreRefused:
        table = asked.table(machine_map, resistance)
        path.parent.mkdir(exist_ok=True)
        table.save(path)
        return table
