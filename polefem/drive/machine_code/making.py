"""Machine code of a function by numba, which keeps what it made on disk.

By itself it looks for changes in the function's own file alone, though code of other files is compiled into it: so it
is kept in a folder named after all the sources, beside them, or in the user's cache where that place is closed.
"""

from __future__ import annotations

import functools
import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba

__all__ = ["SOURCES", "folder", "machine_code"]

SOURCES = ("machine_code/__init__.py", "machine_code/making.py", "potential.py", "bridge.py", "march.py")
"""All that is compiled, and what compiles it."""

_CONFIG: Any = numba.config
# The stepper makes no arrays, so that numba need not count who holds one: a third of the time of a step.
_COMPILED: Any = functools.partial(numba.njit, error_model="numpy", _nrt=False)
_ROOM = Path(__file__).parents[1]


def machine_code(code: Callable[..., Any]) -> Any:
    """The function compiled, with all functions that it calls compiled already."""
    before, _CONFIG.CACHE_DIR = _CONFIG.CACHE_DIR, _kept_in()
    try:
        return _COMPILED(cache=True)(code)
    except RuntimeError:  # nowhere to write: compiled anew in each process
        return _COMPILED()(code)
    finally:
        _CONFIG.CACHE_DIR = before


@functools.cache
def _kept_in() -> str:
    return str(folder(_ROOM))


def folder(room: Path) -> Path:
    """Where the code of these sources is kept."""
    contents = b"".join((room / name).read_bytes() for name in SOURCES)
    name = f"polefem-{hashlib.sha256(contents).hexdigest()[:16]}"
    if _CONFIG.CACHE_DIR:
        return Path(_CONFIG.CACHE_DIR) / name
    beside = room / "__pycache__"
    open_place = os.access(beside if beside.exists() else room, os.W_OK)
    return (beside if open_place else Path.home() / ".cache") / name
