"""What a picture is known by: the numbers it shows, and the code that draws it."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Mapping
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from polefem.params.content import content_key

__all__ = ["code_of", "drawing_code", "drawing_key"]


def drawing_key(*shown: Any) -> str:
    """Forty hexadecimal digits that stand for what is shown and for the code that draws it.

    Arrays enter by their bytes, all else by its content. Raises TypeError for what has no content.

    >>> drawing_key("torque", np.zeros(3)) == drawing_key("torque", np.array([0.0, 0.0, 1e-300]))
    False
    """
    return content_key([_told(value) for value in shown], drawing_code())


@cache
def drawing_code() -> str:
    """Stands for the code of this room, and for the library that it draws with."""
    return content_key(code_of(Path(__file__).parent), version("matplotlib"))


@cache
def code_of(folder: Path) -> str:
    """Stands for all sources in a folder, templates included."""
    digest = hashlib.sha256()
    for path in sorted(path for path in folder.rglob("*.*") if path.is_file() and path.suffix != ".pyc"):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _told(value: Any) -> Any:
    """The value with each array, at any depth, told by its bytes: thousands of triangles as text would be slow."""
    if isinstance(value, np.ndarray):
        held = np.ascontiguousarray(value)
        return [held.dtype.str, list(held.shape), hashlib.sha256(held.tobytes()).hexdigest()]
    if isinstance(value, bytes):
        return hashlib.sha256(value).hexdigest()
    if isinstance(value, Mapping):
        return {str(name): _told(part) for name, part in value.items()}
    if isinstance(value, tuple | list):
        return [_told(part) for part in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type) and not hasattr(value, "content"):
        return [type(value).__name__, *(_told(getattr(value, f.name)) for f in dataclasses.fields(value))]
    return value
