"""The chapter on the bench does what it says: its pieces run in order, print what it shows, and find what its readings
were made of."""

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
NUMBER = re.compile(r"\d+\.?\d*")


def blocks(language: str) -> list[str]:
    """The chapter's pieces in a language."""
    text = (ROOT / "docs" / "measuring.md").read_text("utf-8")
    return re.findall(rf"```{language}\n(.*?)```", text, re.DOTALL)


def finds(correction: Correction, hidden: dict[str, float]) -> bool:
    """Every hidden cause within two of its deviations."""
    pairs = zip(correction.names, correction.deviations, strict=True)
    return all(abs(correction.found[name] - hidden[name]) < 2 * deviation for name, deviation in pairs)


def is_printed(shown: str, printed: str) -> bool:
    """The same words, and numbers within two of their last digit."""
    if NUMBER.sub("#", shown).split() != NUMBER.sub("#", printed).split():
        return False
    pairs = zip(NUMBER.findall(shown), NUMBER.findall(printed), strict=True)
    return all(
        abs(float(one) - float(other)) <= 2.01 * 10.0 ** -len(one.partition(".")[2]) for one, other in pairs
    )


def test_a_number_that_moved_is_noticed() -> None:
    assert is_printed("air gap: 0.555 +- 0.015 mm", "air gap: 0.556 +- 0.014 mm")
    assert not is_printed("air gap: 0.555 +- 0.015 mm", "air gap: 0.565 +- 0.015 mm")
    assert not is_printed("air gap: 0.555 +- 0.015 mm", "the gap: 0.555 +- 0.015 mm")


@pytest.mark.slow
def test_the_chapter_goes_from_the_drawing_to_the_corrected_machine(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(ROOT)
    scope: dict[str, object] = {"__name__": "measuring"}
    for source in (block for block in blocks("python") if ">>>" not in block):
        exec(compile(source, "measuring.md", "exec"), scope)
    kept = scope["kept"]
    assert isinstance(kept, TemporaryDirectory)
    kept.cleanup()
    correction = scope["correction"]
    assert isinstance(correction, Correction)
    assert finds(correction, HIDDEN)
    assert not finds(correction, {**HIDDEN, "air_gap": 0.50 * mm, "angle_offset": 0.0})
    said, shown = capsys.readouterr().out, "".join(blocks("text"))
    assert is_printed(shown, said), said
