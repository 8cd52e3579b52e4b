"""The example of README.md runs, and gives the figures that its comments promise."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem import FluxMap

README = Path(__file__).parents[1] / "README.md"


@pytest.fixture(scope="module")
def example() -> tuple[str, FluxMap]:
    """The Python example that makes a map, and that map."""
    blocks = re.findall(r"```python\n(.*?)```", README.read_text("utf-8"), re.DOTALL)
    (source,) = (block for block in blocks if "flux_map(" in block)
    scope: dict[str, object] = {}
    exec(compile(source, "README.md", "exec"), scope)
    assert isinstance(scope["m"], FluxMap)
    return source, scope["m"]


def promised(source: str, line: str) -> list[float]:
    """The decimal numbers in the comment of the line that begins with `line`."""
    comment = next(text for text in source.splitlines() if text.startswith(line)).partition("#")[2]
    return [float(number) for number in re.findall(r"-?\d+\.\d+", comment)]


def agrees(said: list[float], found: NDArray[np.float64]) -> bool:
    """Whether the numbers said are those found, to a per cent: the default mesh may come to be another."""
    return len(said) == found.size and np.allclose(said, found, rtol=1e-2)


def test_figures_in_the_comments_are_those_computed(example: tuple[str, FluxMap]) -> None:
    source, m = example
    assert agrees(promised(source, "print(m.inductance"), m.inductance[0, [0, -1]] * 1e3)
    assert agrees(promised(source, "print(m.torque"), m.torque[:, 5])


def test_figures_of_another_angle_or_current_do_not_agree(example: tuple[str, FluxMap]) -> None:
    source, m = example
    assert not agrees(promised(source, "print(m.inductance"), m.inductance[1, [0, -1]] * 1e3)
    assert not agrees(promised(source, "print(m.torque"), m.torque[:, 4])
