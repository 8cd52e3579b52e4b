"""Pictures that need not be drawn again: each by the key of what it shows, in an index beside their folder."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from pathlib import Path

from polefem.files import write_text
from polefem.report.kept_files import read_index
from polefem.report.picture import Picture
from polefem.report.pictures import Drawing

__all__ = ["KeptPictures"]


class KeptPictures:
    """The pictures of `folder` with an index of their keys, `pictures.json` beside `pictures/`; a picture that was
    changed since counts as not there."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._place = folder.with_suffix(".json")
        self._index = read_index(self._place)

    def known(self, drawing: Drawing) -> Picture | None:
        """The picture of a drawing, where it was drawn of the very same numbers before."""
        held = self._index.get(drawing.name)
        if not isinstance(held, dict) or held.get("key") != drawing.key:
            return None
        try:
            picture = Picture(
                drawing.name,
                held["kind"],
                drawing.words,
                held["width"],
                held["height"],
                (self.folder / f"{drawing.name}.{held['kind']}").read_bytes(),
            )
        except (OSError, KeyError):
            return None
        return picture if _checksum(picture) == held.get("checksum") else None

    def keep(self, drawn: Iterable[tuple[Drawing, Picture]]) -> None:
        """Write pictures that were drawn, and the index, which then names these too."""
        for drawing, picture in drawn:
            picture.write(self.folder)
            self._index[drawing.name] = {
                "key": drawing.key,
                "kind": picture.kind,
                "width": picture.width,
                "height": picture.height,
                "checksum": _checksum(picture),
            }
        write_text(self._place, json.dumps(self._index, indent=1, sort_keys=True))


def _checksum(picture: Picture) -> str:
    return hashlib.sha256(picture.data).hexdigest()
