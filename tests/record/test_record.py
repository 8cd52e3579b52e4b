"""The page is made of the rows, the rows come from tests that exist, and every row keeps its limit."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import pytest

from tests.record.cases import CASES, Rows
from tests.record.check import Check, Row, fresh, load_rows, save_rows
from tests.record.page import PAGE, page_text

ROOT = Path(__file__).parents[2]


def one_row() -> Row:
    return next(iter(load_rows().values()))


def is_current(text: str, rows: Rows) -> bool:
    return text == page_text(rows)


def test_the_page_is_what_its_rows_make() -> None:
    """Else run `python tests/record/page.py`."""
    rows, text = load_rows(), PAGE.read_text("utf-8")
    assert is_current(text, rows)
    moved = replace(one_row(), computed=one_row().computed * 1.01)
    assert not is_current(text, {**rows, moved.key: moved})
    assert not is_current(text, dict(list(rows.items())[:-1]))


def orphans(rows: Rows) -> list[str]:
    """Tests that rows name and no file holds."""
    lost = []
    for test in {row.test for row in rows.values()}:
        file, _, name = test.partition("::")
        tree = ast.parse((ROOT / file).read_text("utf-8")) if (ROOT / file).exists() else ast.Module([], [])
        if name not in {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}:
            lost.append(test)
    return lost


def test_every_row_has_its_test() -> None:
    rows = load_rows()
    assert orphans(rows) == []
    lost = replace(one_row(), test="tests/field/test_textbook.py::test_that_nobody_wrote")
    assert orphans({**rows, lost.key: lost}) == [lost.test]


def keeps_its_limit(row: Row) -> bool:
    low, high = row.limits
    apart = row.computed - row.published
    return low <= (apart / abs(row.published) if row.relative else apart) <= high


def test_every_row_keeps_its_limit_and_belongs_to_a_case() -> None:
    rows = load_rows()
    assert [row.key for row in rows.values() if not keeps_its_limit(row)] == []
    assert {row.case for row in rows.values()} == {case.name for case in CASES}
    assert not keeps_its_limit(replace(one_row(), computed=2 * one_row().computed))


CHECK = Check("a ring", "flux", 2.0, "Wb", "Ampere's law", "formula", within=0.01)
ROW = Row.of(CHECK, 2.004, "tests/a.py::test_b", False)


@pytest.mark.parametrize(
    ("changes", "right"),
    [
        ({"computed": 2.0055}, True),
        ({"computed": 2.0095}, False),
        ({"published": 2.001}, False),
        ({"limits": (-0.02, 0.02)}, False),
        ({"source": "another"}, False),
        ({"slow": True}, False),
    ],
)
def test_a_row_is_stale_where_its_words_or_its_figure_moved(changes: dict[str, object], right: bool) -> None:
    assert fresh(ROW, replace(ROW, **changes)) is right  # type: ignore[arg-type]


def test_an_absolute_limit_and_one_that_is_not_even() -> None:
    even = Check("a", "b", 0.5, "J", "c", "read", 0.02, relative=False)
    assert even.passes(0.519) and not even.passes(0.521)
    low = Check("a", "b", 3.22, "N m", "c", "read", (-0.2, -0.02))
    assert low.passes(3.0) and not low.passes(3.22) and not low.passes(2.5)
    with pytest.raises(ValueError, match="the flag of 'a' is 'seen', allowed is read, "):
        Check("a", "b", 1.0, "J", "c", "seen", 0.02)


def test_new_rows_take_the_place_of_what_their_test_had_noted(tmp_path: Path) -> None:
    path = tmp_path / "rows.json"
    renamed, other = (
        replace(ROW, quantity="energy"),
        replace(ROW, quantity="torque", test="tests/a.py::test_c"),
    )
    save_rows([ROW, other], path)
    save_rows([replace(renamed, computed=2.001), replace(ROW, quantity="co-energy")], path)
    found = load_rows(path)
    assert [row.quantity for row in found.values()] == ["energy", "co-energy", "torque"]
    assert found[renamed.key].computed == 2.001
