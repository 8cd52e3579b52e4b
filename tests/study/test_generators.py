"""A study of a generator: signs, order, words and refusals on the straight inductance; and the project's own study."""

from __future__ import annotations

import csv
import importlib.util
from dataclasses import replace
from pathlib import Path

import pytest
from fake_solver import FAKE, MACHINE, PLAN

from polefem.command_line import main
from polefem.errors import InvalidValue
from polefem.outline import outline_of
from polefem.params import RectangularCurrent, SuitedSwitching
from polefem.params.drive_spec import Bridge
from polefem.ranking import rank, table_text, uncertainty_of
from polefem.study import (
    BestOperatingPoint,
    DriveOperatingPoint,
    Effect,
    EqualCopperLoss,
    EqualCurrent,
    EqualMeanTorque,
    Figures,
    InProcess,
    LevelOperatingPoint,
    OperatingPointFigures,
    Outcome,
    Record,
    Status,
    Study,
    SwitchingTable,
    Variant,
    attempt,
    braking,
    cost,
    figure_words,
    quantity_of_figure,
)
from polefem.units import deg, rpm

ROOT = Path(__file__).parents[2]
BATTERY, SPEED = Bridge(48.0, switch_drop=0.1, diode_drop=0.8), 600 * rpm
CHARGING = LevelOperatingPoint("charging", SPEED, BATTERY, 2 * deg, 20 * deg, EqualCopperLoss(20.0))
BRAKED = replace(
    PLAN,
    drive=SuitedSwitching("torque", generating=True),
    basis=EqualCurrent(10.0),
    current_points=3,
    operating_points=(CHARGING,),
)
SHAPES = [Variant("plain"), Variant("wide", {"rotor_pole.arc": 40 * deg})]


def record(name: str, torque: float, **changed: float) -> Record:
    point = OperatingPointFigures(
        **{**dict.fromkeys(OperatingPointFigures.names(), 1.0), "mean_torque": torque}
    )
    values = {**dict.fromkeys(Figures.names(), 1.0), "mean_torque": torque, **changed}
    return Record(
        name,
        name,
        {},
        Outcome(Status.SOLVED, figures=Figures(**values, operating_points={"charging": point})),
    )


WEAK, STRONG = record("weak", -0.2, lowest_torque=0.05), record("strong", -0.9, lowest_torque=-0.5)


@pytest.mark.parametrize("by", ["mean_torque", "charging.mean_torque", "lowest_torque"])
def test_the_strongest_generator_is_first(by: str) -> None:
    assert [r.name for r in rank([WEAK, STRONG], "", by).ordered] == ["strong", "weak"]
    motors = [record(name, torque, lowest_torque=torque) for name, torque in (("a", 0.2), ("b", 0.9))]
    assert [r.name for r in rank(motors, "", by).ordered] == ["b", "a"]


def test_chances_are_those_of_the_stronger_brake() -> None:
    """Of two generators 0.7 N m apart, known to 0.01 N m, the stronger is surely the first."""
    ranking = rank([WEAK, STRONG], "", "mean_torque")
    effects = {name: [Effect("gap", linear=0.01)] for name in ("weak", "strong")}
    found = uncertainty_of(ranking, effects)
    assert found.brakes and found.names == ("strong", "weak")
    assert found.first.tolist() == [1.0, 0.0] and found.ahead.tolist() == [1.0]
    motors = rank([record("weak", 0.2), record("strong", 0.9)], "", "mean_torque")
    assert uncertainty_of(motors, effects).first.tolist() == [1.0, 0.0]


def test_a_torque_that_brakes_is_shown_above_nought_and_called_so() -> None:
    assert braking([WEAK, STRONG], "mean_torque") and not braking([WEAK, STRONG], "ripple")
    assert not braking([WEAK, record("motor", 0.3)], "mean_torque")
    assert quantity_of_figure("mean_torque", True).text(-0.2) == "0.2000 N m"
    assert quantity_of_figure("mean_torque").text(-0.2) == "-0.2000 N m"
    assert quantity_of_figure("ripple", True) == quantity_of_figure("ripple")
    assert figure_words("charging.mean_torque", True) == "mean braking torque while charging"
    text = table_text(rank([WEAK, STRONG], "equal everything", "mean_torque"))
    assert text.startswith("Ranked by mean braking torque, at equal everything")
    strong, weak = (line.split() for line in text.splitlines() if line.startswith(("1 ", "2 ")))
    assert (strong[:3], weak[:3]) == (["1", "strong", "0.9000"], ["2", "weak", "0.2000"])
    assert strong[4] == "0.5000" and weak[4] == "-0.05000"  # where it is weakest, one drives its rotor
    assert cost(STRONG.outcome.figures, "mean_torque") == -0.9  # type: ignore[arg-type]


def test_a_study_of_a_generator_says_what_comes_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = SwitchingTable(BATTERY, (60.0,), (-0.5,))
    study = Study("mill", MACHINE, BRAKED, SHAPES, objectives=("charging.power_out",), switching=table)
    assert main(study, ["--no-pictures", "--out", str(tmp_path)], FAKE, InProcess(), at_once=1) == 0
    said = capsys.readouterr().out
    assert "Ranked by power out while charging" in said
    assert (
        "While charging: a bridge on 48 V at 600 rpm, equal copper loss of 20 W; ranked by power out" in said
    )
    assert "braking torque" in said and "power in  power out  efficiency" in said
    assert "-" not in "".join(line for line in said.splitlines() if line.startswith(("1  ", "2  ")))
    rows = list(csv.DictReader((tmp_path / "ranking.csv").read_text().splitlines()))
    for row in rows:
        out, given = float(row["charging.power_out"]), float(row["charging.power_in"])
        assert float(row["charging.mean_torque"]) * SPEED == pytest.approx(-given, rel=1e-6)
        losses = float(row["charging.copper_loss"]) + float(row["charging.bridge_loss"])
        assert given == pytest.approx(out + losses, rel=1e-3)
        assert given != pytest.approx(out, rel=1e-2)
        assert float(row["turn_on"]) > -5 * deg  # in the generating half
    assert float(rows[0]["charging.power_out"]) > float(rows[1]["charging.power_out"]) > 0.0
    *_, heads, cells = (tmp_path / "switching.csv").read_text().splitlines()
    found = dict(zip(heads.split(","), cells.split(","), strict=True))
    assert float(found["power_in_w"]) == pytest.approx(0.5 * 60.0, rel=1e-3)
    share = float(found["power_out_w"]) / float(found["power_in_w"])
    assert float(found["efficiency_percent"]) == pytest.approx(100 * share, rel=1e-3)


def test_equal_braking_torque_is_given_with_the_current_that_takes() -> None:
    plan = replace(BRAKED, basis=EqualMeanTorque(-1.0, 20.0), operating_points=())
    study = Study("mill", MACHINE, plan, SHAPES)
    assert str(plan.basis) == "equal mean braking torque of 1 N m"
    for design in study.designs():
        figures = attempt(design, FAKE).figures
        assert figures is not None and figures.mean_torque == pytest.approx(-1.0, rel=1e-4)


def test_what_is_no_generator_is_refused_before_anything_is_computed() -> None:
    with pytest.raises(
        InvalidValue, match=r"basis.torque is 1 N m .*, allowed is -1 N m, or the switching of a motor"
    ):
        replace(BRAKED, basis=EqualMeanTorque(1.0, 20.0))
    with pytest.raises(
        InvalidValue, match=r"asked for a torque below 0, .*: basis.torque is 1 N m, allowed is -1 N m"
    ):
        BestOperatingPoint("charging", SPEED, BATTERY, EqualMeanTorque(1.0, 20.0), generating=True)
    for made in (
        lambda: LevelOperatingPoint("charging", -SPEED, BATTERY, 2 * deg, 20 * deg, EqualCopperLoss(20.0)),
        lambda: BestOperatingPoint("charging", -SPEED, BATTERY, EqualCopperLoss(20.0)),
        lambda: DriveOperatingPoint("charging", -SPEED, BATTERY, 2 * deg, 20 * deg),
    ):
        with pytest.raises(InvalidValue, match=r"point.speed is -600 rpm, .* have generating=True"):
            made()
    for on, off in ((-10, 10), (50, 70), (-70, -50)):  # of neither half; of the next pole
        plan = replace(PLAN, drive=RectangularCurrent(on * deg, off * deg))
        with pytest.raises(InvalidValue, match=r"a generator mostly past it, within half a rotor pitch"):
            Study("mill", MACHINE, plan, SHAPES)
    Study("mill", MACHINE, replace(PLAN, drive=RectangularCurrent(1 * deg, 19 * deg)), SHAPES)


# The project's own ------------------------------------------------------------------------------------


def stream_generator() -> Study:
    path = ROOT / "studies" / "stream_generator.py"
    spec = importlib.util.spec_from_file_location("stream_generator", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    study = module.study
    assert isinstance(study, Study)
    return study


def test_the_stream_generators_shapes_can_be_built() -> None:
    study = stream_generator()
    assert study.plan.generating and len(study.designs()) == 5
    assert all(outline_of(design.machine).rotor.flat for design in study.designs())


@pytest.mark.slow
def test_the_stream_generator_charges(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two of its shapes on the coarse mesh, phases summed: a smaller gap brakes more for a watt of heat, so more comes
    out."""
    study = stream_generator()
    chosen = [variant for variant in study.variants if variant.name in ("as drawn", "trued shaft")]
    plan = replace(study.plan, coupling="summed")
    study = replace(study, variants=chosen, plan=plan, switching=None)
    assert main(study, ["--no-pictures", "--mesh", "coarse", "--out", str(tmp_path), "--workers", "1"]) == 0
    assert "trued shaft" in capsys.readouterr().out
    rows = list(csv.DictReader((tmp_path / "ranking.csv").read_text().splitlines()))
    assert [row["name"] for row in rows] == ["trued shaft", "as drawn"]
    for row in rows:
        assert float(row["charging.mean_torque"]) < 0.0 < float(row["charging.power_out"])
