"""Whether figures moved since `RESULTS` was last raised: then it is to be raised again, or stores give old figures.

.venv/bin/python tests/study/test_results.py      # notes the figures anew, after RESULTS was raised
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from fake_solver import MACHINE, PLAN

from polefem.params import MeshSpec, Pole
from polefem.params.fields import with_fields
from polefem.study import Design, attempt
from polefem.units import deg
from polefem.version import numerics

NOTED = Path(__file__).with_name("results.json")
COARSE = {"mesh": MeshSpec.named("coarse"), "angle_points": 5, "current_points": 2}
SMALL = with_fields(PLAN, COARSE)
POLES = {"plain": Pole(arc=32 * deg), "tapered": Pole(arc=32 * deg, taper=4 * deg)}


def found() -> dict[str, Any]:
    """Figures of two small designs by name, from fields."""
    designs = [Design(name, MACHINE, {"rotor_pole": pole}, SMALL) for name, pole in POLES.items()]
    figures = {design.name: attempt(design).figures for design in designs}
    return {
        name: {figure: of.value(figure) for figure in of.names() if of.value(figure) is not None}
        for name, of in figures.items()
        if of is not None
    }


def test_figures_stand_as_long_as_the_number_of_results_does() -> None:
    noted = json.loads(NOTED.read_text())
    here = numerics()
    if {**noted["made with"], "results": ""} != {**here, "results": ""}:
        pytest.skip("other libraries are in the key themselves")
    figures = found()
    assert figures.keys() == POLES.keys()
    same = all(figures[name] == pytest.approx(noted["figures"][name], rel=1e-6) for name in POLES)
    assert same or noted["made with"] != here, (
        "figures moved: raise RESULTS in polefem/version.py, and note them anew"
    )
    assert same and noted["made with"] == here, f"note the figures anew: python {Path(__file__).name}"


if __name__ == "__main__":
    NOTED.write_text(json.dumps({"made with": numerics(), "figures": found()}, indent=1) + "\n")
