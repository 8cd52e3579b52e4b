"""Docstrings as Sphinx reads them.

They are written to be read as plain text: `name: what it is. other: what that is.`, headings underlined, tables drawn
with bars. Here they become lists, headings and tables, and the types of arrays become short.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterable, Iterator
from typing import Any

__all__ = ["as_rst", "setup", "shortened"]

_ENTRY = re.compile(r"(?:^|(?<=[.;] ))(\w+(?:, \w+)*): ")
_HEADED = re.compile(r"^(\S[^:]*) : (.*)$")
#: As Sphinx writes them: a name in full behind ~, of which only the last part shows.
_LONG_TYPES = (
    (r"~numpy\.ndarray\[tuple\[[^\]]*\], ~numpy\.dtype\[[^\]]*\]\]", "ndarray"),
    (r"~[\w.]*_Buffer \| .*?\| complex \| bytes \| str \| ~[\w.]*_NestedSequence\[[^\]]*\]", "ArrayLike"),
)


def as_rst(lines: Iterable[str], names: Iterable[str] = ()) -> list[str]:
    """The lines of a docstring as reStructuredText. names: of the parameters or fields that it may speak of.

    >>> as_rst(["A turn. By |mean|, see `a|b`."])
    ['A turn. By \\\\|mean\\\\|, see `a|b`.']
    >>> as_rst(["speed: rad/s. load: N m, at", "that speed.", "", "More."], {"speed", "load"})
    ['- **speed**: rad/s.', '- **load**: N m, at that speed.', '', 'More.']
    """
    found: list[str] = []
    for block in _blocks(lines):
        if all(line.startswith("|") and line.endswith("|") for line in block):
            found += _table(block)
        elif len(block) > 1 and re.fullmatch(r"-{3,}", block[1]):
            found += [f"**{block[0]}**", "", *_headed(block[2:])]
        elif block[0].startswith((" ", "-", ">", "*", ":", ".")):
            found += [_escaped(line) for line in block]
        else:
            found += _listed(block, set(names))
        found.append("")
    return found[:-1]


def _blocks(lines: Iterable[str]) -> Iterator[list[str]]:
    """Runs of lines with no empty one between them."""
    block: list[str] = []
    for line in [*lines, ""]:
        if line.strip():
            block.append(line.rstrip())
        elif block:
            yield block
            block = []


def _table(lines: list[str]) -> Iterator[str]:
    yield from (".. list-table::", "   :header-rows: 1")
    for line in lines:
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if all(set(cell) <= set("-:") for cell in cells):
            continue
        yield ""
        for at, cell in enumerate(cells):
            yield f"   {'* -' if at == 0 else '  -'} {cell}"


def _headed(lines: list[str]) -> Iterator[str]:
    """What stands under a heading: `name : what it is`, with more of it indented below."""
    for line, after in zip(lines, [*lines[1:], ""], strict=True):
        entry = _HEADED.match(line)
        if entry:
            yield f"- **{entry[1]}**: {_escaped(entry[2])}{'.' if after.startswith(' ') else ''}"
        else:
            yield f"  {_escaped(line).strip()}" if line.startswith(" ") else _escaped(line)


def _listed(block: list[str], names: set[str]) -> list[str]:
    """A paragraph; a list where it says of one name after the other what it is."""
    text = " ".join(block)
    entries = [entry for entry in _ENTRY.finditer(text) if set(entry[1].split(", ")) <= names]
    if not entries:
        return [_escaped(line) for line in block]
    ends = [entry.start() for entry in entries[1:]] + [len(text)]
    before = [_escaped(text[: entries[0].start()].strip()), ""] if entries[0].start() else []
    return before + [
        f"- **{entry[1]}**: {_escaped(text[entry.end() : end].strip())}"
        for entry, end in zip(entries, ends, strict=True)
    ]


def _escaped(line: str) -> str:
    """A bar is a bar, and no name to be filled in."""
    if line.lstrip().startswith((">>>", "...")):
        return line
    parts = line.split("`")
    parts[::2] = [part.replace("|", r"\|") for part in parts[::2]]
    return "`".join(parts)


def shortened(text: str | None) -> str | None:
    """A signature with its array types short.

    >>> shortened("(a: ~numpy.ndarray[tuple[~typing.Any, ...], ~numpy.dtype[~numpy.float64]], b: int)")
    '(a: ndarray, b: int)'
    """
    for long, short in _LONG_TYPES:
        text = re.sub(long, short, text) if text else text
    return text


def _names(obj: Any) -> set[str]:
    try:
        return set(inspect.signature(obj).parameters)
    except (TypeError, ValueError):
        return set()


def _docstring(app: Any, what: str, name: str, obj: Any, options: Any, lines: list[str]) -> None:
    lines[:] = as_rst(lines, _names(obj))


def _signature(
    app: Any, what: str, name: str, obj: Any, options: Any, given: str | None, gives: str | None
) -> Any:
    return shortened(given), "" if gives == "None" else shortened(gives)


def setup(app: Any) -> dict[str, bool]:
    """What Sphinx calls."""
    app.connect("autodoc-process-docstring", _docstring)
    app.connect("autodoc-process-signature", _signature)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
