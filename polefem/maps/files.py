"""Map files: an .npz archive of plain arrays with a version and a checksum, read without running code."""

from __future__ import annotations

import hashlib
import struct
import zipfile
import zlib
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from polefem.errors import StoreRefused, refusal
from polefem.files import complete

__all__ = ["VERSION", "read", "write"]

VERSION = 1
"""Version of the layout of a map file; a file of another version is refused, never guessed at."""

_LARGEST = 512_000_000  # bytes, unpacked: few bytes may unpack to more than there is memory
# What zipfile, zlib and numpy raise for files that are damaged, or made to do harm.
_UNREADABLE = (
    *(OSError, ValueError, EOFError, KeyError, AttributeError, TypeError, MemoryError, OverflowError),
    *(
        RuntimeError,
        SyntaxError,
        IndexError,
        struct.error,
        zlib.error,
        zipfile.BadZipFile,
        zipfile.LargeZipFile,
    ),
)
_RESERVED = ("version", "checksum")


def write(path: str | Path, contents: dict[str, Any]) -> None:
    """Write arrays, numbers, texts and lists of texts by name; None is stored as an empty array.

    The file appears complete or not at all: it is written beside its place and then moved there.
    """
    arrays = {name: _packed(value) for name, value in contents.items()}
    arrays = {**arrays, "version": np.array(VERSION), "checksum": np.array(_checksum(arrays))}
    with complete(path) as part, part.open("wb") as file:
        np.savez_compressed(file, allow_pickle=False, **arrays)


def read(path: str | Path) -> dict[str, Any]:
    """Read what `write` wrote.

    Raises StoreRefused for a file that is missing, damaged, of another version, or not of this kind.
    """
    try:
        with Path(path).open("rb") as file, zipfile.ZipFile(file) as packed:
            size = sum(item.file_size for item in packed.infolist())
            if size > _LARGEST:
                raise ValueError(
                    f"{size / 1e6:.0f} MB unpacked, where a map has less than {_LARGEST / 1e6:.0f} MB"
                )
            file.seek(0)
            with np.load(file, allow_pickle=False) as archive:
                arrays = {name: np.asarray(archive[name]) for name in archive.files}
    except _UNREADABLE as error:
        rule = "a map file must be readable"
        raise StoreRefused(
            refusal(rule, str(path), f"unreadable ({error})", "a file that save wrote")
        ) from error
    if any(name not in arrays for name in _RESERVED):
        raise StoreRefused(
            refusal("a map file has a version", str(path), "a file without one", f"version {VERSION}")
        )
    version, checksum = (arrays.pop(name) for name in _RESERVED)
    if version.shape != () or version != VERSION:
        raise StoreRefused(
            refusal("a map file has a known version", str(path), version, f"version {VERSION}")
        )
    if str(checksum) != _checksum(arrays):
        rule = "the contents of a map file must match its checksum"
        raise StoreRefused(
            refusal(rule, str(path), "a file that was changed or damaged", "the file as save wrote it")
        )
    return {name: _unpacked(array) for name, array in arrays.items()}


def _packed(value: Any) -> NDArray[Any]:
    if value is None:
        return np.empty(0, dtype=np.bool_)
    if isinstance(value, tuple):
        return np.array(value, dtype=np.str_).reshape(len(value))
    return np.asarray(value)


def _unpacked(array: NDArray[Any]) -> Any:
    if array.dtype == np.bool_ and array.shape == (0,):
        return None
    if array.dtype.kind == "U" and array.ndim == 1:
        return tuple(str(text) for text in array)
    return array.item() if array.ndim == 0 else array


def _checksum(arrays: dict[str, NDArray[Any]]) -> str:
    digest = hashlib.sha256()
    for name in sorted(arrays):
        array = np.ascontiguousarray(arrays[name])
        digest.update(f"{name} {array.dtype.str} {array.shape} ".encode())
        digest.update(array.tobytes())
    return digest.hexdigest()
