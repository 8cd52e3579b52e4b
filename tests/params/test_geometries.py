"""Every machine file of the project: readable, buildable, each number with its reason."""

from pathlib import Path

import pytest

from polefem.outline import outline_of
from polefem.params.toml import load_machine

FILES = sorted((Path(__file__).parents[2] / "geometries").glob("*.toml"))


def test_there_are_some() -> None:
    assert len(FILES) >= 2


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_the_machine_can_be_built(file: Path) -> None:
    assert outline_of(load_machine(file)).rotor.poles > 0
