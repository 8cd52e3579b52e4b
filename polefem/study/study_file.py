"""A study file: Python that defines `study`, run to get at it."""

from __future__ import annotations

import runpy
import sys
import traceback
from pathlib import Path

from polefem.errors import InvalidValue, PolefemError, refusal
from polefem.study.search import Search
from polefem.study.study import Study

__all__ = ["study_in"]


def study_in(file: Path) -> Study | Search:
    """The study that a Python file defines.

    Raises InvalidValue for a file that is not there, does not run or defines none, and whatever polefem refuses in it.
    """
    if not file.is_file():
        raise InvalidValue(
            refusal("a study is a file", "FILE", repr(str(file)), "a Python file that is there")
        )
    sys.path.insert(0, str(file.resolve().parent))  # as when the file is run itself
    try:
        found = runpy.run_path(str(file)).get("study")
    except PolefemError:
        raise
    except Exception as error:
        said = f"{type(error).__name__}: {error}{_line_of(error, file)}"
        raise InvalidValue(refusal("a study file must run", str(file), said, "Python that runs")) from error
    if not isinstance(found, Study | Search):
        name = type(found).__name__ if found is not None else "missing"
        raise InvalidValue(refusal("a study file defines a study", "study", name, "study = Study(...)"))
    return found


def _line_of(error: Exception, file: Path) -> str:
    """Where in a file an error came about; empty where that is not known, or the error says it itself."""
    lines = [
        frame.lineno for frame in traceback.extract_tb(error.__traceback__) if frame.filename == str(file)
    ]
    return f" (line {lines[-1]})" if lines else ""
