"""Files in cells (`# %%`) as pages: the words, the code, and what the code shows when it is run."""

from __future__ import annotations

import ast
import io
from collections.abc import Callable, Iterator
from contextlib import redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from polefem.report.notebook import html_of, svg_of

__all__ = ["Cell", "cells", "page", "shown"]

MARK, WORDS = "# %%", "# %% [markdown]"


@dataclass(frozen=True)
class Cell:
    """Words in Markdown, or code."""

    is_code: bool
    text: str


def cells(source: str) -> list[Cell]:
    """The cells of a file, in order; what stands before the first mark is left out.

    >>> [cell.text for cell in cells("# %% [markdown]\\n# Add.\\n\\n# %%\\n1 + 1\\n")]
    ['Add.', '1 + 1']
    """
    found: list[tuple[bool, list[str]]] = []
    for line in source.splitlines():
        if line.startswith(MARK):
            found.append((not line.startswith(WORDS), []))
        elif found:
            is_code, lines = found[-1]
            lines.append(line if is_code else line.removeprefix("#").removeprefix(" "))
    return [Cell(is_code, "\n".join(lines).strip("\n")) for is_code, lines in found]


def shown(source: str) -> Iterator[tuple[Cell, str, Any]]:
    """Run the code of each cell in turn; what it printed, and the value of its last line if that is one."""
    scope: dict[str, Any] = {"__name__": "cells"}
    for cell in cells(source):
        value, printed = None, io.StringIO()
        if cell.is_code:
            tree = ast.parse(cell.text)
            last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
            with redirect_stdout(printed):
                exec(compile(tree, "<cell>", "exec"), scope)
                if last is not None:
                    value = eval(compile(ast.Expression(last.value), "<cell>", "eval"), scope)
        yield cell, printed.getvalue(), value


def page(file: Path, draw: Callable[[str], str]) -> str:
    """The file as a page of Markdown. draw: keeps the text of an SVG and gives the address to show it from."""
    parts = []
    for cell, printed, value in shown(file.read_text("utf-8")):
        parts.append(f"```python\n{cell.text}\n```" if cell.is_code else cell.text)
        if printed:
            parts.append(f"```text\n{printed.rstrip()}\n```")
        if value is not None:
            parts.append(_said(value, draw))
    return "\n\n".join(parts) + "\n"


def _said(value: Any, draw: Callable[[str], str]) -> str:
    drawing, table = svg_of(value), html_of(value)
    if drawing is not None:
        words = " ".join(repr(value).replace("[", "(").replace("]", ")").split())
        return f"![{words}]({draw(drawing)})"
    if table is not None:
        return f'<div class="ranking">{table}</div>'
    return f"```text\n{value!r}\n```"
