"""One shape of a study, exported: its sheets, and what is left out or refused where it cannot be had."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from polefem import Study, Variant, film, run
from polefem.bench import export
from polefem.errors import GeometryRefused, InvalidValue, MissingLibrary
from polefem.study import InProcess
from tests.bench.test_run import NONE
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


def test_what_meshes_is_left_out_where_the_mesher_is_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def lacking(*given: object) -> None:
        raise MissingLibrary("no mesh can be made without gmsh. Maps need none.")

    monkeypatch.setattr("polefem.bench.one_shape.built", lacking)
    means: Any = {"folder": tmp_path, "executor": InProcess(), "solver": FAKE, "progress": False}
    told: list[str] = []
    names = {path.suffix for path in export(STUDY, tell=told.append, **means)}
    assert {".toml", ".svg", ".pdf", ".nc", ".csv", ".json"} <= names
    assert [said for said in told if "DXF" not in said] == [
        f"No {kind}: no mesh can be made without gmsh. Maps need none." for kind in ("MSH", "VTU")
    ]
    with pytest.raises(MissingLibrary):
        export(STUDY, kinds=["msh"], **means)


@pytest.mark.parametrize(
    ("more", "sentence"), [({"frames": 0}, "frames is 0"), ({"path": "x.avi"}, "x.avi is '.avi'")]
)
def test_a_film_that_cannot_be_is_refused_before_anything_is_computed(
    more: dict[str, Any], sentence: str, tmp_path: Path
) -> None:
    with pytest.raises(InvalidValue, match=sentence):
        film(STUDY, folder=tmp_path, executor=InProcess(), solver=NONE, progress=False, **more)
    with pytest.raises(InvalidValue, match="drawn is -1"):
        run(STUDY, folder=tmp_path, executor=InProcess(), solver=NONE, progress=False, drawn=-1)
