"""A study file: Python that defines `study`, run to get at it."""

from __future__ import annotations

import linecache
import re
import runpy
import sys
import traceback
from importlib import metadata
from pathlib import Path
from typing import Any

from polefem.errors import (
    InvalidValue,
    MissingLibrary,
    PolefemError,
    UnknownName,
    lacking,
    refusal,
    unknown,
)
from polefem.study.search import Search
from polefem.study.study import Study

__all__ = ["defined_in", "study_in"]

_WANTED = "a Python file that defines a study"


def study_in(file: Path) -> Study | Search:
    """The study that a Python file defines.

    Raises InvalidValue for a file that is not there, is no Python, does not run or defines none, MissingLibrary for a
    library that it imports and that is not there, and whatever polefem refuses in it.
    """
    found = defined_in(file).get("study")
    if not isinstance(found, Study | Search):
        name = type(found).__name__ if found is not None else "missing"
        raise InvalidValue(refusal("a study file defines a study", "study", name, "study = Study(...)"))
    return found


def defined_in(file: Path) -> dict[str, Any]:
    """All that a Python file defines, by name; raises InvalidValue as `study_in` does."""
    _refuse_other_files(file)
    file = file.absolute()  # `__file__` too is absolute when the file is run itself
    sys.path.insert(0, str(file.resolve().parent))
    try:
        return runpy.run_path(str(file))
    except PolefemError:
        raise
    except Exception as error:
        raise _told(error, file) from error


def _refuse_other_files(file: Path) -> None:
    """Raise InvalidValue for what is no text, and for a machine's file, with what to do with it."""
    rule = "a study is a file"
    if not file.is_file():
        found = f"{str(file)!r}, a folder" if file.is_dir() else repr(str(file))
        raise InvalidValue(refusal(rule, "FILE", found, "a Python file that is there"))
    if file.suffix.lower() == ".toml":
        allowed = f"{_WANTED}, and there load_machine({file.name!r})"
        raise InvalidValue(refusal(rule, "FILE", f"{str(file)!r}, which describes a machine", allowed))
    if set(file.read_bytes()) & set(range(9)):  # bytes that no text has
        raise InvalidValue(refusal(rule, "FILE", f"{str(file)!r}, which is no text", _WANTED))


def _told(error: Exception, file: Path) -> PolefemError:
    """What a person is told of an error that Python met in a study file."""
    rule = "a study file must run"
    if isinstance(error, SyntaxError):
        line = f"line {error.lineno}" if error.lineno else "somewhere"
        return InvalidValue(f"{rule}: {Path(error.filename or file).name}, {line}, is no Python: {error.msg}")
    if isinstance(error, ModuleNotFoundError) and error.name:
        return MissingLibrary(_lacking(error.name))
    name = re.match(r"cannot import name '(\w+)' from 'polefem'", str(error))
    if isinstance(error, ImportError) and name:
        return UnknownName(
            unknown("a study imports what polefem has", "name", name[1], sys.modules["polefem"].__all__)
        )
    lines = [
        frame.lineno for frame in traceback.extract_tb(error.__traceback__) if frame.filename == str(file)
    ]
    if not lines:
        return InvalidValue(f"{rule}: {file.name} stops with {type(error).__name__}: {error}")
    line = linecache.getline(str(file), lines[-1] or 0).strip()
    said = str(error).replace(".__init__()", "()")
    return InvalidValue(
        f"{rule}: {file.name}, line {lines[-1]}, {line!r}, stops with {type(error).__name__}: {said}"
    )


def _lacking(module: str) -> str:
    """How a module is to be had that a study file imports: where a group of the package brings it."""
    library = module.partition(".")[0]
    for needed in metadata.requires("polefem") or ():
        group = re.match(rf"{re.escape(library)}\b.*extra == ['\"](\w+)['\"]", needed)
        if group:
            return lacking("the study file imports", library, group[1])
    return f"the study file imports {library}, which is not installed"
