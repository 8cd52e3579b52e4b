"""From a sheet to its pages, its tables to fill in, a corrected machine and the next study: with no field solved."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from polefem import EqualCurrent, FieldTolerance, Plan, RectangularCurrent, Study, Variant
from polefem.bench import measure, plan_measurements
from polefem.command_line import main
from polefem.errors import InvalidValue
from polefem.measured import (
    METERS,
    BenchSheet,
    Correction,
    Prediction,
    Readings,
    corrected_study,
    corrected_text,
    fitted,
    left_open,
    overlays,
    read_readings,
)
from polefem.params.fields import with_fields
from polefem.params.toml import load_machine, machine_from_text
from polefem.report import bench_html, bench_markdown, correction_page
from polefem.study import JointTolerance
from polefem.units import deg, mm
from tests.measured.closed_machine import measured, points, prediction
from tests.measured.test_correction import TOLERANCES

WHEEL = with_fields(load_machine("geometries/pottery_wheel.toml"), {"stacking_factor": 0.96})
HIDDEN = {"air_gap": 0.53 * mm, "knee": 0.4, "angle_offset": 0.3 * deg}


@dataclass
class Closed:
    """Predicts from the closed form."""

    drawn: Prediction

    def corrected(self, values: dict[str, float]) -> Prediction:
        return prediction(values)


def sheet(readings: Readings | None = None, study: Study | None = None) -> BenchSheet:
    meters = {kind: meter for kind, meter in METERS.items() if kind != "mutual inductance"}
    found = BenchSheet(
        "wheel",
        WHEEL,
        10.0,
        0.3,
        tolerances=TOLERANCES,
        meters=meters,
        points=9,
        readings=readings,
        study=study,
    )
    found.__dict__["predictor"] = Closed(prediction())
    return found


def found() -> Correction:
    readings = measured(points(), HIDDEN, 6)
    return fitted(prediction(), readings, TOLERANCES, again=prediction, mesh_error=False)


def test_a_plan_is_a_page_and_tables_that_can_be_read_back(tmp_path: Path) -> None:
    plan, files = plan_measurements(sheet(), tmp_path)
    page = files["page"].read_text("utf-8")
    assert "9 points tell most" in page and "Lock the rotor" in page and "inf" not in page
    total = 0
    for kind in dict.fromkeys(plan.points.kinds):
        text = files[kind].read_text("utf-8")
        lines = [line for line in text.splitlines() if "# expected" in line]
        assert len(lines) == plan.points.of(kind).sum()
        with pytest.raises(InvalidValue, match="rows with gaps alone"):
            read_readings(files[kind], kind)
        files[kind].write_text(re.sub(r", ,  #", ", 1.5, 0.1  #", text), "utf-8")
        back = read_readings(files[kind], kind)
        own = plan.points.taken(plan.points.of(kind))
        assert back.angles == pytest.approx(own.angles) and back.currents == pytest.approx(
            own.currents, rel=1e-5
        )
        total += len(back)
    assert total == 9


def test_what_was_read_is_compared_corrected_and_written(tmp_path: Path) -> None:
    readings = replace(measured(points(), HIDDEN, 6), left_out=("a.csv, line 3: no torque, left out",))
    result = measure(sheet(readings), tmp_path)
    page, text = (result.files[name].read_text("utf-8") for name in ("page", "text"))
    for said in (
        "Read over predicted",
        "reduced chi-square",
        "a.csv, line 3: no torque",
        "flux linkage 3",
        "air gap",
    ):
        assert said in page and (said in text or "\\" in text)
    assert "<script" not in page and "http" not in page.replace("http-equiv", "").replace(
        "http://www.w3.org", ""
    )
    machine = load_machine(result.files["machine"])
    assert machine.air_gap == pytest.approx(0.53 * mm, abs=0.01 * mm)
    assert machine.steel.allowance is not None and machine.steel.allowance.share == pytest.approx(
        0.4, abs=0.2
    )
    assert (tmp_path / "pictures").is_dir()
    with pytest.raises(InvalidValue, match="a machine is corrected by what was read: readings is none"):
        measure(sheet(), tmp_path)


def test_the_overlays_are_of_the_prediction() -> None:
    readings = measured(points(), HIDDEN, 6)
    correction = found()
    drawn = overlays(prediction(), readings, TOLERANCES, correction)
    assert [one.kind for one in drawn] == ["inductance", "flux linkage", "torque"]
    torque = drawn[2].curves[0]
    x, y, _ = torque.points
    corrected = np.interp(x, torque.x, torque.corrected)
    as_drawn = np.interp(x, torque.x, torque.predicted)
    assert np.abs(corrected - y).mean() < 0.7 * np.abs(as_drawn - y).mean()
    assert (torque.bands >= 0).all()
    for linked in drawn[1].curves:  # a twentieth past the last reading, as far as the map goes
        end = min(1.05 * linked.points[0].max(), 0.999 * prediction().full.currents[-1])
        assert linked.x[-1] == pytest.approx(end, rel=0.05) and linked.x[0] < 0.1 * end


def test_a_corrected_machine_is_a_file_of_its_own() -> None:
    correction = found()
    text = corrected_text(WHEEL, correction)
    assert text.startswith("# Corrected by what was measured on the bench:\n# angle offset: ")
    machine = machine_from_text(text)
    assert machine.air_gap == pytest.approx(correction.found["air_gap"], rel=1e-9)
    assert machine.steel.content() == correction.machine(WHEEL).steel.content()


def carries(tolerances: tuple[JointTolerance, ...], correction: Correction) -> bool:
    """Whether the directions add up to what the correction leaves open, correlations and all."""
    names = [name for name in correction.names if name in ("air_gap", "stacking_factor", "ends", "knee")]
    at = [correction.names.index(name) for name in names]
    fields = {name: "end_effects" if name == "ends" else name for name in names}
    rows = np.array([[dict(t.steps).get(fields[n], t.built[0]) for n in names] for t in tolerances])
    scale = np.array([getattr(TOLERANCES, name) for name in names])
    own = correction.covariance[np.ix_(at, at)] / np.outer(scale, scale)
    return bool(np.allclose(rows.T @ rows / np.outer(scale, scale), own, atol=1e-3 * own.max()))


def test_what_is_left_open_is_carried_on_with_its_correlations() -> None:
    correction = found()
    directions = left_open(correction)
    assert carries(directions, correction)
    assert not carries(directions[:1], correction)
    assert not carries(tuple(replace(t, built=(-t.built[0], 0.0)) for t in directions), correction)


def test_a_study_starts_from_the_corrected_machine() -> None:
    plan = Plan(RectangularCurrent(-32 * deg, -2 * deg), EqualCurrent(5.0))
    gap = FieldTolerance("air_gap", 0.02 * mm)
    arc = FieldTolerance("rotor_pole.arc", 0.1 * deg)
    base = with_fields(WHEEL, {"air_gap": 0.6 * mm})
    study = Study(
        "next", base, plan, [Variant("plain"), Variant("open", {"air_gap": 0.8 * mm})], tolerances=(gap, arc)
    )
    correction = found()
    after = corrected_study(study, WHEEL, correction)
    moved = correction.found["air_gap"] - WHEEL.air_gap
    assert after.base.air_gap == pytest.approx(0.6 * mm + moved)
    assert after.tolerances[0] == arc and gap not in after.tolerances
    up, down = after.tolerances[1].shifts(after.designs()[1])
    assert (up["air_gap"] + down["air_gap"]) / 2 == pytest.approx(0.8 * mm)
    shares = [side["steel"].allowance.share for side in (up, down)]
    assert np.mean(shares) == pytest.approx(after.base.steel.allowance.share)
    assert study.base.steel.allowance is None and study.plan.end_effects is False
    # The ends, which no machine has, are the plan's.
    assert after.plan.end_effects == correction.found["ends"] != 1.0
    assert (up["end_effects"] + down["end_effects"]) / 2 == pytest.approx(correction.found["ends"])
    assert all(replace(after.designs()[1], changes=side).plan.end_effects > 0.0 for side in (up, down))
    text = corrected_text(WHEEL, correction)
    assert f"Plan(end_effects={correction.found['ends']:.3f})" in text


def test_pages_say_what_cannot_be_told() -> None:
    readings = measured(points(("inductance",)).taken([0, 1, 7, 8]), {}, 1)
    correction = fitted(prediction(), readings, TOLERANCES, mesh_error=False)
    page = correction_page(sheet(readings), correction)
    for text in (bench_html(page), bench_markdown(page)):
        assert "nothing of the knee" in text and "To tell the" in text


def test_the_command_refuses_in_a_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bench.py"
    path.write_text("bench = 3\n")
    assert main(None, ["measure", str(path)]) == 2
    assert "a file defines what is on the bench: bench is int" in capsys.readouterr().err
    assert main(None, ["measure", str(tmp_path / "none.toml")]) == 2
    assert "missing" in capsys.readouterr().err
    with pytest.raises(InvalidValue, match="a bench drives a current: current is 0 A"):
        BenchSheet("wheel", WHEEL, 0.0)
    with pytest.raises(InvalidValue, match="a plan needs a meter: meters is empty"):
        BenchSheet("wheel", WHEEL, 5.0, meters={})
