"""Files that need not be written again: each by the key of what it holds, in an index beside them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from polefem.files import write_text

__all__ = ["KeptFiles", "read_index"]


class KeptFiles:
    """Files under `folder` with an index of their keys, `kept.json` in it; one that was changed since counts as not
    there. The index is written by `close`."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._place = folder / "kept.json"
        self._index = read_index(self._place)
        self._changed = False

    def write(self, paths: Sequence[Path], key: str, make: Callable[[], object]) -> None:
        """Have files made by `make` where they are not there as they were made under this key."""
        names = [path.relative_to(self.folder).as_posix() for path in paths]
        if all(
            self._index.get(name) == [key, _checksum(path)] for name, path in zip(names, paths, strict=True)
        ):
            return
        make()
        self._index |= {name: [key, _checksum(path)] for name, path in zip(names, paths, strict=True)}
        self._changed = True

    def close(self) -> None:
        """Write the index, where it says anything new."""
        if self._changed:
            write_text(self._place, json.dumps(self._index, indent=1, sort_keys=True))


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
