"""On a system whose graphics libraries are missing: what meshes ends in one sentence, all else works."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from polefem import Study, Variant, run
from polefem.study import InProcess
from tests.study.fake_solver import FAKE, MACHINE, PLAN

ROOT = Path(__file__).parents[1]
BROKEN = 'raise OSError("libGLU.so.1: cannot open shared object file: No such file or directory")'
STUDY = """
from tests.study.fake_solver import MACHINE, PLAN
from polefem import Study, Variant, main
from polefem.study import InProcess
study = Study("mine", MACHINE, PLAN, [Variant("plain")])
if __name__ == "__main__":
    raise SystemExit(main(study, executor=InProcess()))
"""


@pytest.fixture
def bare(tmp_path: Path) -> dict[str, str]:
    """The environment of a process that finds a gmsh which cannot be loaded."""
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "gmsh.py").write_text(BROKEN)
    (tmp_path / "mine.py").write_text(STUDY)
    return {**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path / "broken"), str(ROOT)])}


def python(bare: dict[str, str], folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *words], env=bare, cwd=folder, capture_output=True, text=True, check=False
    )


def test_what_meshes_names_the_line_that_installs_what_is_missing(
    tmp_path: Path, bare: dict[str, str]
) -> None:
    done = python(bare, tmp_path, "mine.py", "--mesh", "coarse")
    assert done.returncode == 1 and "Traceback" not in done.stderr
    said = done.stderr.splitlines()[-1]
    assert (
        "no mesh can be made without gmsh, which lacks libGLU.so.1 of the system: as root, apt-get update"
        in said
    )
    assert "libglu1-mesa" in said and "need no mesher" in said


def test_the_packages_named_are_those_of_the_setup() -> None:
    setup = (ROOT / ".ci" / "setup").read_text("utf-8")
    library = (ROOT / "polefem" / "mesher" / "library.py").read_text("utf-8")
    listed = setup.partition("libraries=(")[2].partition(")")[0].split()
    assert listed and all(name in library for name in listed)


JUDGED = """
from polefem import CoupledMap, load_machine, outline_of
from polefem.copper import Copper, wound_phase
from polefem.drive import rectangular_torque
from polefem.export import write_svg
machine = load_machine("there/first.toml")
outline_of(machine), wound_phase(machine, Copper()), write_svg(machine, "out.svg")
"""


def test_pages_and_drives_of_what_was_kept_need_no_mesher(tmp_path: Path, bare: dict[str, str]) -> None:
    study = Study("mine", MACHINE, PLAN, [Variant("plain")])
    run(study, folder=tmp_path / "there", executor=InProcess(), solver=FAKE, progress=False)
    (tmp_path / "there" / "report.html").unlink()
    (tmp_path / "mine.py").write_text(JUDGED + STUDY)
    done = python(bare, tmp_path, "mine.py", "--out", "there")
    assert done.returncode == 0, done.stderr
    assert "1 from the store" in done.stderr and (tmp_path / "there" / "report.html").is_file()
    assert (tmp_path / "out.svg").is_file()


def test_a_dxf_without_its_library_names_its_group(tmp_path: Path) -> None:
    script = (
        "import sys\nsys.modules['ezdxf'] = None\nfrom polefem.export.dxf import write_dxf\nwrite_dxf(0, '')"
    )
    done = python({**os.environ, "PYTHONPATH": str(ROOT)}, tmp_path, "-c", script)
    sentence = "a DXF file needs ezdxf, which is not installed: pip install 'polefem[cut]'"
    assert done.stderr.splitlines()[-1] == f"polefem.errors.MissingLibrary: {sentence}"
