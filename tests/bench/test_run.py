"""A study run from Python: what it gives, that it goes on, and that drawing solves nothing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import ArrayLike

from polefem import Variant, film, run
from polefem.errors import InvalidValue
from polefem.field import BuiltMachine, FieldState
from polefem.study import InProcess, Range, Search, SectionFields, Solver, Study, section_fields
from polefem.units import deg
from tests.study.fake_solver import FAKE, MACHINE, PLAN

STUDY = Study("made up", MACHINE, PLAN, [Variant("plain"), Variant("wide", {"rotor_pole.arc": 40 * deg})])


def forbidden_map(machine: BuiltMachine, angles: ArrayLike, currents: ArrayLike, **_: Any) -> Any:
    raise AssertionError("a map was asked for")


def forbidden_fields(
    machine: BuiltMachine, angles: ArrayLike, phase_currents: ArrayLike
) -> Iterator[FieldState]:
    raise AssertionError("a field was asked for")


NONE = Solver(forbidden_map, forbidden_map, forbidden_fields)


def test_a_study_is_run_by_one_call_and_again_without_a_solver(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    result = run(STUDY, folder=tmp_path, executor=InProcess(), solver=FAKE)
    assert [record.name for record in result.ranking.ordered] == ["plain", "wide"] or result.complete
    assert result.complete and set(result.maps) == {"plain", "wide"}
    assert str(result) == (tmp_path / "ranking.txt").read_text()
    assert all(page.is_file() for page in result.pages)
    assert len(result.pictures) == len({picture.file for picture in result.pictures}) == 27
    assert "2 of 2 designs" in capsys.readouterr().err
    before = {path: path.stat().st_mtime_ns for path in (tmp_path / "pictures").iterdir()}
    page = result.pages[0].read_bytes()
    again = run(STUDY, folder=tmp_path, executor=InProcess(), solver=NONE, progress=False)
    assert capsys.readouterr().err == ""
    assert again.complete and again.pictures == result.pictures
    assert {path: path.stat().st_mtime_ns for path in (tmp_path / "pictures").iterdir()} == before
    assert again.pages[0].read_bytes() == page


def test_fields_that_cannot_be_had_are_told_and_the_rest_is_drawn(tmp_path: Path) -> None:
    solver = Solver(FAKE.flux_map, FAKE.coupled_map, forbidden_fields)
    result = run(STUDY, folder=tmp_path, executor=InProcess(), solver=solver, progress=False)
    assert result.undrawn == dict.fromkeys(("plain", "wide"), "AssertionError: a field was asked for")
    assert not result.complete and len(result.pictures) == 21


def test_without_pages_nothing_is_drawn(tmp_path: Path) -> None:
    solver = Solver(FAKE.flux_map, FAKE.coupled_map, forbidden_fields)
    result = run(STUDY, folder=tmp_path, executor=InProcess(), solver=solver, pages=False, progress=False)
    assert result.complete and result.pages == () and not (tmp_path / "pictures").exists()


def test_kept_fields_are_those_that_were_solved_to_eight_digits(tmp_path: Path) -> None:
    design = STUDY.designs()[0]
    solved = section_fields(design, 7.0, FAKE)
    assert np.degrees(solved.angles).round(9).tolist() == [0.0, -16.0, 45.0]
    solved.save(tmp_path / "one.npz")
    kept = SectionFields.load(tmp_path / "one.npz")
    assert kept.current == 7.0 and kept.angles.tolist() == solved.angles.tolist()
    for one, other in zip(kept.fields, solved.fields, strict=True):
        assert one.labels == other.labels and (one.triangles == other.triangles).all()
        np.testing.assert_allclose(one.b, other.b, rtol=1e-7)
        np.testing.assert_allclose(one.points, other.points, rtol=1e-7)


def test_the_film_of_a_search_is_refused(tmp_path: Path) -> None:
    search = Search("s", MACHINE, PLAN, {"air_gap": Range(0.3e-3, 0.5e-3)})
    with pytest.raises(InvalidValue, match="a film is of a shape: study is a search"):
        film(search, folder=tmp_path)


def test_a_film_is_of_the_first_shape_where_none_is_named(tmp_path: Path) -> None:
    path = film(STUDY, frames=2, folder=tmp_path, executor=InProcess(), solver=FAKE, progress=False)
    assert path.read_bytes().startswith(b"GIF89a") and path.parent == tmp_path
