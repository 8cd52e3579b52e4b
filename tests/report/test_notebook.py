"""What values show of themselves in a notebook: steels, maps, runs and rankings; machines are in `test_drawings`."""

from __future__ import annotations

import dataclasses
import math
import re

import numpy as np
import pytest

from polefem.drive import DriveRun, steady_state
from polefem.maps import FluxMap, linear_map, summed
from polefem.materials import Steel
from polefem.params.drive_spec import Bridge, Chopping, DriveSpec
from polefem.ranking import Ranking, rank
from polefem.report.curves import Curves
from polefem.report.notebook import html_of, register, svg_of
from polefem.report.runs import current_of_run, draw_run, torque_of_run
from polefem.study import Figures, Outcome, Record, Status
from polefem.units import deg
from tests.report.test_drawings import unreadable


@pytest.fixture(scope="module")
def phase_map() -> FluxMap:
    return linear_map(60e-3, 6e-3, full=0.0, apart=30 * deg, current=20.0)


@pytest.fixture(scope="module")
def run(phase_map: FluxMap) -> DriveRun:
    drive = DriveSpec(Bridge(48.0), 0.5, -30 * deg, -8 * deg, Chopping(8.0, 1.0))
    return steady_state(summed(phase_map), drive, 40.0)


def ranking() -> Ranking:
    figures = Figures(**{**dict.fromkeys(Figures.names(), 1.0), "mean_torque": 3.14, "ripple": 0.271})
    solved = Record("a < b", "k", {}, Outcome(Status.SOLVED, figures=figures))
    refused = Record("overgrown", "l", {}, Outcome(Status.REFUSED, "pole faces must not touch"))
    return rank([solved, refused], "equal copper loss of 60 W")


def test_drawn_values_are_svg_and_others_are_not(phase_map: FluxMap, run: DriveRun) -> None:
    for value in (phase_map, run, Steel.named("M330-50A"), Steel.vacuum()):
        text = svg_of(value)
        assert text is not None and "<svg" in text, value
    assert svg_of(ranking()) is None
    assert html_of(run) is None


def cells(html: str) -> list[str]:
    return re.findall(r"<td>(.*?)</td>", html)


def test_a_ranking_is_a_table_with_what_is_apart_below() -> None:
    html = html_of(ranking())
    assert html is not None
    assert cells(html)[:4] == ["1", "a &lt; b", "3.140", "27.1"]
    assert "<p>overgrown could not be built: pole faces must not touch</p>" in html
    figures = dataclasses.replace(ranking().ordered[0].figures or pytest.fail(), mean_torque=2.0)
    other = dataclasses.replace(ranking().ordered[0], outcome=Outcome(Status.SOLVED, figures=figures))
    assert cells(html_of(rank([other], "")) or "")[2] == "2.000"


def belongs(current: Curves, torque: Curves, run: DriveRun) -> bool:
    """Whether curves have the run's peak current and, over the rotor pitch, its mean torque."""
    y = torque.y["torque"]
    mean = float(((y[1:] + y[:-1]) / 2 * np.diff(torque.x)).sum() / np.ptp(torque.x))
    pitch = math.degrees(run.pitch)
    return (
        math.isclose(max(float(y.max()) for y in current.y.values()), run.peak_current)
        and math.isclose(mean, run.mean_torque, rel_tol=5e-3)
        and math.isclose(float(np.ptp(torque.x)), pitch)
    )


def test_the_curves_of_a_run_are_its_own(run: DriveRun) -> None:
    current, torque = current_of_run(run), torque_of_run(run)
    assert belongs(current, torque, run)
    doubled = dataclasses.replace(torque, y={"torque": 2 * torque.y["torque"]})
    assert not belongs(current, doubled, run)
    assert not belongs(current, dataclasses.replace(torque, x=torque.x * deg), run)  # radians for degrees


def test_the_words_on_a_run_can_be_read(run: DriveRun) -> None:
    assert unreadable(draw_run(run)) == []


def test_a_notebook_s_shell_shows_each(phase_map: FluxMap, run: DriveRun) -> None:
    formatters = pytest.importorskip("IPython.core.formatters")
    shown = formatters.DisplayFormatter()
    before, _ = shown.format(run)
    assert before.keys() == {"text/plain"}
    register(shown.formatters)
    for value in (phase_map, run, Steel.named("M330-50A")):
        assert shown.format(value)[0].keys() == {"text/plain", "image/svg+xml"}
    assert shown.format(ranking())[0].keys() == {"text/plain", "text/html"}
