"""Holds the room table of DEVELOPERS.md: what each room imports, rooms and libraries; and what is too long.

Every check is a function from modules to findings (sentences); it is run over the package, where it must find
nothing, and over small broken twins, where it must find the fault.
"""

from __future__ import annotations

import ast
import importlib
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = "polefem"


@dataclass(frozen=True)
class Sees:
    """What a room imports: rooms that stand above it, and libraries (numpy goes without saying)."""

    rooms: tuple[str, ...] = ()
    libraries: tuple[str, ...] = ()


# The rooms in order, each with all that it may import, and does. Of the standard library only what one room alone
# shall see is listed.
ROOMS: dict[str, Sees] = {
    "later": Sees(),
    "kinds": Sees(),
    "errors": Sees(("kinds",)),
    "units": Sees(),
    "version": Sees(),
    "files": Sees(("errors",)),
    "materials": Sees(("errors",), ("scipy.optimize",)),
    "params": Sees(("kinds", "errors", "units", "files", "materials"), ("tomllib",)),
    "shapes": Sees(("errors", "params")),
    "outline": Sees(("errors", "params", "shapes"), ("shapely",)),
    "copper": Sees(("errors", "params", "shapes", "outline")),
    "mesh": Sees(("errors", "files", "outline"), ("meshio",)),
    "mesher": Sees(("errors", "params", "shapes", "outline", "mesh"), ("gmsh",)),
    "model": Sees(("materials", "params", "outline", "mesh"), ("scipy.constants", "scipy.sparse", "skfem")),
    "gap": Sees(("model",), ("scipy.constants", "scipy.sparse", "scipy.special")),
    "solve": Sees(
        ("materials", "model", "gap"), ("qdldl", "scipy.linalg", "scipy.sparse", "scipy.sparse.linalg")
    ),
    "field": Sees(
        ("later", "errors", "params", "outline", "copper", "mesh", "mesher", "model", "gap", "solve"),
        ("scipy.constants", "scipy.interpolate", "scipy.spatial"),
    ),
    "maps": Sees(("errors", "files", "params"), ("scipy.interpolate", "scipy.optimize")),
    "sweep": Sees(("errors", "params", "solve", "field", "maps"), ("scipy.interpolate",)),
    "slopes": Sees(
        (
            "errors",
            "materials",
            "params",
            "shapes",
            "outline",
            "mesh",
            "model",
            "gap",
            "solve",
            "field",
            "maps",
            "sweep",
        ),
        ("scipy.constants", "scipy.sparse", "scipy.spatial"),
    ),
    "estimates": Sees(
        ("later", "errors", "materials", "params", "shapes", "outline", "copper", "field", "maps"),
        ("scipy.special",),
    ),
    "drive": Sees(("later", "errors", "files", "params", "maps"), ("numba", "scipy.optimize")),
    "forces": Sees(("errors", "files", "params", "outline", "mesh", "mesher", "solve", "field")),
    "ring": Sees(
        ("later", "errors", "units", "params", "outline", "mesh", "field", "estimates", "forces"),
        ("scipy.sparse", "scipy.sparse.linalg", "skfem"),
    ),
    "study": Sees(
        (
            "later",
            "errors",
            "version",
            "files",
            "materials",
            "params",
            "outline",
            "copper",
            "field",
            "maps",
            "sweep",
            "slopes",
            "estimates",
            "drive",
            "forces",
            "ring",
        ),
        (
            "concurrent.futures",
            "scipy.linalg",
            "scipy.optimize",
            "scipy.special",
            "scipy.stats",
            "sqlite3",
            "tqdm",
        ),
    ),
    "ranking": Sees(("params", "copper", "estimates", "drive", "study")),
    "measured": Sees(
        ("errors", "units", "files", "materials", "params", "field", "maps", "slopes", "estimates", "study"),
        ("scipy.constants", "scipy.integrate", "scipy.interpolate", "scipy.optimize", "scipy.stats"),
    ),
    "report": Sees(
        (
            "later",
            "errors",
            "units",
            "version",
            "files",
            "materials",
            "params",
            "shapes",
            "outline",
            "copper",
            "field",
            "maps",
            "drive",
            "forces",
            "ring",
            "study",
            "ranking",
            "measured",
        ),
        ("jinja2", "matplotlib", "shapely"),
    ),
    "export": Sees(
        (
            "later",
            "errors",
            "units",
            "version",
            "files",
            "materials",
            "params",
            "shapes",
            "outline",
            "copper",
            "mesh",
            "field",
            "maps",
            "drive",
            "study",
            "report",
        ),
        ("ezdxf", "scipy.io"),
    ),
    "bench": Sees(
        (
            "later",
            "errors",
            "units",
            "files",
            "params",
            "field",
            "maps",
            "drive",
            "study",
            "ranking",
            "measured",
            "report",
            "export",
        )
    ),
    "command_line": Sees(
        ("errors", "version", "files", "study", "ranking", "report", "bench"), ("argparse",)
    ),
    "__main__": Sees(("command_line",)),
}
LIBRARIES = {library for sees in ROOMS.values() for library in sees.libraries}
EVERYWHERE = "numpy"

FUNCTION_LINES = 60  # without the docstring
MODULE_LINES = 350
DRAWERS = {"utils", "util", "core", "base", "helpers", "helper", "common", "misc", "tools"}


@dataclass(frozen=True)
class Module:
    """A module's dotted name and source; `front` where it is the `__init__` of a package."""

    name: str
    source: str
    front: bool = False

    @cached_property
    def tree(self) -> ast.Module:
        return ast.parse(self.source)

    @property
    def room(self) -> str:
        """The room this module lies in."""
        return room_of(self.name)

    @cached_property
    def imports(self) -> list[str]:
        """Dotted names this module imports, relative ones resolved; `from a import b` gives `a.b`.

        `import scipy` loads each of its parts when it is first asked for: those count.
        """
        found = []
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Import):
                found += [alias.name for alias in node.names if alias.name != "scipy"]
            elif isinstance(node, ast.Attribute) and ast.unparse(node.value) == "scipy":
                found.append(f"scipy.{node.attr}")
            elif isinstance(node, ast.ImportFrom):
                found += [f"{self._origin(node)}.{alias.name}" for alias in node.names]
        return found

    def _origin(self, node: ast.ImportFrom) -> str:
        parts = self.name.split(".") + (["__init__"] if self.front else [])
        above = parts[: -node.level] if node.level else []
        return ".".join(above + ([node.module] if node.module else []))


@cache
def package_modules() -> list[Module]:
    """Every module of the package in the checkout."""
    modules = []
    for path in sorted((ROOT / PACKAGE).rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        front = parts[-1] == "__init__"
        modules.append(Module(".".join(parts[:-1] if front else parts), path.read_text("utf-8"), front))
    return modules


def room_of(name: str) -> str:
    """The part of a dotted name after the package's; empty for the package itself."""
    return [*name.split("."), ""][1]


def within(name: str, prefix: str) -> bool:
    """Whether a dotted name is `prefix` or lies under it."""
    return name == prefix or name.startswith(prefix + ".")


def unknown_rooms(modules: list[Module]) -> Iterator[str]:
    """A module outside the room table, or named after a drawer."""
    for module in modules:
        if module.room and module.room not in ROOMS:
            yield f"{module.name}: no room of this name in the table"
        if DRAWERS.intersection(module.name.split(".")):
            yield f"{module.name}: a module is named for what it holds, not for a drawer"


def unlisted_imports(modules: list[Module]) -> Iterator[str]:
    """An import of a room or library that is not in the room's list, or of a name from the package's front."""
    for module in modules:
        if module.room not in ROOMS:
            continue
        sees = ROOMS[module.room]
        for name in module.imports:
            room, library = room_of(name), library_of(name)
            if library:
                if library not in sees.libraries:
                    yield f"{module.name} imports {name}: {module.room} may not see {library}"
            elif not within(name, PACKAGE):
                continue
            elif room not in ROOMS:  # the front leads to every room
                if module.room != "__main__":
                    yield f"{module.name} imports {name} from the package's front: take it from its room"
            elif room != module.room and room not in sees.rooms:
                yield f"{module.name} imports {name}: {module.room} may not see {room}"


def idle_entries(modules: list[Module]) -> Iterator[str]:
    """A room or library in a room's list that nothing in it imports any more."""
    for room in dict.fromkeys(module.room for module in modules if module.room in ROOMS):
        names = [name for module in modules if module.room == room for name in module.imports]
        seen = {library_of(name) or room_of(name) for name in names}
        sees = ROOMS[room]
        yield from (
            f"{room} no longer imports {part}" for part in (*sees.rooms, *sees.libraries) if part not in seen
        )


def library_of(name: str) -> str:
    """The library that a dotted name is of, as the table calls it; empty for the package's own and for what every
    room may import."""
    if known := [library for library in LIBRARIES if within(name, library)]:
        return max(known, key=len)
    root = name.partition(".")[0]
    return "" if root in sys.stdlib_module_names or root in (PACKAGE, EVERYWHERE) else root


def deferred_imports(modules: list[Module]) -> Iterator[str]:
    """An import inside a function, or made by a call."""
    for module in modules:
        for function in functions(module):
            if any(isinstance(node, ast.Import | ast.ImportFrom) for node in ast.walk(function)):
                yield f"{module.name}: {function.name} imports inside its body"
        if module.room in (
            "later",
            "",
        ):  # what it is for; and the package's front, which loads no room, not even it
            continue
        # `importlib.metadata` imports nothing: it reads which versions are installed.
        named = [name for name in module.imports if not within(name, "importlib.metadata")]
        if any(within(name, "importlib") for name in named) or calls(module, "__import__"):
            yield f"{module.name}: imports by a call"


def star_imports(modules: list[Module]) -> Iterator[str]:
    """`from x import *`."""
    for module in modules:
        yield from (f"{module.name}: star import {name}" for name in module.imports if name.endswith(".*"))


def import_cycles(modules: list[Module]) -> Iterator[str]:
    """Modules that reach themselves by imports, in-package `from . import x` included."""
    edges = import_edges(modules)
    for start in sorted(edges):
        if start in reached(edges, edges[start]):
            yield f"{start}: imports itself by way of others"


def import_edges(modules: list[Module]) -> dict[str, set[str]]:
    """For each module the modules of the package that it imports."""
    names = {module.name for module in modules}

    def target(name: str) -> str:
        return name if name in names else name.rpartition(".")[0]

    return {m.name: {target(name) for name in m.imports} & names for m in modules}


def reached(edges: dict[str, set[str]], ahead: set[str]) -> set[str]:
    """All that can be come to from `ahead`, itself included."""
    seen: set[str] = set()
    while ahead:
        seen |= ahead
        ahead = set().union(*(edges[name] for name in ahead)) - seen
    return seen


def undeclared_imports(modules: list[Module]) -> Iterator[str]:
    """A library that pyproject.toml does not list, or one of an optional group on the way to the command line."""
    edges = import_edges(modules)
    for ahead in edges.values():  # to import a part is to import its folder's front
        ahead |= {name.rpartition(".")[0] for name in ahead} & edges.keys()
    needed = reached(edges, {door for door in (PACKAGE, f"{PACKAGE}.__main__") if door in edges})
    for module in modules:
        roots = {name.partition(".")[0] for name in module.imports} - sys.stdlib_module_names - {PACKAGE}
        for library in sorted(roots - declared_libraries(optional=module.name not in needed)):
            yield f"{module.name} imports {library}: not among the dependencies that it may count on"


@cache
def declared_libraries(optional: bool) -> set[str]:
    """Import names of the libraries that pyproject.toml lists, those of its optional groups included or not."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    lines = list(project["dependencies"])
    if optional:
        lines += [line for group in project["optional-dependencies"].values() for line in group]
    names = {re.split(r"[<>=~! ]", line)[0] for line in lines}
    return {{"scikit-fem": "skfem"}.get(name, name) for name in names}


def prints(modules: list[Module]) -> Iterator[str]:
    """A `print` outside the command line."""
    for module in modules:
        if module.room != "command_line" and calls(module, "print"):
            yield f"{module.name}: prints"


def oversized(modules: list[Module]) -> Iterator[str]:
    """A function or module longer than it can be read."""
    for module in modules:
        lines = len(module.source.splitlines())
        if lines > MODULE_LINES:
            yield f"{module.name}: {lines} lines, at most {MODULE_LINES}: make it a folder"
        for function in functions(module):
            lines = code_lines(function)
            if lines > FUNCTION_LINES:
                yield f"{module.name}: {function.name} has {lines} lines, at most {FUNCTION_LINES}"


def undocumented(modules: list[Module]) -> Iterator[str]:
    """A module without docstring or `__all__`; a public function, class or method without docstring."""
    for module in modules:
        if ast.get_docstring(module.tree) is None:
            yield f"{module.name}: no docstring"
        public = declared_names(module)
        if public is None and module.room != "__main__":
            yield f"{module.name}: no __all__"
        for node in module.tree.body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and node.name in (public or ()):
                yield from (f"{module.name}: {name} has no docstring" for name in silent_parts(node))


def silent_parts(node: ast.FunctionDef | ast.ClassDef) -> Iterator[str]:
    """Names without docstring: a function's or class's own, and those of its public methods.

    Overloads have no body to describe: the function that follows them is looked at.
    """
    if any(ast.unparse(decorator) == "overload" for decorator in node.decorator_list):
        return
    if ast.get_docstring(node) is None:
        yield node.name
    methods = [
        part for part in node.body if isinstance(node, ast.ClassDef) and isinstance(part, ast.FunctionDef)
    ]
    for method in methods:
        if not method.name.startswith("_"):
            yield from (f"{node.name}.{name}" for name in silent_parts(method))


def absent_names(modules: list[Module]) -> Iterator[str]:
    """A name in `__all__` that the module, once imported, does not have."""
    for module in modules:
        loaded = importlib.import_module(module.name)
        for name in declared_names(module) or []:
            if not hasattr(loaded, name):
                yield f"{module.name}: __all__ names {name}, which does not exist"


def functions(module: Module) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Every function of a module, nested ones and methods included."""
    return (n for n in ast.walk(module.tree) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef))


def calls(module: Module, name: str) -> bool:
    """Whether a module names a builtin such as `print` at all, called or handed on."""
    return any(isinstance(node, ast.Name) and node.id == name for node in ast.walk(module.tree))


def code_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines from `def` to the end, without the docstring."""
    lines = (function.end_lineno or 0) - function.lineno + 1
    if ast.get_docstring(function) is not None:
        docstring = function.body[0]
        lines -= (docstring.end_lineno or 0) - docstring.lineno + 1
    return lines


def declared_names(module: Module) -> list[str] | None:
    """What `__all__` lists; None where there is none."""
    for node in module.tree.body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
            return list(ast.literal_eval(node.value))
    return None


Check = Callable[[list[Module]], Iterator[str]]

HEAD = '"""A module."""\n'
LATE = "def late():\n    from math import pi\n    return pi"
LONG = "def far(x):\n" + "    x += 1\n" * FUNCTION_LINES
BARE_METHOD = 'class C:\n    """C."""\n    def f(self):\n        pass'
# Per check: the broken twin (module name -> source) and words its finding must hold.
TWINS: list[tuple[Check, dict[str, str], str]] = [
    (unknown_rooms, {"polefem.cellar": ""}, "no room of this name"),
    (unknown_rooms, {"polefem.solve.utils": ""}, "not for a drawer"),
    (
        unlisted_imports,
        {"polefem.outline.check": "from polefem.mesher import mesh"},
        "outline may not see mesher",
    ),
    (unlisted_imports, {"polefem.outline.check": "from ..mesher import mesh"}, "outline may not see mesher"),
    (unlisted_imports, {"polefem.outline.check": "from .. import mesher"}, "outline may not see mesher"),
    (
        unlisted_imports,
        {"polefem.outline.check": "import polefem.mesher.sides as s"},
        "outline may not see mesher",
    ),
    (
        unlisted_imports,
        {"polefem.drive.bridge": "from polefem.model import Model"},
        "drive may not see model",
    ),
    (unlisted_imports, {"polefem.solve": "from polefem import Machine"}, "from the package's front"),
    (unlisted_imports, {"polefem.solve": "import polefem"}, "from the package's front"),
    (unlisted_imports, {"polefem.outline.draw": "import gmsh"}, "outline may not see gmsh"),
    (
        unlisted_imports,
        {"polefem.maps": "from scipy.sparse.linalg import splu"},
        "maps may not see scipy.sparse.linalg",
    ),
    (
        unlisted_imports,
        {"polefem.gap": "from scipy.sparse import linalg"},
        "gap may not see scipy.sparse.linalg",
    ),
    (
        unlisted_imports,
        {"polefem.params": "import matplotlib.pyplot as plt"},
        "params may not see matplotlib",
    ),
    (unlisted_imports, {"polefem.maps": "from polefem.mesher import mesh_sides"}, "maps may not see mesher"),
    (unlisted_imports, {"polefem.params": "import torch"}, "params may not see torch"),
    (idle_entries, {"polefem.mesh": "from polefem.errors import refusal"}, "mesh no longer imports meshio"),
    (idle_entries, {"polefem.mesh": "import meshio"}, "mesh no longer imports errors"),
    (deferred_imports, {"polefem.gap": LATE}, "late imports inside its body"),
    (deferred_imports, {"polefem.gap": "import importlib\n"}, "imports by a call"),
    (deferred_imports, {"polefem.gap": "from importlib import import_module\n"}, "imports by a call"),
    (deferred_imports, {"polefem.gap": "m = __import__('math')"}, "imports by a call"),
    (
        deferred_imports,
        {"polefem.gap": "from importlib import import_module\n", "polefem.gap.part": HEAD},
        "gap: imports by a call",
    ),
    (star_imports, {"polefem.gap": "from math import *"}, "star import math"),
    (import_cycles, {"polefem.gap.a": "from .b import y", "polefem.gap.b": "from .a import x"}, "gap.a"),
    (import_cycles, {"polefem.gap.a": "from . import b", "polefem.gap.b": "import polefem.gap.a"}, "gap.b"),
    (undeclared_imports, {"polefem.report.page": "import pandas"}, "page imports pandas"),
    (
        undeclared_imports,
        {"polefem": "from polefem.export import dxf", "polefem.export.dxf": "import ezdxf"},
        "ezdxf",
    ),
    (undeclared_imports, {"polefem.__main__": "from ezdxf import new"}, "__main__ imports ezdxf"),
    (prints, {"polefem.study.run": "print('done')"}, "prints"),
    (prints, {"polefem.study.run": "say = print"}, "prints"),
    (oversized, {"polefem.gap": LONG}, f"far has {FUNCTION_LINES + 1} lines"),
    (oversized, {"polefem.gap": "x = 1\n" * (MODULE_LINES + 1)}, "make it a folder"),
    (undocumented, {"polefem.gap": "__all__ = []"}, "polefem.gap: no docstring"),
    (undocumented, {"polefem.gap": HEAD}, "no __all__"),
    (undocumented, {"polefem.gap": HEAD + '__all__ = ["f"]\ndef f():\n    pass'}, "f has no docstring"),
    (undocumented, {"polefem.gap": HEAD + '__all__ = ["C"]\nclass C:\n    pass'}, "C has no docstring"),
    (undocumented, {"polefem.gap": HEAD + f'__all__ = ["C"]\n{BARE_METHOD}'}, "C.f has no docstring"),
    (
        absent_names,
        {"polefem.errors": '__all__ = ["refusal", "Nothing"]'},
        "names Nothing, which does not exist",
    ),
]
SOUND = {
    "polefem.mesh": HEAD
    + "__all__ = []\nfrom .errors import refusal\nfrom .files import complete\nfrom .outline import Label\n"
    + "import meshio\nimport numpy\n",
    "polefem.shapes": HEAD + "__all__ = []\nfrom polefem import errors, params\n",
}


def twin_modules(sources: dict[str, str]) -> list[Module]:
    """Modules out of a dict of sources; one that has parts among them is their front."""
    return [
        Module(name, source, any(within(part, name) for part in sources if part != name))
        for name, source in sources.items()
    ]


CHECKS: list[Check] = list(dict.fromkeys(check for check, _, _ in TWINS))


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_package_keeps_the_rule(check: Check) -> None:
    """The package as it is: nothing to find."""
    assert list(check(package_modules())) == []


@pytest.mark.parametrize("check", [c for c in CHECKS if c != absent_names], ids=lambda check: check.__name__)
def test_check_lets_sound_code_pass(check: Check) -> None:
    """A check that finds fault with everything would be no check."""
    assert list(check(twin_modules(SOUND))) == []


@pytest.mark.parametrize(("check", "sources", "words"), TWINS)
def test_check_catches_its_broken_twin(check: Check, sources: dict[str, str], words: str) -> None:
    """Each check finds the fault it is there for."""
    findings = list(check(twin_modules(sources)))
    assert findings, f"{check.__name__} let it pass"
    assert words in "; ".join(findings)


def test_rooms_see_only_rooms_above_them() -> None:
    """The table itself: no list reaches down, and no library is listed by its own and by a wider name at once."""

    def upwards(rooms: dict[str, Sees]) -> bool:
        order = list(rooms)
        return all(order.index(part) < at for at, sees in enumerate(rooms.values()) for part in sees.rooms)

    assert upwards(ROOMS)
    assert not upwards({**ROOMS, "outline": Sees(("mesher",))})


ROW = re.compile(r"^\| `(\w+)` \|[^|]*\|([^|]*)\|([^|]*)\|$", re.MULTILINE)


def documented_rooms(text: str) -> dict[str, Sees]:
    """The room table of a document: rooms in order, with what each sees."""
    words = {room: [re.findall(r"[\w.]+", cell) for cell in cells] for room, *cells in ROW.findall(text)}
    return {room: Sees(tuple(rooms), tuple(libraries)) for room, (rooms, libraries) in words.items()}


def test_developers_table_is_this_one() -> None:
    """DEVELOPERS.md shows the same rooms, in the same order, seeing the same."""
    documented = documented_rooms((ROOT / "DEVELOPERS.md").read_text("utf-8"))
    assert list(documented.items()) == list(ROOMS.items())


def test_developers_table_with_two_rooms_swapped_is_noticed() -> None:
    """The broken twin: order counts."""
    text = "| `units` | factors | | |\n| `errors` | the error tree | | |\n| `mesh` | meshes | errors | meshio |\n"
    assert documented_rooms(text) == {
        "units": Sees(),
        "errors": Sees(),
        "mesh": Sees(("errors",), ("meshio",)),
    }
    assert list(documented_rooms(text)) != ["errors", "units", "mesh"]


def readme_commands(text: str) -> list[str]:
    """The single-line commands a README gives: what stands indented or fenced and begins with the set-up."""
    return re.findall(r"^\s*(bash \.ci/setup\b.*)$", text, re.MULTILINE)


def test_readme_gives_one_command_for_the_study_and_one_for_the_tests() -> None:
    """`.ci/run` takes the test command from the README: it finds that line and no other."""
    study, tests = readme_commands((ROOT / "README.md").read_text("utf-8"))
    assert (ROOT / study.split()[-1]).suffix == ".py"
    line = re.search(r"^tests=.*$", (ROOT / ".ci" / "run").read_text("utf-8"), re.MULTILINE)
    assert line is not None
    shell = f'{line[0]}; printf %s "$tests"'
    assert subprocess.run(["bash", "-c", shell], cwd=ROOT, capture_output=True, text=True).stdout == tests


def test_readme_with_a_second_test_command_is_noticed() -> None:
    """The broken twin: two lines where one must be."""
    text = "    bash .ci/setup && x.py\n    bash .ci/setup test y\n    bash .ci/setup test z\n"
    assert len(readme_commands(text)) == 3
