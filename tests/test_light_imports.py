"""What judges a map loads no mesher: looked at in a fresh interpreter, where nothing else has loaded one."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = {"gmsh", "skfem", "meshio"}
MACHINE = Path(__file__).parents[1] / "geometries" / "pottery_wheel.toml"


def loaded(statement: str, heavy: set[str] = HEAVY) -> set[str]:
    """Which of some heavy libraries a fresh interpreter has loaded after a statement."""
    script = f"{statement}\nimport sys\nsys.stdout.write(' '.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return heavy & set(done.stdout.split())


@pytest.mark.parametrize(
    "statement",
    [
        "import polefem.drive",
        "import polefem.maps",
        "import polefem.ranking",
        "from polefem import FluxMap, Pole",
    ],
)
def test_no_mesher_is_loaded(statement: str) -> None:
    assert loaded(statement) == set()


def test_statistics_are_loaded_by_what_draws_samples() -> None:
    """A run whose designs are known waits for none: half a second of its imports."""
    assert loaded("import polefem.bench", {"scipy.stats"}) == set()
    draw = (
        "from polefem import LatinHypercube, Range; tuple(LatinHypercube({'air_gap': Range(1e-4, 1e-3)}, 2))"
    )
    assert loaded(draw, {"scipy.stats"}) == {"scipy.stats"}


def test_a_run_whose_designs_are_known_waits_for_nothing_that_it_does_not_need() -> None:
    """Neither for what draws, meshes, solves and writes for a cutter, nor for a compiler: seconds of imports."""
    heavy = HEAVY | {"matplotlib", "numba", "ezdxf", "scipy.optimize", "scipy.interpolate", "scipy.sparse"}
    assert loaded("import polefem.command_line", heavy) == set()
    assert loaded("from polefem.report import draw_curves; draw_curves", heavy) == set()
    assert loaded("from polefem.report.style import new_figure; new_figure()", heavy) >= {"matplotlib"}


@pytest.mark.parametrize(
    "then",
    [
        "",
        "from polefem.ring import relative_level; relative_level(2.0, 1.0)",
        "from polefem.copper import winding_order; from polefem.outline import drawn; "
        "from polefem.report.sheets import slot_view; slot_view(drawn(machine), winding_order(machine))",
    ],
    ids=["opened", "heard", "wound"],
)
def test_a_machine_waits_for_nothing_that_only_drawing_and_solving_need(then: str) -> None:
    heavy = HEAVY | {"matplotlib", "scipy.optimize", "scipy.interpolate", "scipy.sparse"}
    opened = f"from polefem import load_machine; machine = load_machine({str(MACHINE)!r})"
    assert loaded(f"{opened}; {then}", heavy) == set()


def test_a_mesher_that_is_loaded_is_seen() -> None:
    """The broken twin."""
    assert loaded("from polefem import flux_map") == HEAVY


FRONTS = ("", ".bench", ".estimates", ".export", ".field", ".report", ".ring", ".study")


@pytest.mark.parametrize("room", FRONTS)
def test_a_front_says_what_it_has(room: str) -> None:
    """What is loaded when it is asked for is listed before, or the manual has no page for it."""
    name = f"polefem{room}"
    script = f"import {name} as front; assert set(front.__all__) <= set(dir(front)); front.turbine"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert f"AttributeError: module {name!r} has no attribute 'turbine'" in done.stderr
