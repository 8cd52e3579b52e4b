"""The faults of `faults.py`, as checks: slow ones whole, and a small part of the hostile input each time."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from doors import KINDS, ends, tried
from faults import ALL, Row

from polefem.errors import InvalidValue


@pytest.mark.slow
@pytest.mark.parametrize("fault", ALL, ids=lambda fault: fault.__name__)
def test_nothing_hangs_and_nothing_rots_in_silence(
    fault: Callable[[Path, float], Row], tmp_path: Path
) -> None:
    assert fault(tmp_path, 1.0).faults == ()


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
