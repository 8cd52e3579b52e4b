"""The store of a study: one SQLite file beside a folder of maps. Nothing in it is ever unpickled.

A design is kept under the key of all its inputs, so that any study that meets the same inputs finds it done. Each
result is one transaction, written through to the disk before the next design is told: a process that is killed
loses what it was computing and nothing else. Maps and rows have checksums (`rows`): what was damaged since is noticed,
and its design computed again. What is solved and sound is never replaced.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from polefem.errors import StoreRefused, refusal
from polefem.files import beside, sweep
from polefem.maps import CoupledMap, MapSlopes
from polefem.maps.slopes import loaded
from polefem.study.claims import Claims
from polefem.study.database import on_network, open_database, spoken, transaction
from polefem.study.record import Outcome, Status
from polefem.study.rows import LAYOUT, SCHEMA, design_row, detail_row, outcome_of, signed, sound, text_of

__all__ = ["SCHEMA", "Member", "Store"]


@dataclass(frozen=True)
class Member:
    """A design's place in a study: its name there, its key, and what it changes, as text or numbers."""

    name: str
    key: str
    changes: Mapping[str, Any]


class Store:
    """Results of designs, kept in `folder`: `designs.sqlite` and `maps/`. Opens what is there or begins it.

    Several processes may use one store at once: each waits its turn to write, and claims what it computes. On a disk
    of a network one process at a time may. damaged: keys of designs whose row or map was found damaged.

    Raises StoreRefused for a folder that cannot be written, and for a file that is damaged, of another version,
    or no store at all; such a file is left as it was.
    """

    def __init__(self, folder: str | os.PathLike[str]) -> None:
        self.folder = Path(folder)
        self.damaged: set[str] = set()
        file = self.folder / "designs.sqlite"
        with self._spoken():
            self._db = open_database(file, LAYOUT, SCHEMA)
            (self.folder / "maps").mkdir(exist_ok=True)
        sweep(self.folder)
        sweep(self.folder / "maps")
        self._claims = Claims(self._db, None if on_network(self.folder) else file)

    def close(self) -> None:
        """Let go of the file and of what was claimed; what was kept stays."""
        self._claims.end()
        self._db.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def claim(self, key: str) -> bool:
        """Claim a design for this process until it is kept; False where another process computes it."""
        with self._spoken():
            return self._claims.take(key)

    def unclaim(self, key: str) -> None:
        """Give a design free without keeping anything of it."""
        with self._spoken():
            self._claims.drop(key)

    def keep(
        self,
        key: str,
        outcome: Outcome,
        versions: Mapping[str, str] | None = None,
        inputs: str = "",
        map_key: str = "",
    ) -> None:
        """Keep what computing a design gave, in place of what was kept under its key before: but what is solved and
        sound stays, and an outcome that is lost replaces nothing but such a one.

        map_key: of all inputs of its map, under which the map is found for the same machine under another drive.

        Raises StoreRefused where it cannot be written, as on a full disk; the store is then as it was before.
        """
        with self._spoken():
            kept = outcome.slopes or outcome.machine_map
            part = None if kept is None else self._written(key, kept)
            try:
                with transaction(self._db):
                    if self._gives_way(key, outcome.status):
                        checksum = None if part is None else _checksum(part)
                        self._put("designs", design_row(key, outcome, checksum, map_key, time.time()))
                        self._put("details", detail_row(key, outcome, versions or {}, inputs))
                        if part is not None:
                            part.replace(self.map_path(key))
                    self._claims.drop(key)
            finally:
                if part is not None:
                    part.unlink(missing_ok=True)
        self.damaged.discard(key)

    def outcome(self, key: str, with_map: bool = True) -> Outcome | None:
        """What is kept of a design; None if nothing is, or if a row or its map is gone or damaged: then it is among
        `damaged`, and to be computed again.

        with_map: read the map too, and check it.
        """
        with self._spoken():
            row = self._one("SELECT * FROM designs WHERE key = ?", key)
            details = self._one("SELECT * FROM details WHERE key = ?", key)
        if row is None and details is None:
            return None
        found = None if row is None or details is None else outcome_of(row, details)
        if found is not None and row is not None and with_map and row["map_checksum"] is not None:
            kept = self._whole_map(key, row["map_checksum"])
            found = None if kept is None else _with_map(found, kept)
        if found is None:
            self.damaged.add(key)
        return found

    def map_of(self, map_key: str) -> CoupledMap | MapSlopes | None:
        """A map, with its slopes if they were asked for, that is kept under the key of its own inputs; None where none
        is, or it is damaged."""
        query = "SELECT * FROM designs WHERE map_key = ? AND map_checksum IS NOT NULL LIMIT 1"
        with self._spoken():
            row = self._one(query, map_key)
        return None if row is None or not sound(row) else self._whole_map(row["key"], row["map_checksum"])

    def versions(self, key: str) -> dict[str, str]:
        """The versions of what computed a design; empty if none is kept."""
        with self._spoken():
            row = self._one("SELECT * FROM details WHERE key = ?", key)
        found: dict[str, str] = json.loads(row["versions"]) if row and sound(row) else {}
        return found

    def statuses(self, keys: Iterable[str]) -> dict[str, Status]:
        """The state of each of these designs that is kept and sound, by key; maps are not looked at."""
        wanted = list(keys)
        found: dict[str, Status] = {}
        with self._spoken():
            for some in _batches(wanted, 500):
                marks = ", ".join("?" * len(some))
                rows = self._rows(f"SELECT * FROM designs WHERE key IN ({marks})", *some)
                found.update((row["key"], Status(row["status"])) for row in rows if sound(row))
        return found

    def enrol(self, study: str, members: Sequence[Member]) -> None:
        """Say which designs a study has, in order; what it had before is forgotten, the designs are not."""
        rows = [signed((study, m.name, at, m.key, text_of(dict(m.changes)))) for at, m in enumerate(members)]
        with self._spoken(), transaction(self._db):
            self._db.execute("DELETE FROM members WHERE study = ?", (study,))
            self._db.executemany("INSERT OR REPLACE INTO members VALUES (?, ?, ?, ?, ?, ?)", rows)

    def members(self, study: str) -> tuple[Member, ...]:
        """The designs of a study, in order; raises StoreRefused where their list is damaged."""
        with self._spoken():
            rows = self._rows("SELECT * FROM members WHERE study = ? ORDER BY position", study)
        self._refuse_damaged(rows, study)
        return tuple(Member(row["name"], row["key"], json.loads(row["changes"])) for row in rows)

    def map_path(self, key: str) -> Path:
        """Where the map of a design is or would be."""
        return self.folder / "maps" / f"{key}.npz"

    def _gives_way(self, key: str, to: Status) -> bool:
        """Whether what is kept of a design is to be replaced by an outcome in this state."""
        row = self._one("SELECT * FROM designs WHERE key = ?", key)
        details = self._one("SELECT * FROM details WHERE key = ?", key)
        if row is None or details is None or outcome_of(row, details) is None:
            return True
        if row["status"] != Status.SOLVED:
            return to is not Status.LOST or row["status"] == Status.LOST
        return row["map_checksum"] is not None and self._whole_map(key, row["map_checksum"]) is None

    def _refuse_damaged(self, rows: Sequence[sqlite3.Row], study: str) -> None:
        if count := sum(not sound(row) for row in rows):
            rule = "rows of a store must match their checksums"
            allowed = "the same study run again, which computes them anew"
            raise StoreRefused(refusal(rule, repr(study), f"damaged in {count} of {len(rows)}", allowed))

    def _written(self, key: str, machine_map: CoupledMap | MapSlopes) -> Path:
        """A map beside its place, through to the disk: another process may keep the same design at once."""
        part = beside(self.map_path(key))
        machine_map.save(part)
        return part

    def _whole_map(self, key: str, checksum: str) -> CoupledMap | MapSlopes | None:
        path = self.map_path(key)
        try:
            return loaded(path) if _checksum(path) == checksum else None
        except (OSError, StoreRefused):
            return None

    def _put(self, table: str, row: Sequence[Any]) -> None:
        self._db.execute(f"INSERT OR REPLACE INTO {table} VALUES ({', '.join('?' * len(row))})", row)

    def _rows(self, query: str, *values: Any) -> list[sqlite3.Row]:
        with closing(self._db.cursor()) as cursor:
            cursor.row_factory = sqlite3.Row
            return cursor.execute(query, values).fetchall()

    def _one(self, query: str, *values: Any) -> sqlite3.Row | None:
        rows = self._rows(query, *values)
        return rows[0] if rows else None

    def _spoken(self) -> AbstractContextManager[None]:
        return spoken(self.folder)


def _with_map(outcome: Outcome, kept: CoupledMap | MapSlopes) -> Outcome:
    if isinstance(kept, MapSlopes):
        return replace(outcome, machine_map=kept.machine_map, slopes=kept)
    return replace(outcome, machine_map=kept)


def _checksum(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _batches(items: Sequence[str], size: int) -> Iterator[Sequence[str]]:
    return (items[at : at + size] for at in range(0, len(items), size))
