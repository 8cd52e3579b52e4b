"""The sheets of one shape, exported; and where no paper takes them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from polefem import Study, Variant
from polefem.bench import export
from polefem.errors import GeometryRefused
from polefem.study import InProcess
from tests.study.fake_solver import FAKE, MACHINE, PLAN

STUDY = Study("made up", MACHINE, PLAN, [Variant("plain")])


def test_sheets_are_one_pdf_with_a_page_each(tmp_path: Path) -> None:
    (path,) = export(STUDY, kinds=["pdf"], folder=tmp_path, executor=InProcess(), solver=FAKE, progress=False)
    data = path.read_bytes()
    assert data.startswith(b"%PDF") and data.count(b"/Type /Page ") == 4  # to cut, poles, to wind, to join


def test_sheets_that_no_paper_takes_are_refused_where_asked_for_and_told_otherwise(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*given: object) -> None:
        raise GeometryRefused("a drawing must fit on paper")

    monkeypatch.setattr("polefem.bench.one_shape.sheets_of", refused)
    means: Any = {"folder": tmp_path, "executor": InProcess(), "solver": FAKE, "progress": False}
    told: list[str] = []
    names = {path.name for path in export(STUDY, tell=told.append, **means)}
    assert "No PDF: a drawing must fit on paper." in told
    assert "plain.json" in names and "plain-sheets.pdf" not in names
    with pytest.raises(GeometryRefused, match="must fit on paper"):
        export(STUDY, kinds=["pdf"], **means)
