"""Files that appear whole or not at all, and names that are safe as names of files.

A file is written beside its place, under a name that tells which process writes it, and then moved there. What a
process that was killed left beside its place is swept by the next that writes into the same folder.
"""

from __future__ import annotations

import hashlib
import itertools
import os
import re
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

__all__ = ["beside", "file_name", "running", "sweep", "this_process", "whole", "write_text"]

_COUNT = itertools.count()
_PART = re.compile(r"\.part\.([^.]+)\.(\d+)\.\d+\.")
_LONGEST = 80  # characters of a name: file systems end at 255 bytes, and endings are added


@contextmanager
def whole(path: str | os.PathLike[str]) -> Iterator[Path]:
    """A path beside `path`, with the same ending, to write a file to: it is moved to its place, through to the disk,
    when the block ends; if the block raises, nothing is left of it."""
    place, part = Path(path), beside(path)
    try:
        yield part
        with part.open("rb") as file:
            os.fsync(file.fileno())
        part.replace(place)
    except FileNotFoundError as error:
        if error.filename == str(part):
            error.filename = str(place)
        raise
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def beside(path: str | os.PathLike[str]) -> Path:
    """A new path in the same folder that `sweep` knows as this process's."""
    host, process = this_process()
    return Path(path).with_name(f".part.{host}.{process}.{next(_COUNT)}.{Path(path).name}")


def write_text(path: str | os.PathLike[str], text: str) -> None:
    """Write text in UTF-8, line ends as they are; the file appears whole or not at all."""
    with whole(path) as part:
        part.write_text(text, encoding="utf-8", newline="")


def sweep(folder: str | os.PathLike[str]) -> None:
    """Remove what processes of this computer that are gone left half written in a folder."""
    host, _ = this_process()
    with suppress(OSError):
        for path in list(Path(folder).iterdir()):
            part = _PART.match(path.name)
            if part and part[1] == host and not running(int(part[2])):
                with suppress(OSError):
                    path.unlink()


def this_process() -> tuple[str, int]:
    """The name of this computer, without full stops, and the number of this process."""
    return re.sub(r"[^A-Za-z0-9]+", "-", socket.gethostname()) or "-", os.getpid()


def running(process: int) -> bool:
    """Whether there is a process of this number on this computer."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    return True


def file_name(name: str) -> str:
    """A name of a person's choice as part of a file name: letters, digits, full stops and dashes, never a path.

    >>> file_name("tapered, 4 deg"), file_name("../../x"), file_name("..")
    ('tapered_4_deg', 'x', 'unnamed')
    """
    plain = re.sub(r"[^A-Za-z0-9.-]+", "_", name).strip("_.") or "unnamed"
    if len(plain) <= _LONGEST:
        return plain
    return f"{plain[:_LONGEST]}-{hashlib.sha256(name.encode('utf-8', 'replace')).hexdigest()[:8]}"
