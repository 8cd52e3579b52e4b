"""The file of a store: looked at before it is touched, begun whole, and opened with SQLite's own guards on.

A file that is not a store of this version is refused as it is found. A new one is made beside its place and then
linked there, so that it is complete or not there at all.

Journals: on a disk of this computer the write-ahead log, which several processes may use at once. That log needs
memory that processes share, which a disk of a network does not give; there the file is held by one process at a time,
with a rollback journal.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from functools import cache
from pathlib import Path

from polefem.errors import StoreRefused, refusal
from polefem.files import beside

__all__ = ["on_network", "open_database", "spoken", "transaction"]

_APPLICATION = 0x706F6C65  # in the file's header: whose it is
_OUR_TABLES = {"about", "designs", "details", "members"}  # of stores from before the header said so
_PATIENCE = 60.0  # s: how long to wait for another process that is writing
_HELD = 2.0  # s: how long to wait for a process that holds a file on a disk of a network
_NETWORKS = {
    *(
        "9p",
        "afs",
        "beegfs",
        "ceph",
        "cifs",
        "fuse.glusterfs",
        "fuse.sshfs",
        "gpfs",
        "lustre",
        "ncpfs",
        "nfs",
    ),
    *("nfs4", "smb3", "smbfs"),
}
_GO_ON = "give another folder (--store or --out), or move designs.sqlite and maps/ out of this one"


def open_database(file: Path, layout: str, schema: int) -> sqlite3.Connection:
    """Open the database, or begin it by the layout.

    Raises StoreRefused for a file that is no store, or of another version (both are left as they are), for one that
    is damaged, and on a disk of a network for one that another process holds.
    """
    network = on_network(file.parent)
    if file.exists():
        _look(file, schema)
    else:
        file.parent.mkdir(parents=True, exist_ok=True)
        _begin(file, layout, schema)
    db = sqlite3.connect(file, timeout=_HELD if network else _PATIENCE, isolation_level=None)
    try:
        db.text_factory = lambda text: text.decode(
            "utf-8", "replace"
        )  # a flipped bit is found by the checksum
        db.execute("PRAGMA trusted_schema = OFF")
        db.execute("PRAGMA cell_size_check = ON")
        if network:
            _hold(db, file)
        else:
            db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = FULL")
        (found,) = db.execute("PRAGMA quick_check(1)").fetchone()
        if found == "ok" and _tables(db) != _expected(layout):
            found = "its tables are not as they were made"
        if found != "ok":
            raise StoreRefused(refusal("a store must be sound", str(file), f"damaged ({found})", _GO_ON))
    except BaseException:
        db.close()
        raise
    return db


def on_network(folder: Path, mounts: Path = Path("/proc/self/mountinfo")) -> bool:
    """Whether a folder lies on a disk that is reached over a network; False where that cannot be known."""
    try:
        lines = mounts.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return False
    place, kinds = folder.absolute().resolve(), {}
    for line in lines:
        before, _, after = line.partition(" - ")
        point = before.split()[4].encode().decode("unicode_escape")  # a blank is written \040
        kinds[Path(point)] = after.split()[0]
    above = next((p for p in (place, *place.parents) if p in kinds), None)
    return above is not None and kinds[above] in _NETWORKS


@contextmanager
def transaction(db: sqlite3.Connection) -> Iterator[None]:
    """All of the block is kept, or nothing of it; another process that writes is waited for."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


@contextmanager
def spoken(folder: Path) -> Iterator[None]:
    """What the disk or the database refuses, as StoreRefused in one sentence."""
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        rule = "a store must be readable and have room to write"
        said = refusal(rule, str(folder), f"not so ({error})", "a store on a sound disk")
        raise StoreRefused(said) from error


def _look(file: Path, schema: int) -> None:
    """Refuse a file that is no store of this version, without a change to it or to its folder."""
    rule = "a store is a database of this program"
    with file.open("rb") as opened:
        head = opened.read(16)
    if head != b"SQLite format 3\0":
        raise StoreRefused(refusal(rule, str(file), "another kind of file" if head else "empty", _GO_ON))
    # A log beside the file is of a process that has it open or was killed: then the file alone is not the whole.
    mode = "mode=ro" if file.with_name(f"{file.name}-wal").exists() else "mode=ro&immutable=1"
    try:
        with closing(
            sqlite3.connect(f"{file.absolute().as_uri()}?{mode}", uri=True, timeout=_PATIENCE)
        ) as db:
            db.execute("PRAGMA trusted_schema = OFF")
            (application,) = db.execute("PRAGMA application_id").fetchone()
            (version,) = db.execute("PRAGMA user_version").fetchone()
            tables = {name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    except sqlite3.Error as error:
        raise StoreRefused(
            refusal("a store must be sound", str(file), f"damaged ({error})", _GO_ON)
        ) from error
    if application != _APPLICATION and not tables >= _OUR_TABLES:
        raise StoreRefused(refusal(rule, str(file), "a database of another program", _GO_ON))
    if version != schema:
        allowed = f"version {schema}: {_GO_ON}"
        raise StoreRefused(
            refusal("a store has a known version", str(file), f"of version {version}", allowed)
        )


def _begin(file: Path, layout: str, schema: int) -> None:
    part = beside(file)
    try:
        with closing(sqlite3.connect(part, isolation_level=None)) as db:
            db.execute(f"PRAGMA application_id = {_APPLICATION}")
            with transaction(db):
                for statement in layout.split(";"):
                    db.execute(statement)
                db.execute(f"PRAGMA user_version = {schema}")
        with suppress(FileExistsError):  # another process began the same a moment ago
            os.link(part, file)
    finally:
        part.unlink(missing_ok=True)


def _tables(db: sqlite3.Connection) -> dict[str, str]:
    return dict(db.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL"))


@cache
def _expected(layout: str) -> dict[str, str]:
    with closing(sqlite3.connect(":memory:")) as db:
        db.executescript(layout)
        return _tables(db)


def _hold(db: sqlite3.Connection, file: Path) -> None:
    """Hold a file for as long as the database is open; refuse it where another process does."""
    db.execute("PRAGMA locking_mode = EXCLUSIVE")
    try:
        db.execute("PRAGMA journal_mode = DELETE")
        with transaction(db):
            db.execute("DELETE FROM claims")
    except sqlite3.OperationalError as error:
        rule = "a store on a disk of a network is for one process at a time"
        allowed = "one process, or a folder on a disk of this computer"
        raise StoreRefused(refusal(rule, str(file), f"in use ({error})", allowed)) from error
