"""The faults of `faults.py`, as checks: slow ones whole, and a small part of the hostile input each time."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from doors import KINDS, ends, tried
from faults import ALL, Row, flipped_bits

from polefem.errors import InvalidValue, StoreRefused
from polefem.mesh import load


@pytest.mark.slow
@pytest.mark.parametrize("fault", ALL, ids=lambda fault: fault.__name__)
def test_nothing_hangs_and_nothing_rots_in_silence(
    fault: Callable[[Path, float], Row], tmp_path: Path
) -> None:
    assert fault(tmp_path, 1.0).faults == ()


def test_a_few_flipped_bits_are_seen_each_time(tmp_path: Path) -> None:
    row = flipped_bits(tmp_path, 0.02)
    assert row.faults == () and row.times == 8


@pytest.mark.parametrize("kind", KINDS)
def test_hostile_input_ends_in_a_sentence_or_a_value(kind: str, tmp_path: Path) -> None:
    counts, faults = tried(kind, tmp_path, seed=1, part=0.1)
    assert faults == [] and counts["a sentence"] and counts["a value"]


def raises(error: Exception) -> Callable[[], None]:
    def call() -> None:
        raise error

    return call


def test_other_ends_are_seen() -> None:
    assert ends(raises(InvalidValue("a rule: x is 1, allowed is 2"))) == "a sentence"
    assert ends(raises(KeyError("x"))) == "KeyError: 'x'"
    assert ends(raises(InvalidValue("\x1b[2J"))).startswith("a sentence that cannot be printed")


@pytest.mark.parametrize("ending", [".vtu", ".msh", ".vtk", ".xyz"])
@pytest.mark.parametrize(
    "data", [b"", b"\x00\xff" * 40, b"<VTKFile></VTKFile>", b"$MeshFormat\n2.2 0 8\n$Nodes\n-1\n"]
)
def test_a_mesh_file_that_is_none_is_refused(tmp_path: Path, ending: str, data: bytes) -> None:
    path = tmp_path / f"a{ending}"
    path.write_bytes(data)
    with pytest.raises(StoreRefused, match="a mesh file must hold our mesh"):
        load(path)
    with pytest.raises(StoreRefused, match="a mesh file must hold our mesh"):
        load(tmp_path / f"absent{ending}")
