"""Who computes what: a design is claimed by one process, so that several on one store do nothing twice.

A claim lapses when its process is gone (on the same computer that is seen at once) or gave no sign of life for a
minute: it may have been stopped or cut off, and what it claimed is then free for others.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from contextlib import closing, suppress
from pathlib import Path
from uuid import uuid4

from polefem.files import running, this_process
from polefem.study.database import transaction

__all__ = ["Claims"]

_BEAT = 10.0  # s between signs of life
_LAPSE = 60.0  # s without one, after which a claim is void


class Claims:
    """The claims of this process in an open database; file: its path, None where no other process can see it."""

    def __init__(self, db: sqlite3.Connection, file: Path | None) -> None:
        self._db, self._file = db, file
        host, process = this_process()
        self._owner = f"{host} {process} {uuid4().hex}"
        self._ended = threading.Event()
        self._beating: threading.Thread | None = None

    def take(self, key: str) -> bool:
        """Claim a design; False where a process that gives signs of life has claimed it."""
        if self._beating is None and self._file is not None:
            self._beating = threading.Thread(target=self._beat, daemon=True, name="claims")
            self._beating.start()
        self._db.execute("PRAGMA synchronous = NORMAL")  # a claim need not outlive the power
        try:
            with transaction(self._db):
                row = self._db.execute("SELECT owner, beat FROM claims WHERE key = ?", (key,)).fetchone()
                if row is not None and row[0] != self._owner and _stands(*row):
                    return False
                self._db.execute(
                    "INSERT OR REPLACE INTO claims VALUES (?, ?, ?)", (key, self._owner, time.time())
                )
                return True
        finally:
            self._db.execute("PRAGMA synchronous = FULL")

    def drop(self, key: str) -> None:
        """Give a design free; part of a transaction or one of its own."""
        self._db.execute("DELETE FROM claims WHERE key = ? AND owner = ?", (key, self._owner))

    def end(self) -> None:
        """Give everything free."""
        self._ended.set()
        if self._beating is not None:
            self._beating.join()
            with suppress(sqlite3.Error):
                self._db.execute("DELETE FROM claims WHERE owner = ?", (self._owner,))

    def _beat(self) -> None:
        assert self._file is not None
        while not self._ended.wait(_BEAT):
            with suppress(sqlite3.Error), closing(sqlite3.connect(self._file, isolation_level=None)) as db:
                db.execute("PRAGMA synchronous = NORMAL")
                db.execute("UPDATE claims SET beat = ? WHERE owner = ?", (time.time(), self._owner))


def _stands(owner: str, beat: float) -> bool:
    host, _, rest = owner.partition(" ")
    process = rest.partition(" ")[0]
    gone = host == this_process()[0] and process.isdigit() and not running(int(process))
    return not gone and isinstance(beat, float) and abs(time.time() - beat) < _LAPSE
