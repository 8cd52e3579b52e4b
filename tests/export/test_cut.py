"""The first machine for a cutter: written where ezdxf is, left out where it is not."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from polefem import export
from polefem.errors import MissingLibrary
from tests.study.fake_solver import MACHINE


def test_the_parts_are_written_where_the_library_is(tmp_path: Path) -> None:
    pytest.importorskip("ezdxf")
    assert list(export.write_cut(MACHINE, tmp_path).values()) == ["first.dxf"]
    assert "rotor" in (tmp_path / "first.dxf").read_text("utf-8")


def test_without_the_library_nothing_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name.partition(".")[0] == "ezdxf"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "ezdxf", None)  # as where it is not installed
    monkeypatch.delitem(sys.modules, "polefem.export.dxf", raising=False)
    with pytest.raises(MissingLibrary, match="pip install 'polefem\\[cut\\]'"):
        _ = export.write_dxf
    assert export.write_cut(MACHINE, tmp_path) == {} and not list(tmp_path.iterdir())
