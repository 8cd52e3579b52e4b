"""Which lever buys more: parts of a search, a current's form alone without any field, the voltage that it asks for."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from polefem.bench.running import _going_on
from polefem.drive import waveform_torque
from polefem.errors import InvalidValue
from polefem.maps import linear_map, summed
from polefem.params.drive_spec import Tracking
from polefem.report import Descent, descent_of
from polefem.study import (
    EqualCurrent,
    InProcess,
    Limit,
    Range,
    Record,
    Search,
    Store,
    WaveformOperatingPoint,
    run_designs,
    run_search,
)
from polefem.study.linear_model import torque_curve
from polefem.units import deg, rpm
from tests.study.fake_solver import FAKE, MACHINE, PLAN

LEVELS = tuple((-30 + 6 * k) * deg for k in range(6))
FORM = Tracking(LEVELS, (0.2, 1.0, 0.4, 1.0, 0.7, 0.2))
POINT = WaveformOperatingPoint("form", FORM, EqualCurrent(8.0), 100 * rpm)
CURRENT = {f"operating_points.0.current.currents.{k}": Range(0.05, 1.0) for k in range(len(LEVELS))}


def search(**changes: object) -> Search:
    plan = replace(PLAN, coupling="summed", operating_points=(POINT,), map_current=10.0, current_points=4)
    asked = {"objective": "form.ripple", "evaluations": 12, "method": "gradient", **changes}
    return Search("form", MACHINE, plan, CURRENT, **asked)  # type: ignore[arg-type]


def found(asked: Search, folder: Path) -> list[Record]:
    with Store(folder) as store:
        return run_search(asked, lambda name, ds: run_designs(name, ds, store, InProcess(), solver=FAKE))


def test_a_form_of_the_current_is_found_without_a_field(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two phases share the torque as the inductance of a straight line asks: it is known, and it is smooth."""
    log = tmp_path / "log"
    monkeypatch.setenv("FAKE_SOLVER_LOG", str(log))
    records = found(search(limits=(Limit("form.mean_torque", least=1.0),)), tmp_path / "kept")
    ripples = [record.figures.value("form.ripple") or 9.0 for record in records if record.figures]
    assert min(ripples) < 0.5 * ripples[0]
    # One map for all but the last, which is on the finer mesh.
    assert len(log.read_text().splitlines()) == 2


def test_torque_is_held_at_the_angles_of_the_waveform(tmp_path: Path) -> None:
    asked = search(evaluations=4)
    (record, *_) = found(asked, tmp_path)
    (design,) = asked.designs(asked.start[None], 0)
    assert record.figures is not None
    curve = torque_curve(design, record.outcome, "form")
    assert np.ptp(curve) / record.figures.value("form.mean_torque") == pytest.approx(
        record.figures.value("form.ripple"), rel=0.05
    )
    # The twin: the torque under the rectangular current.
    other = torque_curve(design, record.outcome)
    assert np.ptp(other) / record.figures.mean_torque != pytest.approx(
        record.figures.value("form.ripple"), rel=0.05
    )


def test_the_voltage_of_a_form_is_known_on_a_straight_line() -> None:
    """Flux linkage L(angle) i(angle) with L rising by 54 mH over 30 degrees to 60 mH at 0, and a current that rises
    along a straight line up to there: L' i + L i' is largest where it ends."""
    m = summed(linear_map(60e-3, 6e-3, full=0.0, apart=30 * deg, current=10.0))
    rise = Tracking([-30 * deg, 0.0], [0.0, 8.0])
    steepest = (54e-3 * 8.0 + 60e-3 * 8.0) / (30 * deg)
    # Past 0 it breaks off, which asks for more: what is measured is the rising side of a form that ends softly.
    soft = Tracking([-30 * deg, 0.0, 50 * deg], [0.0, 8.0, 0.0])
    assert waveform_torque(m, soft, 2000).steepest == pytest.approx(steepest, rel=2e-3)
    assert waveform_torque(m, rise, 2000).steepest > 10 * steepest
    # The twin: the change of the inductance left out.
    assert 60e-3 * 8.0 / (30 * deg) != pytest.approx(steepest, rel=2e-3)


def test_levers_are_searches_of_their_own() -> None:
    names = tuple(CURRENT)
    asked = search(levers={"early": names[:2], "all": names})
    parts = asked.parts
    assert list(parts) == ["early", "all"] and list(parts["early"].ranges) == list(names[:2])
    assert parts["all"].name == "form: all" and parts["all"].evaluations == 6
    assert search().parts.keys() == {""}
    with pytest.raises(InvalidValue, match=r"a lever is some of the fields that vary: levers\['air'\] is"):
        search(levers={"air": ("air_gap",)})


def test_a_lever_of_more_fields_begins_with_the_best_of_those_it_has(tmp_path: Path) -> None:
    """All levels of a current from the better of two halves of them, and nowhere else."""
    names = tuple(CURRENT)
    asked = search(levers={"early": names[:3], "late": names[3:], "all": names}, evaluations=18, limits=())
    descents: dict[str, Descent] = {}
    for lever, plain in asked.parts.items():
        part = _going_on(asked, plain, descents)
        records = found(part, tmp_path / lever)
        if lever == "all":
            break
        assert part is plain  # the two halves share no field
        descent = descent_of(part, records)
        assert descent is not None
        descents[lever] = descent
    reached = {lever: one.last[1].figures.value("form.ripple") for lever, one in descents.items()}  # type: ignore[union-attr]
    best = min(reached, key=lambda lever: reached[lever] or 9.0)
    first = records[0].figures
    assert first is not None and first.value("form.ripple") == pytest.approx(reached[best])
    # The twin: the plain current, where the levers that come before begin.
    start = found(asked.parts["all"], tmp_path / "plain")[0].figures
    assert start is not None and start.value("form.ripple") != pytest.approx(reached[best], rel=1e-3)
