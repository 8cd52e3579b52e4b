"""The version of this package, and of all that decides its numbers, in one place."""

from __future__ import annotations

import platform
from functools import cache
from importlib.metadata import version

__all__ = ["RESULTS", "__version__", "numerics", "versions"]

__version__ = "0.1.0"

RESULTS = 10
"""Raised by one with every change that moves a figure or a map: what was computed before is then not taken for new."""


@cache
def numerics() -> dict[str, str]:
    """What the numbers of a design follow from beside its inputs: it enters every key."""
    libraries = {name: version(name) for name in ("gmsh", "scikit-fem", "numpy", "scipy", "qdldl")}
    return {"results": str(RESULTS), **libraries}


@cache
def versions() -> dict[str, str]:
    """Of this package, of Python and of the libraries that decide the numbers."""
    return {"polefem": __version__, "python": platform.python_version(), **numerics()}
