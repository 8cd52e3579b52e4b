"""The README's winding gives what its comments promise."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

README = Path(__file__).parents[2] / "README.md"


def example() -> tuple[str, dict[str, Any]]:
    """The README's lines on a winding, and the names they leave, for the machine that its field example makes."""
    blocks = re.findall(r"```python\n(.*?)```", README.read_text("utf-8"), re.DOTALL)
    (machine,) = (block.partition("\nm = ")[0] for block in blocks if "flux_map(" in block)
    (winding,) = (block for block in blocks if "wound_phase(" in block)
    scope: dict[str, Any] = {}
    exec(compile(machine, "README.md", "exec"), scope)
    exec(compile(winding, "README.md", "exec"), scope)
    return winding, scope


def test_the_comments_are_what_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    source, scope = example()
    resistance, wire, warm = capsys.readouterr().out.splitlines()
    ohm = re.search(r"one phase, warm: (\d+\.\d+)", source)
    assert ohm is not None and float(resistance) == pytest.approx(float(ohm[1]), rel=1e-3)
    assert f": {wire}\n" in source
    said = re.search(r"# (60 W) (warm it by .* K: may exceed) what", source)
    assert said is not None and said[1] in warm and said[2] in warm
    assert scope["winding"].packing is None
