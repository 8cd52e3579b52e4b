"""Mistakes of the first hour: each is met before anything is computed, in words, at the command line and in Python."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from numpy.typing import ArrayLike

from polefem import Bridge, DriveOperatingPoint, EqualCurrent, Study, Variant, main, run
from polefem.bench import KINDS
from polefem.errors import InvalidValue, MissingLibrary
from polefem.field import BuiltMachine
from polefem.study import InProcess, Solver
from polefem.study.study_file import defined_in
from polefem.units import deg, rpm
from tests.study.fake_solver import FAKE, MACHINE, PLAN

PLAIN = Variant("plain")
DRIVEN = replace(
    PLAN, operating_points=(DriveOperatingPoint("throwing", 100 * rpm, Bridge(24.0), -0.5, 0.0),)
)


def unreached(whole: BuiltMachine, angles: ArrayLike, currents: ArrayLike, **_: Any) -> Any:
    raise AssertionError("a map was asked for")


NONE = Solver(unreached, unreached, FAKE.fields)


@pytest.fixture(autouse=True)
def apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Results go where the test can see them."""
    monkeypatch.chdir(tmp_path)


def made_up(changes: Mapping[str, Any] | None = None, **more: Any) -> Study:
    """A study whose second variant has the changes."""
    given = {"name": "made up", "base": MACHINE, "plan": PLAN, **more}
    return Study(variants=[PLAIN, Variant("second", changes or {})], **given)


@pytest.mark.parametrize(
    ("study", "options", "sentence"),
    [
        (
            made_up({"rotor_pole.ark": 26 * deg}),
            [],
            "the variant 'second': a field is called by its dotted name: field is 'rotor_pole.ark' (did you mean "
            "'rotor_pole.arc'?)",
        ),
        (made_up({"rotor_pole.arc": 26}), [], "the variant 'second': a pole face must be narrower"),
        (made_up({"rotor_pole.arc": 26}), [], "did you mean 26 * deg?"),
        (made_up({"air_gap": 0.4}), [], "air_gap is 400 mm, allowed is 0.01 to 3 mm: did you mean 0.4 * mm?"),
        (made_up({"drive.turn_onn": 0.0}), [], "field is 'drive.turn_onn' (did you mean 'drive.turn_on'?)"),
        (made_up(linked={"rotor_pole.ark": lambda v: 0.5}), [], "field is 'rotor_pole.ark' (did you mean"),
        (
            made_up(plan=replace(PLAN, basis=EqualCurrent(5000.0))),
            [],
            "coils carry a current that copper bears: basis is equal current of 5000 A, up to 5000 A, which is ",
        ),
        (made_up(), ["--rank-by", "riple"], "rank_by is 'riple' (did you mean 'ripple'?)"),
        (made_up(), ["--rank-by", "throwing.ripple"], "a figure is of an operating point of the plan"),
        (made_up(plan=DRIVEN), ["--rank-by", "efficiency"], "allowed is 'throwing.efficiency'"),
        (made_up(plan=DRIVEN), ["--rank-by", "throwin.efficiency"], "did you mean 'throwing.efficiency'?"),
    ],
)
def test_a_mistake_is_told_before_anything_is_computed(
    study: Study, options: list[str], sentence: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(study, ["--no-pictures", *options], NONE, InProcess()) == 2
    assert sentence in capsys.readouterr().err


def test_the_check_lets_by_what_is_right_and_shapes_are_refused_one_by_one() -> None:
    """The broken twin: with nothing wrong, the map is asked for."""
    study = made_up({"rotor_pole.arc": 95 * deg})
    result = run(study, pages=False, executor=InProcess(), solver=FAKE, progress=False)
    assert [record.status.value for record in result.records] == ["solved", "refused"]
    with pytest.raises(InvalidValue, match="the variant 'second'"):
        run(made_up({"rotor_pole.arc": 4.0}), executor=InProcess(), solver=FAKE)


def test_a_machine_that_is_meant_may_carry_what_it_says() -> None:
    study = made_up(base=replace(MACHINE, unusual=True), plan=replace(PLAN, basis=EqualCurrent(5000.0)))
    result = run(study, pages=False, executor=InProcess(), solver=FAKE, progress=False)
    assert len(result.ranking.ordered) == 2


@pytest.mark.parametrize(
    ("name", "text", "sentence"),
    [
        ("mine.toml", "kind = 'radial'", "'mine.toml', which describes a machine, allowed is a Python file"),
        ("mine.py", "\x02\x00\x01", "'mine.py', which is no text"),
        (
            "mine.py",
            "from polefem import Poll",
            "imports what polefem has: name is 'Poll' (did you mean 'Pole'?)",
        ),
        ("mine.py", "from polefem import Pole\nPole(ark=1)", "keyword is 'ark' (did you mean 'arc'?)"),
        (
            "mine.py",
            "from polefem import Study\nstudy = Study('a', 'wheel.toml', None, [])",
            "base is 'wheel.toml', allowed is a machine, as load_machine gives it",
        ),
        (
            "mine.py",
            "from polefem import Study\nfrom tests.study.fake_solver import MACHINE, PLAN\n"
            "study = Study('a', MACHINE, PLAN, ['plain'])",
            "variants is 'plain', allowed is Variant(\"name\", {...}) for each",
        ),
        ("mine.py", "x = 1\ny = x + z", "mine.py, line 2, 'y = x + z', stops with NameError: name 'z'"),
        ("mine.py", "study = (", "mine.py, line 1, is no Python: '(' was never closed"),
        ("mine.py", "import no_such_module", "the study file imports no_such_module, which is not installed"),
    ],
)
def test_what_is_no_study_is_told(
    name: str, text: str, sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / name).write_text(text)
    assert main(None, ["run", name]) in (1, 2)
    err = capsys.readouterr().err
    assert (
        sentence in err and "Python that runs" not in err and "__init__" not in err and "Traceback" not in err
    )


def test_a_library_of_a_group_is_named_with_its_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    (tmp_path / "mine.py").write_text("from distributed import Client")
    assert main(None, ["run", "mine.py"]) == 1
    assert "distributed, which is not installed: pip install 'polefem[cluster]'" in capsys.readouterr().err


def lacking_map(whole: BuiltMachine, angles: ArrayLike, currents: ArrayLike, **_: Any) -> Any:
    raise MissingLibrary("no mesh can be made without gmsh")


def test_no_design_is_kept_as_failed_for_want_of_a_library(capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--no-pictures", "--out", "there"]
    lacking = Solver(lacking_map, lacking_map, FAKE.fields)
    assert main(made_up(), options, lacking, InProcess()) == 1
    assert capsys.readouterr().err.endswith("polefem: no mesh can be made without gmsh\n")
    assert main(made_up(), options, FAKE, InProcess()) == 0
    assert "from the store" not in capsys.readouterr().err


def test_the_figure_that_orders_is_a_column(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(made_up(), ["--no-pictures", "--rank-by", "torque_per_mass"], FAKE, InProcess()) == 0
    out = capsys.readouterr().out
    assert "Ranked by torque per mass" in out and "torque per mass  mean torque" in out
    assert (
        main(made_up(plan=DRIVEN), ["--no-pictures", "--rank-by", "throwing.efficiency"], FAKE, InProcess())
        == 0
    )
    assert "efficiency while throwing  mean torque" in capsys.readouterr().out


def test_figures_are_listed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(None, ["figures"]) == 0
    out = capsys.readouterr().out
    assert "torque_per_mass" in out and "POINT.efficiency" in out and "high" in out
    (tmp_path / "mine.py").write_text(
        "from tests.test_mistakes import DRIVEN, MACHINE, PLAIN\nfrom polefem import Study\n"
        "study = Study('mine', MACHINE, DRIVEN, [PLAIN])"
    )
    assert main(None, ["figures", "mine.py"]) == 0
    assert "throwing.efficiency" in capsys.readouterr().out
    assert main(None, ["figures", "none.py"]) == 2
    assert "a study is a file" in capsys.readouterr().err


def test_a_shape_is_exported(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    study = made_up({"rotor_pole.arc": 40 * deg})
    (tmp_path / "mine.py").write_text(
        "from tests.test_mistakes import made_up\nfrom polefem.units import deg\n"
        "study = made_up({'rotor_pole.arc': 40 * deg})"
    )
    assert main(study, ["--no-pictures", "--out", "there"], FAKE, InProcess()) == 0
    capsys.readouterr()
    wanted = ["export", "mine.py", "--out", "there", "--shape", "second", "--as"]
    kinds = ["dxf", "svg", "pdf", "nc", "csv", "json", "toml", "vtu", "msh"]
    assert set(kinds) == set(KINDS)
    assert main(None, [*wanted, *kinds], FAKE, InProcess()) == 0
    paths = [Path(line) for line in capsys.readouterr().out.split()]
    endings = [".dxf", ".svg", ".pdf", ".nc", ".nc", ".csv", ".json", ".toml", ".vtu", ".vtu", ".vtu", ".msh"]
    assert [path.suffix for path in paths] == endings
    assert all(path.is_file() and path.parent == Path("there/shapes") for path in paths)
    assert main(None, ["export", "mine.py", "--out", "there", "--shape", "secnd"], FAKE, InProcess()) == 2
    assert "shape is 'secnd' (did you mean 'second'?), allowed is plain, second" in capsys.readouterr().err


def test_a_study_named_from_its_own_folder_knows_where_it_lies(tmp_path: Path) -> None:
    """As where Python runs the file itself: `Path(__file__).parents[1]` is there."""
    Path("mine.py").write_text("from pathlib import Path\nabove = Path(__file__).parents[1]\n1 / 0\n")
    with pytest.raises(InvalidValue, match=r"mine\.py, line 3, '1 / 0', stops with ZeroDivisionError"):
        defined_in(Path("mine.py"))
    Path("mine.py").write_text("from pathlib import Path\nabove = Path(__file__).parents[1]\n")
    assert defined_in(Path("mine.py"))["above"] == tmp_path.parent
