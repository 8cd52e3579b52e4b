"""The page of the manual that lists every check against a published number, made of the noted rows.

    python tests/record/page.py

writes docs/record.md from tests/record/rows.json, which `pytest --note-record` keeps (with `-m slow` for the rows that
take minutes).
"""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from tests.record.cases import CASES, Rows  # noqa: E402
from tests.record.check import DIGITS, FLAGS, Row, load_rows  # noqa: E402

__all__ = ["PAGE", "page_text"]

PAGE = ROOT / "docs" / "record.md"
HEAD = """# What it was held against

Every number here was computed by the project's own tests and stands beside a number from outside the project: a
closed formula, a published figure, a measurement, a general-purpose library. The limit of a row is the assertion of
its test, and a test whose figure has moved since this page was made fails. Each test also holds a deliberately wrong
number against the same limit, and fails if that passes.

This page is made by `tests/record/page.py`; nothing in it is typed. {count} rows, {slow} of them (marked *) from tests
that take minutes.

A flag says how the published number was seen:

{flags}

What the cases are, and what is prediction in them, stands below the table.
"""
COLUMNS = ("Case", "Source", "Flag", "Quantity", "Published", "Computed", "Difference", "Limit")


def page_text(rows: Rows) -> str:
    """The page, in Markdown."""
    flags = "\n".join(f"- *{flag}*: {meaning};" for flag, meaning in FLAGS.items()).removesuffix(";") + "."
    slow = sum(row.slow for row in rows.values())
    parts = [HEAD.format(count=len(rows), slow=slow, flags=flags), _table(rows)]
    for case in CASES:
        words = (textwrap.fill(words, 118, break_on_hyphens=False) for words in case.text(rows).split("\n\n"))
        parts.append("\n\n".join((f"## {case.name[0].upper()}{case.name[1:]}", *words)) + "\n")
    return "\n".join(parts)


def _table(rows: Rows) -> str:
    lines = [_line(COLUMNS), _line(["---"] * len(COLUMNS))]
    names = [case.name for case in CASES]
    lines += [_line(_cells(row)) for row in sorted(rows.values(), key=lambda row: names.index(row.case))]
    return "\n".join(lines) + "\n"


def _line(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _cells(row: Row) -> list[str]:
    quantity = row.quantity + (" *" if row.slow else "")
    numbers = [f"{shown(value)} {row.unit}".rstrip() for value in (row.published, row.computed)]
    return [row.case, row.source, row.flag, quantity, *numbers, _difference(row), _limit(row)]


def shown(value: float) -> str:
    """A number to the digits of the page.

    >>> shown(2.768114), shown(0.00123456), shown(0.0), shown(28083.1)
    ('2.768', '0.001235', '0', '28080')
    """
    text = f"{value:.{DIGITS}g}"
    return f"{float(text):g}" if "e+" in text else text


def _difference(row: Row) -> str:
    if row.relative:
        return f"{100 * row.difference:+.2f} %"
    return f"{row.difference:+.3g} {row.unit}".rstrip()


def _limit(row: Row) -> str:
    low, high = row.limits
    unit = "%" if row.relative else row.unit
    one, other = (value * 100 if row.relative else value for value in (low, high))
    if low == -high:
        return f"{other:.3g} {unit}".rstrip()
    return f"{one:+.3g} to {other:+.3g} {unit}".rstrip()


def main() -> None:
    PAGE.parent.mkdir(exist_ok=True)
    PAGE.write_text(page_text(load_rows()), encoding="utf-8")


if __name__ == "__main__":
    main()
