"""The page of the made-up study, made once for all tests that look at it."""

from __future__ import annotations

from pathlib import Path

import pytest

from polefem.export import Pages, write_pages, write_tables
from polefem.report import Findings
from polefem.study import InProcess
from tests.report.page_study import COMMAND, STUDY, found_in


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the study's results are."""
    return tmp_path_factory.mktemp("study")


@pytest.fixture(scope="session")
def findings(folder: Path) -> Findings:
    """What the study found."""
    return found_in(STUDY, folder)


@pytest.fixture(scope="session")
def pages(findings: Findings, folder: Path) -> Pages:
    """Where its pages are."""
    return write_pages(findings, folder, COMMAND, InProcess(), write_tables(findings, folder))


@pytest.fixture(scope="session")
def html(pages: Pages) -> str:
    """The page as text."""
    return pages.paths[0].read_text("utf-8")
