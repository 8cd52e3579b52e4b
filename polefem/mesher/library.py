"""gmsh, or what stands in for it where it cannot be loaded: then everything that meshes nothing works all the same."""

from __future__ import annotations

from typing import Any

from polefem.errors import MissingLibrary

__all__ = ["gmsh"]

#: Debian's and Ubuntu's names of what gmsh links against and its wheel does not carry, as in `.ci/setup`.
_SYSTEM = "libglu1-mesa libgl1 libxft2 libxcursor1 libxinerama1 libxrender1 libfontconfig1 libgomp1"


class _Missing:
    """Refuses whatever is asked of it with one sentence."""

    def __init__(self, sentence: str) -> None:
        self._sentence = sentence

    def __getattr__(self, name: str) -> Any:
        raise MissingLibrary(self._sentence)


def _sentence(error: Exception) -> str:
    """What to install, from the error that loading gmsh raised."""
    rest = "Pages, tables, drives and maps that were kept need no mesher."
    if isinstance(error, ImportError):
        return f"no mesh can be made without gmsh, which is not installed: pip install gmsh. {rest}"
    lacking = str(error).partition(":")[0]
    line = f"apt-get update && apt-get install -y --no-install-recommends {_SYSTEM}"
    return f"no mesh can be made without gmsh, which lacks {lacking} of the system: as root, {line}. {rest}"


gmsh: Any
try:
    import gmsh  # type: ignore[no-redef]
except (ImportError, OSError) as error:
    gmsh = _Missing(_sentence(error))
