"""What is loaded when it is first asked for: names of a package's front (PEP 562), and functions of other modules.

A room that names what draws, meshes, solves or compiles does not make those wait who ask for something else. Nowhere
else is anything imported by a call, but in the package's own front, which loads no room, not even this one.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from typing import Any

__all__ = ["Later", "front", "installed"]


@dataclass(frozen=True)
class Later:
    """A function of a module, which is loaded when it is called; in another process too, which is sent the names.

    >>> Later("math", "hypot")(3.0, 4.0)
    5.0
    """

    module: str
    name: str

    def __call__(self, *given: Any, **named: Any) -> Any:
        """What the function gives."""
        return getattr(import_module(self.module), self.name)(*given, **named)


def front(
    package: str, shown: Iterable[str], held: Mapping[str, str]
) -> tuple[Callable[[str], Any], Callable[[], list[str]]]:
    """The `__getattr__` and `__dir__` of a package, or of a module.

    package: its name. shown: its `__all__`. held: names, parted by blanks, by the module that holds them: ".part" of
    the package itself, or one named in full. No part may share its name with what it holds.
    """
    modules = {name: module for module, names in held.items() for name in names.split()}

    def fetched(name: str) -> Any:
        if name not in modules:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(modules[name], package), name)

    def listed() -> list[str]:
        return sorted({*vars(sys.modules[package]), *shown})

    return fetched, listed


def installed(library: str) -> bool:
    """Whether a library can be loaded; it is not."""
    return find_spec(library) is not None
