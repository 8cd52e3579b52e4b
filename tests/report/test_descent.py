"""The path of a search along slopes: which steps were taken, what was first and last; and its pictures."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread

from polefem import FreeFace, Limit, Pole
from polefem.maps import linear_map, summed
from polefem.outline.builds import builds_of
from polefem.report import (
    descent_drawings,
    descent_of,
    draw_descent,
    draw_first_and_last,
    gap_along_face,
    save,
)
from polefem.report.descent import ripple_by_ramp
from polefem.report.page.descent import ends_table, ramps_sentence, tightness_table
from polefem.study import Design, Figures, Outcome, Record, Status, Tightness
from polefem.study.searching import begins_of
from polefem.units import deg, mm
from tests.field.built_machines import half_turn
from tests.study.test_gradient import search

SEARCH = search(limits=(Limit("mean_torque", least=3.0),), starts=2, evaluations=9)


def record(point: list[float], ripple: float | None, torque: float = 3.1, finer: bool = False) -> Record:
    (design,) = SEARCH.designs(np.array(point)[None], 0)
    changes = {**design.changes, **({"mesh.corner": 0.2} if finer else {})}
    outcome = Outcome(Status.REFUSED, "it cannot be built")
    if ripple is not None:
        values = {**dict.fromkeys(Figures.names(), 1.0), "ripple": ripple, "mean_torque": torque, "ramp": 0.0}
        outcome = Outcome(Status.SOLVED, figures=Figures(**values))
    return Record(f"{point} {len(changes)}", str(changes), changes, outcome)


FIRST = SEARCH.start.tolist()


def records() -> list[Record]:
    from_second = [0.5, 0.5, 0.5]
    return [
        record(FIRST, 0.5),
        record([0.3, 0.1, 0.5], 0.3),
        record([0.3, 0.2, 0.5], 0.4),
        record([0.3, 0.9, 0.5], None),
        record([0.3, 0.15, 0.5], 0.1, torque=2.0),
        record([0.3, 0.05, 0.5], 0.2),
        record(from_second, 0.6),
        record([0.4, 0.5, 0.5], 0.55),
        record([0.3, 0.05, 0.5], 0.21, finer=True),
    ]


def test_the_path_is_told_from_the_records(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("polefem.study.begins_of", lambda search, records: [0, 6])
    found = descent_of(SEARCH, records())
    assert found is not None and found.figures == ("ripple", "mean_torque")
    assert found.values.shape == (8, 2) and np.isnan(found.values[3]).all()
    assert found.kept.tolist() == [True, True, True, False, False, True, True, True]
    assert found.best.tolist() == [True, True, False, False, False, True, True, True]
    assert found.first[1].figures is not None and found.first[1].figures.ripple == 0.5
    # What breaks a limit is not the last, though it has the least ripple.
    assert found.last[1].figures is not None and found.last[1].figures.ripple == 0.2
    assert found.finer is not None and found.tightness is None
    rows = ends_table(found).rows
    assert [cell.text for cell in rows[0]] == ["ripple", "50.0", "20.0", "21.0", "%"]
    assert {drawing.name for drawing in descent_drawings(found)} == {"descent", "first-and-last"}


def smooth_only_where_it_steps(design: Design, ramp: float = 0.0) -> bool:
    """Torque of a straight rise that is handed over in straight lines: half of it in the middle (by hand, as in
    tests/drive/test_rectangular.py)."""
    m = summed(linear_map(60e-3, 6e-3, full=0.0, apart=40 * deg, current=10.0, corner=1e-7))
    ends = {"turn_on": -36 * deg, "turn_off": -6 * deg, "current": 8.0, "ramp": ramp}
    figures = Figures(**{**dict.fromkeys(Figures.names(), 1.0), **ends})
    outcome = Outcome(Status.SOLVED, figures=figures, machine_map=m)
    found = ripple_by_ramp(design, Record("last", "last", {}, outcome))
    wanted = {0.0: 0.0, **{r * deg: 0.5 / (1 - r / 90) for r in (2, 4)}}
    return found.keys() == wanted.keys() and found == pytest.approx(wanted, abs=1e-4)


def test_how_much_smoothness_needs_a_current_that_steps() -> None:
    (design,) = SEARCH.designs(np.array(FIRST)[None], 0)
    assert smooth_only_where_it_steps(design) and not smooth_only_where_it_steps(design, 3 * deg)
    found = descent_of(SEARCH, records())
    assert found is not None and not found.ramps and ramps_sentence(found) == ""  # their maps are gone
    record, m = found.last[1], summed(linear_map(60e-3, 6e-3, full=0.0, apart=40 * deg, current=10.0))
    known = replace(record, outcome=replace(record.outcome, machine_map=m, figures=record.figures))
    said = ramps_sentence(
        replace(found, last=(design, known), ramps={0.0: 0.05, 2 * deg: 0.3, 4 * deg: 0.52})
    )
    assert "phases summed, where the current steps: 5.00 %" in said and "4.00 deg: 52.0 %" in said


def test_descents_begin_at_the_starts() -> None:
    found = [record(FIRST, 0.5), record([0.3, 0.1, 0.5], 0.3)]
    assert begins_of(replace(SEARCH, starts=1), found) == [0]
    assert begins_of(replace(SEARCH, starts=1), found[1:]) == []
    assert descent_of(SEARCH, [record(FIRST, 0.5, torque=1.0)]) is None


def test_the_gap_along_a_face_is_its_rises() -> None:
    stations, rises = (-1.0, -0.5, 0.0, 0.5, 1.0), (0.3 * mm, 0.1 * mm, 0.0, 0.05 * mm, 0.2 * mm)
    pole = Pole(arc=32 * deg, face=FreeFace(stations, rises))
    for build in builds_of(replace(half_turn(), rotor_pole=pole, stator_pole=pole)):
        curve = gap_along_face(build)
        read = np.interp([16 * station for station in stations], curve.angles, curve.rises)
        assert read == pytest.approx([rise / mm for rise in rises], abs=1e-3)
        # The twin: the face seen from its other end.
        assert read[::-1] != pytest.approx([rise / mm for rise in rises], abs=1e-3)


def test_the_tightest_comes_first_of_its_kind() -> None:
    tightness = Tightness(
        ("rotor_pole.arc", "air_gap", "rotor_pole.taper", "stator_pole.taper"),
        np.array([0.6, 0.4e-3, 0.1, 0.1]),
        np.array([[1.0, -0.5], [200.0, 100.0], [0.1, 0.1], [0.0, 0.0]]),
        np.array([2.0, -900.0, 0.0, 0.0]),
        np.array([[0.5 * deg, 1 * deg], [0.02 * mm, 0.05 * mm], [3 * deg, 0.2 * deg], [np.inf, np.inf]]),
    )
    rows = tightness_table(tightness).rows
    assert [row[0].text for row in rows] == [
        "air_gap",
        "rotor_pole.taper",
        "rotor_pole.arc",
        "stator_pole.taper",
    ]
    assert [cell.text for cell in rows[0]] == [
        *("air_gap", "0.4 mm", "0.020 mm", "0.020", "0.050", "2.0", "1.0", "-0.090", "0.1 mm"),
    ]


def test_pictures_can_be_drawn(tmp_path: Path) -> None:
    found = descent_of(SEARCH, records()[:6])
    assert found is not None
    ends = found.first[0].machine, found.last[0].machine
    spread = replace(found, spread=np.linspace(0.6, 0.3, 6), spread_words="ripple: mean + 2 deviations")
    drawn = {"path": draw_descent(found), "spread": draw_descent(spread), "ends": draw_first_and_last(*ends)}
    for name, figure in drawn.items():
        save(figure, tmp_path / f"{name}.png")
        assert np.ptp(imread(tmp_path / f"{name}.png")[..., :3]) > 0.5
