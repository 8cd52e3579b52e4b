"""The manual: its examples do what it says, its tutorial runs, its links and its words hold."""

from __future__ import annotations

import doctest
import os
import re
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from docs import cells, docstrings
from docs.cells import Cell, shown
from docs.links import dead_links, from_outside
from polefem import FluxMap, RadialMachine, Steel
from polefem.drive import DriveRun, RectangularTorque
from polefem.outline import outline_of
from polefem.ranking import Ranking
from polefem.report.notebook import html_of, svg_of
from polefem.study import Study

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = sorted(page for page in DOCS.rglob("*.md") if DOCS / "made" not in page.parents)


# Examples ---------------------------------------------------------------------------------------------


def without_fences(text: str) -> str:
    """A page with the marks round its code blanked, so that a closing one is not taken for what is printed."""
    return re.sub(r"^```.*$", "", text, flags=re.MULTILINE)


def failures(text: str, name: str) -> int:
    """How many examples of a page do not do what it says."""
    examples = doctest.DocTestParser().get_doctest(without_fences(text), {}, name, name, 0)
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS)
    runner.run(examples)
    return runner.failures


@pytest.mark.parametrize(
    "page", [p for p in PAGES if ">>>" in p.read_text("utf-8")], ids=lambda page: page.stem
)
def test_examples_of_the_manual_do_what_it_says(page: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = page.read_text("utf-8")
    if "polefem.export.dxf" in text:
        pytest.importorskip("ezdxf", reason="of the optional group cut")
    monkeypatch.chdir(ROOT)
    assert failures(text, page.name) == 0


def test_an_example_that_does_something_else_is_noticed(capsys: pytest.CaptureFixture[str]) -> None:
    page = "```python\n>>> 1 + 1\n{}\n```\n"
    assert failures(page.format(2), "right") == 0
    assert failures(page.format(3), "wrong") == 1
    assert "Expected" in capsys.readouterr().out


def test_the_study_of_the_quick_start_is_one(monkeypatch: pytest.MonkeyPatch) -> None:
    blocks = re.findall(r"```python\n(.*?)```", (DOCS / "quick-start.md").read_text("utf-8"), re.DOTALL)
    (source,) = (block for block in blocks if "Study(" in block)
    monkeypatch.chdir(ROOT)
    scope: dict[str, object] = {"__name__": "quick start"}
    exec(compile(source, "quick-start.md", "exec"), scope)
    study = scope["study"]
    assert isinstance(study, Study)
    assert [outline_of(design.machine).rotor.row.poles for design in study.designs()] == [6, 6, 6]


@pytest.mark.parametrize("module", [cells, docstrings])
def test_examples_of_what_makes_the_manual_hold(module: ModuleType) -> None:
    found = doctest.testmod(module)
    assert found.attempted > 0
    assert found.failed == 0


# Tutorial ---------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def tutorial() -> list[tuple[Cell, str, object]]:
    return list(shown((ROOT / "studies" / "tutorial.py").read_text("utf-8")))


def test_the_tutorial_runs_and_each_value_shows_itself(tutorial: list[tuple[Cell, str, object]]) -> None:
    values = [value for _, _, value in tutorial if value is not None]
    assert [type(value) for value in values] == [
        RadialMachine,
        Steel,
        FluxMap,
        RectangularTorque,
        DriveRun,
        Ranking,
    ]
    for value in values:
        assert svg_of(value) or html_of(value) or isinstance(value, RectangularTorque)
    ranking = values[-1]
    assert isinstance(ranking, Ranking)
    assert (len(ranking.ordered), ranking.unsolved) == (3, ())


def test_the_tutorial_says_what_it_finds(tutorial: list[tuple[Cell, str, object]]) -> None:
    printed = "".join(text for _, text, _ in tutorial)
    assert "allowed is below the pole pitch of 60 deg" in printed
    aligned = [float(number) for number in re.findall(r"(\d+\.\d+) mH aligned", printed)]
    assert len(aligned) == 4
    assert aligned == sorted(aligned, reverse=True)  # saturation


def test_cells_are_parted_and_their_last_value_is_had() -> None:
    source = "# %% [markdown]\n# Words.\n\n# %%\nx = 2\nprint(x)\n\n# %%\nx + 1\n"
    assert [(cell.is_code, text, value) for cell, text, value in shown(source)] == [
        (False, "", None),
        (True, "2\n", None),
        (True, "", 3),
    ]
    with pytest.raises(NameError, match="y"):
        list(shown("# %%\ny\n"))


# Links ------------------------------------------------------------------------------------------------

SOUND = '<a href="b.html#there">b</a><a href="#here">here</a><h1 id="here">h</h1><a href="https://example.org">o</a>'


def test_links_that_lead_nowhere_are_found(tmp_path: Path) -> None:
    (tmp_path / "a.html").write_text(SOUND, "utf-8")
    (tmp_path / "b.html").write_text('<h1 id="there">t</h1><img src="data:image/png;base64,AA">', "utf-8")
    assert dead_links(tmp_path) == []
    assert list(from_outside(tmp_path)) == []
    (tmp_path / "a.html").write_text(SOUND + '<img src="no.png"><a href="b.html#not">b</a>', "utf-8")
    assert dead_links(tmp_path) == ["a.html: b.html#not", "a.html: no.png"]
    (tmp_path / "b.html").write_text('<h1 id="there"></h1><script src="https://example.org/x.js">', "utf-8")
    assert list(from_outside(tmp_path)) == ["b.html: https://example.org/x.js"]


# Words ------------------------------------------------------------------------------------------------


def paths_named(text: str) -> Iterator[str]:
    """Files and folders of the project that a page names."""
    yield from re.findall(r"`((?:geometries|studies|tests|docs)/[\w./-]+)`", text)


@pytest.mark.parametrize(
    "page", [*PAGES, ROOT / "README.md", ROOT / "DEVELOPERS.md"], ids=lambda page: page.stem
)
def test_files_that_pages_name_are_there(page: Path) -> None:
    named = list(paths_named(page.read_text("utf-8")))
    assert [path for path in named if not (ROOT / path).exists() and not path.startswith("docs/made")] == []


def test_a_file_that_is_not_there_is_noticed() -> None:
    (path,) = paths_named("see `studies/nowhere.py`")
    assert not os.path.exists(ROOT / path)
