"""The store of a study: one SQLite file beside a folder of maps. Nothing in it is ever unpickled.

A design is kept under the key of all its inputs, so that any study that meets the same inputs finds it done. Each
result is one transaction, written through to the disk before the next design is told: a process that is killed
loses what it was computing and nothing else. A map's file is complete and in place before the row that names it,
and the row holds its checksum: a map that was damaged since is noticed, and its design computed again.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polefem.errors import StoreRefused, refusal
from polefem.maps import FluxMap
from polefem.study.objectives import check_figure, more_is_better
from polefem.study.record import Figures, OperatingPointFigures, Outcome, Status

__all__ = ["SCHEMA", "Member", "Store", "Table"]

SCHEMA = 6
"""Version of the layout of a store; one of another version is refused, never guessed at."""

_FIGURES = ", ".join(f"{name} REAL" for name in Figures.names())
_LAYOUT = f"""
CREATE TABLE IF NOT EXISTS about (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS designs (
    key TEXT PRIMARY KEY, status TEXT NOT NULL, reason TEXT NOT NULL, {_FIGURES},
    map_checksum TEXT, map_key TEXT, seconds REAL NOT NULL, made REAL NOT NULL
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS details (
    key TEXT PRIMARY KEY, harmonics TEXT NOT NULL, operating_points TEXT NOT NULL, stages TEXT NOT NULL,
    versions TEXT NOT NULL, inputs TEXT NOT NULL, trace TEXT NOT NULL
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS members (
    study TEXT NOT NULL, name TEXT NOT NULL, position INTEGER NOT NULL, key TEXT NOT NULL, changes TEXT NOT NULL,
    PRIMARY KEY (study, name)
) WITHOUT ROWID;
CREATE INDEX IF NOT EXISTS statuses ON designs (status);
CREATE INDEX IF NOT EXISTS map_keys ON designs (map_key);
"""
_PATIENCE = 60.0  # s: how long to wait for another process that is writing


@dataclass(frozen=True)
class Member:
    """A design's place in a study: its name there, its key, and what it changes, as text or numbers."""

    name: str
    key: str
    changes: Mapping[str, Any]


@dataclass(frozen=True, eq=False)
class Table:
    """Designs of a study as columns. names, statuses: of each. figures: by name, each ndarray of shape (n,), SI."""

    names: tuple[str, ...]
    statuses: tuple[str, ...]
    figures: Mapping[str, NDArray[np.float64]]

    def ranked(self, figure: str, most: int = 20) -> list[tuple[str, float]]:
        """Names and figures of the first, torques and torque per loss from the highest, all else from the lowest."""
        check_figure("by", figure)
        values = self.figures[figure]
        order = np.argsort(-values if more_is_better(figure) else values, kind="stable")[:most]
        return [(self.names[at], float(values[at])) for at in order if np.isfinite(values[at])]


class Store:
    """Results of designs, kept in `folder`: `designs.sqlite` and `maps/`. Opens what is there or begins it.

    Several processes may use one store at once: each waits its turn to write.

    Raises StoreRefused for a folder that cannot be written, and for a file that is damaged, of another version,
    or no store at all.
    """

    def __init__(self, folder: str | os.PathLike[str]) -> None:
        self.folder = Path(folder)
        self._file = self.folder / "designs.sqlite"
        with self._spoken():
            (self.folder / "maps").mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(self._file, timeout=_PATIENCE, isolation_level=None)
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = FULL")
            self._open()

    def close(self) -> None:
        """Let go of the file; what was kept stays."""
        self._db.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def keep(
        self,
        key: str,
        outcome: Outcome,
        versions: Mapping[str, str] | None = None,
        inputs: str = "",
        map_key: str = "",
    ) -> None:
        """Keep what computing a design gave, replacing what was kept before under its key.

        map_key: of all inputs of its map, under which the map is found for the same machine under another drive.

        Raises StoreRefused where it cannot be written, as on a full disk; the store is then as it was before.
        """
        with self._spoken():
            checksum = None if outcome.flux_map is None else self._keep_map(key, outcome.flux_map)
            figures = outcome.figures.values() if outcome.figures else (None,) * len(Figures.names())
            row = (key, outcome.status.value, outcome.reason, *figures)
            row += (checksum, map_key or None, sum(outcome.seconds.values()), time.time())
            points = (
                {name: asdict(point) for name, point in outcome.figures.operating_points.items()}
                if outcome.figures
                else {}
            )
            parts = (outcome.harmonics, points, dict(outcome.seconds), dict(versions or {}))
            details = (key, *map(_text, parts))
            with self._transaction():
                self._put("designs", row)
                self._put("details", (*details, inputs, outcome.trace))

    def outcome(self, key: str, with_map: bool = True) -> Outcome | None:
        """What is kept of a design; None if nothing is, or if its map is gone or damaged: then compute it again.

        with_map: read the map too, and check it.
        """
        with self._spoken():
            row = self._one("SELECT * FROM designs WHERE key = ?", key)
            details = self._one(
                "SELECT harmonics, operating_points, stages, trace FROM details WHERE key = ?", key
            )
        if row is None or details is None:
            return None
        flux_map = None
        if with_map and row["map_checksum"] is not None:
            flux_map = self._whole_map(key, row["map_checksum"])
            if flux_map is None:
                return None
        return Outcome(
            Status(row["status"]),
            row["reason"],
            _figures(row, json.loads(details["operating_points"])),
            flux_map,
            json.loads(details["stages"]),
            tuple(json.loads(details["harmonics"])),
            details["trace"],
        )

    def map_of(self, map_key: str) -> FluxMap | None:
        """A map that is kept under the key of its own inputs; None where none is, or it is damaged."""
        query = "SELECT key, map_checksum FROM designs WHERE map_key = ? AND map_checksum IS NOT NULL LIMIT 1"
        with self._spoken():
            row = self._one(query, map_key)
        return None if row is None else self._whole_map(row["key"], row["map_checksum"])

    def versions(self, key: str) -> dict[str, str]:
        """The versions of what computed a design; empty if none is kept."""
        with self._spoken():
            row = self._one("SELECT versions FROM details WHERE key = ?", key)
        found: dict[str, str] = json.loads(row["versions"]) if row else {}
        return found

    def statuses(self, keys: Iterable[str]) -> dict[str, Status]:
        """The status of each of these designs that is kept, by key; maps are not looked at."""
        wanted = list(keys)
        found: dict[str, Status] = {}
        with self._spoken():
            for some in _batches(wanted, 500):
                marks = ", ".join("?" * len(some))
                rows = self._db.execute(f"SELECT key, status FROM designs WHERE key IN ({marks})", some)
                found.update((key, Status(status)) for key, status in rows)
        return found

    def enrol(self, study: str, members: Sequence[Member]) -> None:
        """Say which designs a study has, in order; what it had before is forgotten, the designs are not."""
        rows = [(study, m.name, at, m.key, _text(dict(m.changes))) for at, m in enumerate(members)]
        with self._spoken(), self._transaction():
            self._db.execute("DELETE FROM members WHERE study = ?", (study,))
            self._db.executemany("INSERT INTO members VALUES (?, ?, ?, ?, ?)", rows)

    def members(self, study: str) -> tuple[Member, ...]:
        """The designs of a study, in order."""
        query = "SELECT name, key, changes FROM members WHERE study = ? ORDER BY position"
        with self._spoken():
            return tuple(Member(n, k, json.loads(c)) for n, k, c in self._db.execute(query, (study,)))

    def studies(self) -> tuple[str, ...]:
        """The studies that have designs here."""
        with self._spoken():
            return tuple(name for (name,) in self._db.execute("SELECT DISTINCT study FROM members"))

    def outcomes(
        self, study: str, where: str = "", order: str = "", most: int = -1
    ) -> list[tuple[str, Outcome]]:
        """Names and outcomes of a study's designs, without their maps.

        Figures at operating points are not among them: see `outcome`.

        where, order: conditions and ordering over figures, `status` and `seconds`, in SQL: "ripple < 0.2".
        most: how many at most; all where below 0.

        Raises StoreRefused for a condition that SQL does not understand.
        """
        query = f"""SELECT m.name AS member, d.* FROM members m JOIN designs d ON d.key = m.key WHERE m.study = ?
            {f"AND ({where})" if where else ""} ORDER BY {order or "m.position"} LIMIT ?"""
        with self._spoken():
            rows = self._rows(query, study, most)
            return [
                (
                    r["member"],
                    Outcome(Status(r["status"]), r["reason"], _figures(r), None, {"all": r["seconds"]}),
                )
                for r in rows
            ]

    def table(self, study: str, where: str = "") -> Table:
        """A study's designs as columns, for many of them; `where` as in `outcomes`. What has no figures has NaN."""
        columns = ", ".join(f"d.{name}" for name in Figures.names())
        query = f"""SELECT m.name, d.status, {columns} FROM members m JOIN designs d ON d.key = m.key
            WHERE m.study = ? {f"AND ({where})" if where else ""} ORDER BY m.position"""
        with self._spoken():
            rows = self._db.execute(query, (study,)).fetchall()
        names, statuses, *figures = (
            zip(*rows, strict=True) if rows else ((), (), *[()] * len(Figures.names()))
        )
        arrays = {
            name: np.array(column, dtype=float) for name, column in zip(Figures.names(), figures, strict=True)
        }
        return Table(names, statuses, arrays)

    def map_path(self, key: str) -> Path:
        """Where the map of a design is or would be."""
        return self.folder / "maps" / f"{key}.npz"

    def _open(self) -> None:
        version = self._db.execute("PRAGMA user_version").fetchone()[0]
        tables = self._db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        if (version or tables) and version != SCHEMA:
            rule = "a store has a known version"
            raise StoreRefused(refusal(rule, str(self._file), f"of version {version}", f"version {SCHEMA}"))
        if not version:
            with self._transaction():
                for statement in _LAYOUT.split(";"):
                    self._db.execute(statement)
                self._db.execute(f"PRAGMA user_version = {SCHEMA}")

    def _keep_map(self, key: str, flux_map: FluxMap) -> str:
        # Two processes may keep the same design at once: each writes a file of its own, and the later one stays.
        part = self.map_path(f"{key}.{os.getpid()}")
        try:
            flux_map.save(part)
            checksum = _checksum(part)
            with part.open("rb") as file:
                os.fsync(file.fileno())
            part.replace(self.map_path(key))
        finally:
            part.unlink(missing_ok=True)
            part.with_name(part.name + ".part").unlink(missing_ok=True)
        return checksum

    def _whole_map(self, key: str, checksum: str) -> FluxMap | None:
        path = self.map_path(key)
        try:
            return FluxMap.load(path) if _checksum(path) == checksum else None
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

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._db.execute("COMMIT")
        except BaseException:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            raise

    @contextmanager
    def _spoken(self) -> Iterator[None]:
        try:
            yield
        except (sqlite3.Error, OSError) as error:
            rule = "a store must be readable and have room to write"
            raise StoreRefused(
                refusal(rule, str(self.folder), f"not so ({error})", "a store on a sound disk")
            ) from error


def _figures(row: sqlite3.Row, points: Mapping[str, Mapping[str, Any]] | None = None) -> Figures | None:
    if row["status"] != Status.SOLVED:
        return None
    kept = {name: OperatingPointFigures(**point) for name, point in (points or {}).items()}
    return Figures(**{name: row[name] for name in Figures.names()}, operating_points=kept)


def _text(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"))


def _checksum(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _batches(items: Sequence[str], size: int) -> Iterator[Sequence[str]]:
    return (items[at : at + size] for at in range(0, len(items), size))
