"""Docstrings as Sphinx reads them: bars are bars and no substitutions, tables of plain text are tables."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

__all__ = ["as_rst", "setup"]


def as_rst(lines: list[str]) -> list[str]:
    """The lines of a docstring with its tables laid out and its other bars escaped.

    >>> as_rst(["By |mean|, see `a|b`."])
    ['By \\\\|mean\\\\|, see `a|b`.']
    """
    found: list[str] = []
    table: list[str] = []
    for line in [*lines, ""]:
        if line.startswith("|") and line.endswith("|"):
            table.append(line)
            continue
        found += _table(table) if table else []
        table = []
        found.append(_escaped(line))
    return found[:-1]


def _table(lines: list[str]) -> Iterator[str]:
    yield ".. list-table::"
    yield "   :header-rows: 1"
    for line in lines:
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if all(set(cell) <= set("-:") for cell in cells):
            continue
        yield ""
        for at, cell in enumerate(cells):
            yield f"   {'* -' if at == 0 else '  -'} {cell}"
    yield ""


def _escaped(line: str) -> str:
    if line.lstrip().startswith((">>>", "...")):
        return line
    parts = line.split("`")
    parts[::2] = [part.replace("|", r"\|") for part in parts[::2]]
    return "`".join(parts)


def _process(app: Any, what: str, name: str, obj: Any, options: Any, lines: list[str]) -> None:
    lines[:] = as_rst(lines)


def setup(app: Any) -> dict[str, bool]:
    """What Sphinx calls."""
    app.connect("autodoc-process-docstring", _process)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
