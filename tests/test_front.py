"""What a user types comes from few places: every name that README, manual and studies import is public there."""

from __future__ import annotations

import ast
import importlib
import inspect
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import polefem

ROOT = Path(__file__).parents[1]
SURFACE = (
    "polefem",
    "polefem.copper",
    "polefem.drive",
    "polefem.errors",
    "polefem.estimates",
    "polefem.measured",
    "polefem.export",
    "polefem.export.dxf",
    "polefem.forces",
    "polefem.report",
    "polefem.units",
)


def written() -> Iterator[tuple[str, str]]:
    """Every piece of Python that a reader sees, by where it stands."""
    for page in [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]:
        text = page.read_text("utf-8")
        for block in re.findall(r"^```python\n(.*?)^```", text, re.DOTALL | re.MULTILINE):
            lines = block.splitlines()
            if any(line.startswith(">>>") for line in lines):
                lines = [line[4:] for line in lines if line.startswith((">>> ", "... "))]
            yield page.name, "\n".join(lines)
    for study in sorted((ROOT / "studies").glob("*.py")):
        yield study.name, study.read_text("utf-8")


def strange_names(pieces: Iterator[tuple[str, str]]) -> list[str]:
    """Names imported from elsewhere than the surface, or that it does not list."""
    found = []
    for where, source in pieces:
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.Import):
                names = [(alias.name, "") for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [(node.module or "", alias.name) for alias in node.names]
            else:
                continue
            for module, name in names:
                if module.partition(".")[0] != "polefem":
                    continue
                if module not in SURFACE or (name and name not in importlib.import_module(module).__all__):
                    found.append(f"{where}: {name or 'itself'} of {module}")
    return found


def test_what_readers_are_shown_comes_from_the_surface() -> None:
    assert strange_names(written()) == []


@pytest.mark.parametrize(
    "line",
    [
        "from polefem.__main__ import main",
        "from polefem.params.drive_spec import Bridge",
        "from polefem import nothing",
        "import polefem.study",
    ],
)
def test_a_name_from_elsewhere_is_noticed(line: str) -> None:
    assert strange_names(iter([("page", line)]))


def test_the_reference_lists_the_surface() -> None:
    listed = (ROOT / "docs" / "reference" / "index.md").read_text("utf-8")
    named = set(re.findall(r"`(?:~polefem\.[\w.]*?)?(\w+)`", listed))
    assert set(polefem.__all__) - {"__version__"} <= named
    assert all(f"`{module}`" in listed for module in SURFACE)


def test_names_are_those_of_their_rooms() -> None:
    for module in SURFACE:  # a room that is loaded hides a name like its own
        importlib.import_module(module)
    assert all(getattr(polefem, name) is not None for name in polefem.__all__)
    assert not [name for name in polefem.__all__ if inspect.ismodule(getattr(polefem, name))]
    assert set(polefem.__all__) <= set(dir(polefem))
    with pytest.raises(AttributeError, match="has no attribute 'nothing'"):
        _ = polefem.nothing


def test_the_package_alone_loads_no_room() -> None:
    code = "import sys, polefem; print(sorted(m for m in sys.modules if m.startswith('polefem.')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "['polefem.version']"
