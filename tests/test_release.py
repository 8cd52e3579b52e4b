"""What a release says of itself, and what its sources hold."""

from __future__ import annotations

import re
from pathlib import Path

from polefem.version import __version__

ROOT = Path(__file__).parents[1]


def test_the_version_is_dated_where_changes_are_told() -> None:
    text = (ROOT / "CHANGELOG.md").read_text("utf-8")
    assert re.search(rf"^## {re.escape(__version__)}, 20\d\d-\d\d-\d\d$", text, re.MULTILINE)


def test_the_sources_hold_machines_studies_manual_and_tests() -> None:
    held = (ROOT / "MANIFEST.in").read_text("utf-8").split()
    assert {"docs", "geometries", "studies", "tests", "CHANGELOG.md", "DEVELOPERS.md"} <= set(held)
