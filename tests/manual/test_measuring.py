"""The chapter on the bench does what it says: its pieces run in order, and find what its readings were made of."""

from __future__ import annotations

import re
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from polefem.measured import Correction
from polefem.units import deg, mm

ROOT = Path(__file__).parents[2]
#: What the readings of the page were made of.
HIDDEN = {"angle_offset": -0.35 * deg, "air_gap": 0.56 * mm, "ends": 1.1, "knee": 0.5}


def finds(correction: Correction, hidden: dict[str, float]) -> bool:
    """Every hidden cause within three of its deviations."""
    pairs = zip(correction.names, correction.deviations, strict=True)
    return all(abs(correction.found[name] - hidden[name]) < 3 * deviation for name, deviation in pairs)


@pytest.mark.slow
def test_the_chapter_goes_from_the_drawing_to_the_corrected_machine(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    blocks = re.findall(
        r"```python\n(.*?)```", (ROOT / "docs" / "measuring.md").read_text("utf-8"), re.DOTALL
    )
    monkeypatch.chdir(ROOT)
    scope: dict[str, object] = {"__name__": "measuring"}
    for source in (block for block in blocks if ">>>" not in block):
        exec(compile(source, "measuring.md", "exec"), scope)
    kept = scope["kept"]
    assert isinstance(kept, TemporaryDirectory)
    kept.cleanup()
    correction = scope["correction"]
    assert isinstance(correction, Correction)
    assert finds(correction, HIDDEN)
    assert not finds(correction, {**HIDDEN, "air_gap": 0.50 * mm, "angle_offset": 0.0})
    said = capsys.readouterr().out
    assert "cannot tell air gap from knee" in said and "bridge.csv, line 8: no inductance, left out" in said
