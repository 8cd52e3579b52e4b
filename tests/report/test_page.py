"""What a study's page says, and that what it names is there."""

from __future__ import annotations

from html.parser import HTMLParser
from importlib.metadata import version
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest

from polefem.export import Pages, write_pages
from polefem.report import Findings
from polefem.study import InProcess, Study, Variant, half_overlap
from polefem.units import deg
from tests.report.page_study import found_in
from tests.study.fake_solver import MACHINE, PLAN


def test_half_of_the_narrower_face_is_opposite_the_other() -> None:
    for rotor in (25.0, 30.0, 41.0):
        machine = (
            Study("s", MACHINE, PLAN, [Variant("v", {"rotor_pole.arc": rotor * deg})]).designs()[0].machine
        )
        at = half_overlap(machine) / deg
        # Faces as intervals of angle: how much of the rotor's, turned, lies within the stator's.
        overlap = min(15.0, at + rotor / 2) - max(-15.0, at - rotor / 2)
        assert overlap == pytest.approx(min(rotor, 30.0) / 2)
        assert at < 0


def answers(html: str, name: str) -> bool:
    """Whether the page's first sentence names a shape as the first, with its figure and the next."""
    said = html.partition('<p class="answer">')[2].partition("</p>")[0]
    return said.startswith(f"{name} has the lowest ripple, ") and said.count("%") >= 2 and said.endswith(".")


def test_the_answer_is_the_ranking_s(html: str, findings: Findings) -> None:
    first, second, *_ = findings.ranking.ordered
    assert answers(html, first.name)
    assert not answers(html, second.name)


PARTS = {
    "the refusal": "pole faces must not touch at the gap",
    "the command": "python -m polefem run made_up.py --out &#39;a folder &amp; more&#39;",
    "the versions": "numpy " + np.__version__,
    "the mesher": "gmsh " + version("gmsh"),
    "end turns": "the inductance of the end turns",
    "stored energy": "A coil at current holds energy",
    "magnetised parts": "Magnetised parts pull each other",
    "the rotor": "A spinning rotor needs a guard",
    "mains": "Mains voltage",
    "local codes": "local codes and licensed practice",
    "the ripple's formula": "(max - min) / |mean|",
    "the name, quoted": "<h1>made up &lt;wheel&gt;</h1>",
    "a map's file": 'href="shapes/plain.nc"',
    "switching": "Switching over speed and torque",
    "shares": "share with others (%)",
    "drives": "Places by ripple under each drive",
    "verdict": "Verdict: ",
}


@pytest.mark.parametrize("words", PARTS.values(), ids=PARTS)
def test_the_page_says(words: str, html: str) -> None:
    assert words in html


def test_every_shape_has_its_pictures_inside_the_page(html: str, findings: Findings) -> None:
    for shape in findings.shapes:
        for said in (
            "Cross section of",
            "Torque of one phase against angle, for",
            "Harmonics of the torque of",
        ):
            assert f'alt="{said} {shape.name.replace("&", "&amp;")}"' in html
    densities = html.count('alt="Flux density and lines of flux')
    assert densities == 3 * len(findings.shapes) == 12
    assert html.count("<img ") == html.count('<img src="data:image/')


def test_files_that_the_page_names_are_there(html: str, folder: Path) -> None:
    links = [part.partition('"')[0] for part in html.split('href="')[1:]]
    beside = [link for link in links if not link.startswith("#")]
    assert len(beside) > 20
    assert all((folder / link).is_file() for link in beside)
    inside = [link[1:] for link in links if link.startswith("#")]
    assert all(f'id="{name}"' in html for name in inside)


class Tags(HTMLParser):
    """The faults of an HTML text: tags that do not close each other, names given twice."""

    VOID: ClassVar = {"meta", "img", "input", "br", "link"}

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.faults: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.ids += [value for name, value in attrs if name == "id" and value]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """In a drawing: closed at once."""

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"{tag} closes nothing of its kind")


def faults(html: str) -> list[str]:
    """Of an HTML text."""
    tags = Tags()
    tags.feed(html)
    twice = [f"two of id {name}" for name in sorted(set(tags.ids)) if tags.ids.count(name) > 1]
    return [*tags.faults, *twice, *(f"{tag} stays open" for tag in tags.open)]


def test_tags_close_each_other_and_names_are_given_once(html: str) -> None:
    assert faults(html) == []
    assert faults(html.replace("</details>", "", 1)) != []
    assert faults(html.replace('id="again"', 'id="before"')) == ["two of id before"]


def whole_table(lines: list[str]) -> bool:
    """Whether lines of a Markdown table have as many cells each."""
    cells = [line.replace("\\|", "").count("|") for line in lines]
    return len(set(cells)) == 1


def test_markdown_has_whole_tables_and_its_pictures(pages: Pages, folder: Path) -> None:
    text = pages.paths[1].read_text("utf-8")
    pictures = [line.partition("](")[2].rstrip(")") for line in text.splitlines() if line.startswith("![")]
    assert len(pictures) >= 9 * 4 + 5
    assert all((folder / picture).stat().st_size > 1000 for picture in pictures)
    tables = [block.splitlines() for block in text.split("\n\n") if block.startswith("|")]
    assert len(tables) >= 6
    assert all(whole_table(table) for table in tables)
    assert not whole_table(["| a | b |", "| --- | --- |", "| one |"])
    assert "\\<wheel\\>" in text and "\n\n\n\n" not in text


def test_a_study_without_figures_says_so(tmp_path: Path) -> None:
    study = Study("none", MACHINE, PLAN, [Variant("touching", {"rotor_pole.arc": 95 * deg})])
    pages = write_pages(found_in(study, tmp_path), tmp_path, "c", InProcess())
    text = pages.paths[0].read_text("utf-8")
    assert "No shape of this study has figures" in text and "pole faces must not touch" in text
