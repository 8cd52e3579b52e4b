"""Designs under a given waveform, a bridge and the best switching, on the straight inductance's closed answers."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from fake_solver import FAKE, MACHINE, PLAN

from polefem.command_line import main
from polefem.errors import InvalidValue
from polefem.maps import linear_map, summed
from polefem.params.drive_spec import Bridge, Chopping, SinglePulse, Tracking
from polefem.params.fields import with_fields
from polefem.study import (
    BestOperatingPoint,
    Design,
    DriveOperatingPoint,
    EqualCopperLoss,
    EqualCurrent,
    EqualMeanTorque,
    InProcess,
    LevelOperatingPoint,
    OperatingPoint,
    Record,
    Status,
    Store,
    Study,
    SwitchingTable,
    Variant,
    WaveformOperatingPoint,
    attempt,
    run_designs,
)
from polefem.units import deg

OHMS, SPEED, LAST = 0.5, 5.0, 40.0
RISE = 54e-3 / (27 * deg)
MAP = summed(linear_map(60e-3, 6e-3, full=3 * deg, apart=30 * deg, current=LAST))
ON, OFF = -28 * deg, -6 * deg
SQUARE = Tracking([ON, OFF], [1.0, 1.0])
STIFF = Bridge(400.0)


def flank_current(loss: float) -> float:
    """I of a rectangular current on the flank: 3 R I^2 dwell / pitch = loss."""
    return math.sqrt(loss / (3 * OHMS * (OFF - ON) / (90 * deg)))


def flank_torque(current: float) -> float:
    """i^2 / 2 dL/dangle, for a dwell out of every stroke (T. J. E. Miller 1993, from memory)."""
    return current**2 / 2 * RISE * (OFF - ON) / (30 * deg)


def test_a_waveform_is_scaled_to_what_is_equal() -> None:
    at_loss = WaveformOperatingPoint("given", SQUARE, EqualCopperLoss(40.0), SPEED).figures(MAP, OHMS)
    assert at_loss.copper_loss == pytest.approx(40.0, rel=1e-9)
    assert at_loss.peak_current == pytest.approx(flank_current(40.0), rel=0.01)
    assert at_loss.mean_torque == pytest.approx(flank_torque(at_loss.peak_current), rel=0.01)
    assert at_loss.mean_torque != pytest.approx(2 * flank_torque(at_loss.peak_current), rel=0.1)
    power = at_loss.mean_torque * SPEED
    assert at_loss.power_in == pytest.approx(40.0 + power)
    assert at_loss.efficiency == pytest.approx(power / (40.0 + power))
    at_current = WaveformOperatingPoint("given", SQUARE, EqualCurrent(7.0), SPEED).figures(MAP, OHMS)
    assert at_current.peak_current == 7.0
    at_torque = WaveformOperatingPoint("given", SQUARE, EqualMeanTorque(3.0, LAST), SPEED).figures(MAP, OHMS)
    assert at_torque.mean_torque == pytest.approx(3.0, rel=1e-6)
    with pytest.raises(InvalidValue, match=r"must give the mean torque .*: mean torque is 900 N m"):
        WaveformOperatingPoint("given", SQUARE, EqualMeanTorque(900.0, LAST), SPEED).figures(MAP, OHMS)


def test_a_bridge_with_a_stiff_supply_comes_near_the_ideal_current_and_a_weak_one_does_not() -> None:
    def under(bridge: Bridge, speed: float) -> float:
        return (
            LevelOperatingPoint("b", speed, bridge, ON, OFF, EqualCopperLoss(2.0))
            .figures(MAP, OHMS)
            .mean_torque
        )

    ideal = flank_torque(flank_current(2.0))
    assert under(STIFF, SPEED) == pytest.approx(ideal, rel=0.02)
    assert under(Bridge(24.0), 60.0) < 0.9 * ideal


@pytest.mark.parametrize("control", [Tracking.level(1.0), Chopping(10.0, 0.2)], ids=["level", "chopping"])
def test_a_bridge_is_set_by_current_and_torque_too(control: Tracking | Chopping) -> None:
    def point(basis: EqualCurrent | EqualMeanTorque) -> LevelOperatingPoint:
        return LevelOperatingPoint("b", SPEED, STIFF, ON, OFF, basis, control)

    assert point(EqualCurrent(7.0)).figures(MAP, OHMS).peak_current == pytest.approx(7.0, rel=0.02)
    assert point(EqualMeanTorque(3.0, LAST)).figures(MAP, OHMS).mean_torque == pytest.approx(3.0, rel=1e-2)


def test_the_best_switching_meets_the_bound_of_the_flank() -> None:
    point = BestOperatingPoint("best", SPEED, STIFF, EqualMeanTorque(2.0, LAST))
    figures = point.figures(MAP, OHMS)
    bound = 2 * OHMS * 2.0 / RISE
    assert point.setting(MAP, OHMS).coupling == "summed"
    assert figures.mean_torque == pytest.approx(2.0, rel=1e-3)
    assert 0.997 * bound < figures.copper_loss < 1.02 * bound
    assert figures.copper_loss > 1.1 * bound / 2  # what torque i^2 dL/dangle would ask for


def test_points_refuse_what_cannot_be() -> None:
    with pytest.raises(InvalidValue, match="a level can be set where a control keeps one"):
        LevelOperatingPoint("b", SPEED, STIFF, ON, OFF, EqualCurrent(7.0), SinglePulse())
    with pytest.raises(InvalidValue, match="the smoothest switching needs a torque to give"):
        BestOperatingPoint("b", SPEED, STIFF, EqualCopperLoss(2.0), "ripple")
    with pytest.raises(
        InvalidValue,
        match=r"an operating point turns forwards, .*: point.speed is 0 rpm, allowed is above 0 rpm",
    ):
        BestOperatingPoint("b", 0.0, STIFF, EqualCopperLoss(2.0))
    with pytest.raises(InvalidValue, match="name without dots"):
        WaveformOperatingPoint("a.b", SQUARE, EqualCurrent(1.0), SPEED)
    with pytest.raises(InvalidValue, match="the speeds of a table must increase"):
        SwitchingTable(STIFF, (5.0, 4.0), (1.0,))
    with pytest.raises(
        InvalidValue, match=r"an operating point of the plan: objectives is 'throwing.ripple'"
    ):
        Study("s", MACHINE, PLAN, [Variant("a")], objectives=("throwing.ripple",))


def test_a_design_that_a_supply_cannot_drive_keeps_its_figures_under_the_others() -> None:
    starved = LevelOperatingPoint("starved", 300.0, Bridge(3.0), ON, OFF, EqualCopperLoss(50.0))
    given = WaveformOperatingPoint("given", SQUARE, EqualCurrent(5.0), SPEED)
    outcome = attempt(
        Design("one", MACHINE, {}, with_fields(PLAN, {"operating_points": (starved, given)})), FAKE
    )
    assert outcome.status is Status.SOLVED and outcome.figures is not None
    assert set(outcome.figures.operating_points) == {"given"}
    assert outcome.reason.startswith(
        "no figures under starved: the supply and the map's last current must reach"
    )


def test_drives_enter_the_key_but_not_that_of_the_map() -> None:
    given = WaveformOperatingPoint("given", SQUARE, EqualCurrent(5.0), SPEED)
    others: list[OperatingPoint] = [
        given,
        WaveformOperatingPoint("given", SQUARE, EqualCurrent(6.0), SPEED),
        LevelOperatingPoint("given", SPEED, STIFF, ON, OFF, EqualCurrent(5.0)),
        BestOperatingPoint("given", SPEED, STIFF, EqualCurrent(5.0)),
        DriveOperatingPoint("given", SPEED, STIFF, ON, OFF),
    ]
    designs = [
        Design("one", MACHINE, {}, with_fields(PLAN, {"operating_points": (point,)})) for point in others
    ]
    assert len({design.key for design in designs}) == len(others)
    assert len({design.map_key for design in designs}) == 1
    changed = [
        {"rotor_pole.arc": 33 * deg},
        {"mesh.corner": 1e-4},
        {"map_current": 50.0},
        {"basis": EqualCurrent(9.0)},
    ]
    assert len({Design("one", MACHINE, change, PLAN).map_key for change in [{}, *changed]}) == 5
    loss = {"basis": EqualCopperLoss(9.0)}  # its current, and so the map's, follows from the dwell
    longer = {**loss, "drive.turn_off": 1 * deg}
    assert Design("one", MACHINE, loss, PLAN).map_key != Design("one", MACHINE, longer, PLAN).map_key
    as_long = {
        **loss,
        "drive.turn_on": -40 * deg + 0.1,
        "drive.turn_off": -10 * deg + 0.1,
    }  # but for a last digit
    assert Design("one", MACHINE, as_long, PLAN).plan.drive.dwell != 30 * deg
    assert Design("one", MACHINE, loss, PLAN).map_key == Design("one", MACHINE, as_long, PLAN).map_key


def test_a_map_is_not_computed_again_for_another_drive(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    log = tmp_path / "log"
    monkeypatch.setenv("FAKE_SOLVER_LOG", str(log))

    def run(store: Store, points: tuple[OperatingPoint, ...], changes: dict[str, float]) -> Record:
        design = Design(
            "one", MACHINE, changes, with_fields(PLAN, {"operating_points": points, "all_currents": True})
        )
        return run_designs("s", [design], store, InProcess(), solver=FAKE)[0]

    with Store(tmp_path / "store") as store:
        bare = run(store, (), {})
        driven = run(store, (WaveformOperatingPoint("given", SQUARE, EqualCurrent(5.0), SPEED),), {})
        assert len(log.read_text().splitlines()) == 1
        assert bare.figures and driven.figures and driven.figures.value("given.peak_current") == 5.0
        assert driven.figures.ripple == bare.figures.ripple
        run(store, (), {"rotor_pole.arc": 33 * deg})  # another machine has another map
        assert len(log.read_text().splitlines()) == 2


def test_the_command_line_prints_each_order_and_writes_the_switching_table(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    points = (
        WaveformOperatingPoint("given", SQUARE, EqualCopperLoss(20.0), SPEED),
        LevelOperatingPoint("bridge", SPEED, STIFF, ON, OFF, EqualCopperLoss(20.0)),
    )
    study = Study(
        "driven",
        MACHINE,
        with_fields(PLAN, {"operating_points": points}),
        [Variant("plain"), Variant("wide", {"rotor_pole.arc": 40 * deg})],
        switching=SwitchingTable(Bridge(48.0), (5.0,), (-0.5, 0.5)),
    )
    options = ["--no-pictures", "--out", str(tmp_path)]
    assert main(study, options, FAKE, InProcess(), at_once=1) == 0
    out = capsys.readouterr().out
    assert (
        "Under given: a given current waveform at 47.75 rpm, equal copper loss of 20 W; ranked by ripple"
        in out
    )
    assert "Under bridge: a bridge on 400 V at 47.75 rpm, equal copper loss of 20 W; ranked by ripple" in out
    assert "Places by ripple under each drive" in out
    caution, heading, generator, motor = (tmp_path / "switching.csv").read_text().splitlines()
    assert "local codes and licensed practice" in caution and heading.startswith("speed_rad_s,torque_n_m")
    assert generator.startswith("5,-0.5,") and motor.startswith("5,0.5,")
    assert "local codes and licensed practice" in (tmp_path / "switching.h").read_text()
