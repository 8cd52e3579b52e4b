"""A film: its numbers are those of the drive and the fields, its frames show them, and it runs round."""

from __future__ import annotations

import dataclasses
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread
from PIL import Image

from polefem.errors import InvalidValue
from polefem.field import FieldState, built
from polefem.report import Findings, Shape, draw_frame, film_currents, film_of, write_film
from polefem.report.animation import Film
from polefem.units import deg
from tests.study.fake_solver import FAKE

Made = Callable[[int], Film]


def states(shape: Shape, frames: int, way: float = 1.0) -> list[FieldState]:
    """The made-up fields of a film, the rotor turned the other way where `way` is -1."""
    angles, currents = film_currents(shape, frames)
    return list(FAKE.fields(built(shape.design.machine, shape.design.plan.mesh), way * angles, currents))


@pytest.fixture
def made(findings: Findings) -> Made:
    """Makes the film of the winner, in so many frames."""
    winner = findings.winner
    assert winner is not None
    return lambda frames: film_of(winner, states(winner, frames))


def along_the_curve(film: Film, share: float) -> bool:
    """Whether each frame's torque is this share of what single phases sum to at its angle, clear of switching."""
    whole = next(iter(film.curve.y.values()))
    clear = np.abs(film.angles / deg % 30 - 15) < 13
    expected = share * np.interp(film.angles / deg, film.curve.x, whole)
    return bool(np.allclose(film.torque[clear], expected[clear], rtol=2e-2))


def test_the_torque_of_frames_is_that_of_all_phases(made: Made) -> None:
    assert along_the_curve(made(24), 0.99)  # the made-up fields give 1 % less than single phases summed
    assert not along_the_curve(made(24), 1.05)


def test_a_rotor_that_turns_the_other_way_is_noticed(findings: Findings) -> None:
    winner = findings.winner
    assert winner is not None
    turned = [dataclasses.replace(s, angle=-s.angle) for s in states(winner, 24, -1.0)]
    backwards = film_of(winner, turned)
    assert not along_the_curve(backwards, 0.99)


def test_each_phase_conducts_in_its_own_third_of_the_pitch(made: Made) -> None:
    currents = made(12).currents  # turned on 30 degrees before aligned, off when aligned: a stroke each
    assert currents.shape == (12, 3)
    assert (currents > 0).sum(axis=1).tolist() == [1] * 12
    assert currents.argmax(axis=1).tolist() == [1] * 4 + [2] * 4 + [0] * 4


def test_a_frame_shows_where_the_rotor_and_its_torque_are(made: Made) -> None:
    film = made(6)
    figure = draw_frame(film, 4)
    field, _, torque = figure.axes
    assert field.get_title(loc="left") == "plain, rotor at 67.5 deg"
    (point,) = (line for line in torque.get_lines() if line.get_marker() == "o")
    assert point.get_xydata().tolist() == [[pytest.approx(67.5), pytest.approx(film.torque[4])]]


def test_a_film_has_all_frames_and_runs_round(made: Made, tmp_path: Path) -> None:
    film = Image.open(write_film(made(5), tmp_path / "folder" / "film.gif"))
    assert film.n_frames == 5 and film.info["loop"] == 0
    frames = []
    for at in (0, 3):
        film.seek(at)
        film.convert("RGB").save(tmp_path / f"{at}.png")
        frames.append(imread(tmp_path / f"{at}.png"))
    assert np.abs(frames[0] - frames[1]).max() > 0.5
    film.close()


def test_what_cannot_be_written_is_refused(
    made: Made, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(InvalidValue, match=r"ending that can be written: film.avi is '.avi'"):
        write_film(made(2), tmp_path / "film.avi")
    monkeypatch.setattr(shutil, "which", lambda name: None)
    with pytest.raises(InvalidValue, match=r"film.mp4 is .mp4 without the program ffmpeg, allowed is .gif"):
        write_film(made(2), tmp_path / "film.mp4")
    with pytest.raises(InvalidValue, match="a film needs frames: frames is 1"):
        made(1)
