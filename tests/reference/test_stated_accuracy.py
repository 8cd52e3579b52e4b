"""The accuracies that the manual states for each mesh are those that maps have, no worse and not ten times better."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from comparing import distance, recorded
from reference_machines import MACHINES

from polefem import flux_map
from polefem.units import deg

PAGE = Path(__file__).parents[2] / "docs" / "mesh.md"
ROW = re.compile(r"^\| (coarse|normal|fine) +\|[^|]*\| ([\d.]+) % \| ([\d.]+) % \|", re.MULTILINE)


def stated() -> dict[str, tuple[float, float]]:
    """By mesh, the worst distance of flux linkage and of torque that the page names."""
    rows = ROW.findall(PAGE.read_text("utf-8"))
    return {mesh: (float(flux) / 100, float(torque) / 100) for mesh, flux, torque in rows}


def test_the_page_names_three_meshes_each_better_than_the_one_before() -> None:
    coarse, normal, fine = (stated()[mesh] for mesh in ("coarse", "normal", "fine"))
    assert coarse > normal > fine
    assert coarse[1] > normal[1] > fine[1]


@pytest.mark.parametrize(
    ("name", "mesh"),
    [
        ("6_4", "coarse"),
        *(pytest.param("6_4", mesh, marks=pytest.mark.slow) for mesh in ("normal", "fine")),
        *(pytest.param("8_6", mesh, marks=pytest.mark.slow) for mesh in ("coarse", "normal", "fine")),
    ],
)
def test_meshes_are_as_good_as_the_manual_says(name: str, mesh: str) -> None:
    record = recorded(name)
    angles, currents = record["angles_deg"], record["currents"]
    ours = flux_map(MACHINES[name](), angles * deg, currents, mesh)
    found = distance(ours.flux_linkage, ours.torque, record)
    flux, torque = stated()[mesh]
    assert found.beyond(flux, torque, angles, currents) == []
    # The broken twin: figures ten times as good as those of the page, which no mesh has.
    assert found.beyond(flux / 10, torque / 10, angles, currents) != []
