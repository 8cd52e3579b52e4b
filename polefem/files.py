"""Files that appear whole or not at all, names that are safe as names of files, and streams that cost no work.

A file is written beside its place, under a name that tells which process writes it, and then moved there. What a
process that was killed left beside its place is swept by the next that writes into the same folder.
"""

from __future__ import annotations

import codecs
import hashlib
import io
import itertools
import os
import re
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout, suppress
from pathlib import Path
from typing import TextIO

from polefem.errors import InvalidValue, refusal

__all__ = [
    "Unfailing",
    "beside",
    "complete",
    "file_name",
    "read_text",
    "running",
    "sweep",
    "this_process",
    "unfailing_streams",
    "write_text",
]

_COUNT = itertools.count()
_PART = re.compile(r"\.part\.([^.]+)\.(\d+)\.\d+\.")
_LONGEST = 80  # characters of a name: file systems end at 255 bytes, and endings are added


@contextmanager
def complete(path: str | os.PathLike[str]) -> Iterator[Path]:
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


def read_text(path: str | os.PathLike[str], rule: str) -> str:
    """The text of a file, in UTF-8, or in UTF-16 where it begins with the mark that editors put there.

    Raises InvalidValue, in one sentence that begins with the rule, for what is missing, no file, or no such text.
    """
    place, allowed = Path(path), "a file of text in UTF-8"
    try:
        if not place.is_file():
            found = "a folder, or no file" if place.exists() else "missing"
            raise InvalidValue(refusal(rule, repr(str(path)), found, allowed))
        data = place.read_bytes()
        utf16 = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
        text = data.decode("utf-16" if utf16 else "utf-8-sig")
    except (OSError, ValueError) as error:
        if isinstance(error, InvalidValue):
            raise
        raise InvalidValue(refusal(rule, repr(str(path)), f"unreadable ({error})", allowed)) from error
    if "\0" in text:
        raise InvalidValue(refusal(rule, repr(str(path)), "not text", allowed))
    return text


def write_text(path: str | os.PathLike[str], text: str) -> None:
    """Write text in UTF-8, line ends as they are; the file appears whole or not at all."""
    with complete(path) as part:
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


class Unfailing(io.TextIOBase):
    """A stream for a person to read that no one may be able to read: what it cannot take is left out.

    stream: None where there is none. failure: why nothing is written any more; empty while all is well. What its
    encoding lacks is written as escapes.
    """

    def __init__(self, stream: TextIO | None) -> None:
        self._stream = stream
        self.failure: OSError | ValueError | None = None

    def write(self, text: str) -> int:
        """Write text if that can be."""
        code = self.encoding or "utf-8"
        self._try("write", text.encode(code, "backslashreplace").decode(code))
        return len(text)

    def flush(self) -> None:
        """Pass on what was written, if that can be."""
        self._try("flush")

    def isatty(self) -> bool:
        """Whether a person looks on."""
        return self._stream is not None and not self._stream.closed and self._stream.isatty()

    def fileno(self) -> int:
        """The number of the stream, where it has one; raises OSError."""
        if self._stream is None:
            raise OSError("the stream is closed")
        return self._stream.fileno()

    @property
    def encoding(self) -> str | None:  # type: ignore[override]
        """Of the stream."""
        return None if self._stream is None else self._stream.encoding

    def _try(self, act: str, *values: str) -> None:
        if self._stream is None or self.failure is not None:
            return
        try:
            getattr(self._stream, act)(*values)
        except (OSError, ValueError) as error:
            self.failure = error
            with suppress(OSError, ValueError):  # what waits in it would fail again when the process ends
                os.dup2(os.open(os.devnull, os.O_WRONLY), self._stream.fileno())


@contextmanager
def unfailing_streams() -> Iterator[tuple[Unfailing, Unfailing]]:
    """Standard output and standard error, in the block such that writing to them never fails.

    Where one was closed, its number is taken first, lest a file that is opened later gets it, and what a library
    writes there.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
    streams = Unfailing(sys.stdout), Unfailing(sys.stderr)
    with redirect_stdout(streams[0]), redirect_stderr(streams[1]):
        try:
            yield streams
        finally:
            for stream in streams:
                stream.flush()


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
