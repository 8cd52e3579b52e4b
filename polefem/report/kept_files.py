"""Files that need not be written again: each set by the key of what it holds, in an index beside them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from polefem.files import write_text

__all__ = ["KeptFiles", "read_index"]


class KeptFiles:
    """Files under `folder` with an index of their keys, `kept.json` in it; a set of which one was changed since counts
    as not there. The index is written by `close`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._place = folder / "kept.json"
        self._index = read_index(self._place)
        self._changed = False

    def known(self, what: str, key: str) -> dict[str, Path] | None:
        """The files of a set, by what they are, where they are there as they were made under this key; else None."""
        held = self._index.get(what)
        if not isinstance(held, dict) or held.get("key") != key:
            return None
        files = {said: self.folder / name for said, (name, _) in held["files"].items()}
        whole = all(_checksum(files[said]) == checksum for said, (_, checksum) in held["files"].items())
        return files if whole else None

    def keep(self, what: str, key: str, files: Mapping[str, Path]) -> None:
        """Have a set that was made under a key in the index."""
        held = {
            said: (path.relative_to(self.folder).as_posix(), _checksum(path)) for said, path in files.items()
        }
        self._index[what] = {"key": key, "files": held}
        self._changed = True

    def write(self, paths: Sequence[Path], key: str, make: Callable[[], object]) -> None:
        """Have files made by `make` where they are not there as they were made under this key."""
        what = paths[0].relative_to(self.folder).as_posix()
        files = {path.name: path for path in paths}
        if self.known(what, key) != files:
            make()
            self.keep(what, key, files)

    def close(self) -> None:
        """Write the index, where it says anything new."""
        if self._changed:
            write_text(self._place, json.dumps(self._index, indent=1))


def read_index(path: Path) -> dict[str, Any]:
    """What an index holds; nothing where it is missing or damaged."""
    try:
        found = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _checksum(path: Path) -> str | None:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return None
