"""What makes machine code of the few functions that follow a bridge step by step.

Numba compiles a function when it is first called, and keeps what it made on disk. By itself it looks for changes in the
function's own file alone, though code of other files is compiled into it: so it is kept in a folder named after all
the sources, beside them, or in the user's cache where that place is closed.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

__all__ = ["compiled"]

Code = TypeVar("Code", bound=Callable[..., Any])

_CONFIG: Any = numba.config
_HERE = Path(__file__).parent
_SOURCES = ("machine_code.py", "potential.py", "bridge.py", "march.py")


def _folder() -> Path:
    contents = b"".join((_HERE / name).read_bytes() for name in _SOURCES)
    name = f"polefem-{hashlib.sha256(contents).hexdigest()[:16]}"
    if _CONFIG.CACHE_DIR:
        return Path(_CONFIG.CACHE_DIR) / name
    beside = _HERE / "__pycache__"
    open_place = os.access(beside if beside.exists() else _HERE, os.W_OK)
    return (beside if open_place else Path.home() / ".cache") / name


_FOLDER = str(_folder())


def compiled(code: Code) -> Code:
    """The same function as machine code, with the rules of numpy for a division by nought."""
    before, _CONFIG.CACHE_DIR = _CONFIG.CACHE_DIR, _FOLDER
    try:
        return cast(Code, numba.njit(cache=True, error_model="numpy")(code))
    except RuntimeError:  # nowhere to write: compiled anew in each process
        return cast(Code, numba.njit(error_model="numpy")(code))
    finally:
        _CONFIG.CACHE_DIR = before
