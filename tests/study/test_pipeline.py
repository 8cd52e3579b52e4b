"""One design through the pipeline, with the straight inductance of the textbooks in place of fields."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fake_solver import ALIGNED, FAKE, MACHINE, PLAN, RAISES, UNALIGNED, UNMESHED

from polefem import FluxMap
from polefem.drive import steady_state
from polefem.errors import InvalidValue
from polefem.maps import CoupledMap, linear_map, summed
from polefem.params import RectangularCurrent, SuitedSwitching
from polefem.params.drive_spec import Bridge, Chopping, DriveSpec
from polefem.params.fields import with_fields
from polefem.ranking import rank
from polefem.study import (
    Design,
    DriveOperatingPoint,
    EqualCopperLoss,
    EqualCurrent,
    EqualMeanTorque,
    Figures,
    Limit,
    Outcome,
    Plan,
    Record,
    Solver,
    Status,
    Store,
    attempt,
    cost,
)
from polefem.units import deg, rpm
from tests.maps.coupled_phases import coupled


def outcome_of(changes: dict[str, Any] | None = None, plan: Plan = PLAN, solver: Solver = FAKE) -> Outcome:
    return attempt(Design("one", MACHINE, changes or {}, plan), solver)


def figures_of(changes: dict[str, Any] | None = None, plan: Plan = PLAN) -> Figures:
    outcome = outcome_of(changes, plan)
    assert outcome.status is Status.SOLVED, outcome.reason
    assert outcome.figures is not None
    return outcome.figures


def test_figures_are_those_of_the_textbook() -> None:
    # T = i^2 / 2 dL/dtheta (T. J. E. Miller 1993, from memory): constant while the faces overlap, 30 degrees of the
    # 31 from first contact to full overlap, no overlap of phases: mean = energy per stroke over the stroke.
    figures = figures_of()
    fall = (ALIGNED - UNALIGNED) / (30 * deg)
    peak = 10.0**2 / 2 * fall
    assert figures.highest_torque == pytest.approx(peak, rel=1e-3)
    assert figures.lowest_torque == pytest.approx(0.0, abs=1e-3 * peak)
    mean = 10.0**2 / 2 * (ALIGNED - UNALIGNED - fall * 1 * deg) / (30 * deg)  # the last degree is left unused
    assert figures.mean_torque == pytest.approx(mean, rel=0.03)
    assert figures.ripple == pytest.approx(peak / figures.mean_torque, rel=1e-3)
    assert figures.aligned_inductance == pytest.approx(ALIGNED, rel=1e-3)
    assert figures.unaligned_inductance == pytest.approx(UNALIGNED, rel=1e-6)


def test_copper_loss_follows_from_what_is_asked() -> None:
    figures = figures_of(plan=with_fields(PLAN, {"basis": EqualCopperLoss(45.0)}))
    assert figures.copper_loss == pytest.approx(45.0)
    # A third of the time in each of three phases: as one phase all the time.
    assert figures.current**2 * figures.phase_resistance == pytest.approx(45.0)
    assert figures.torque_per_loss == pytest.approx(figures.mean_torque / 45.0)


def test_mean_torque_follows_from_what_is_asked() -> None:
    wanted = figures_of().mean_torque / 2
    plan = with_fields(PLAN, {"basis": EqualMeanTorque(wanted, 10.0)})
    figures = figures_of(plan=plan)
    assert figures.mean_torque == pytest.approx(wanted)
    assert figures.current == pytest.approx(10.0 / math.sqrt(2), rel=1e-3)


@pytest.mark.parametrize(
    ("changes", "status", "sentence"),
    [
        ({"air_gap": 0.0}, Status.REFUSED, "the air gap must be open"),
        ({"rotor_pole.arc": 95 * deg}, Status.REFUSED, "pole faces must not touch at the gap"),
        (
            {"rotor_pole.arcs": 0.5},
            Status.REFUSED,
            "called by its dotted name: field is .*arcs.*, allowed is arc",
        ),
        ({"winding.turns_per_pole": 0}, Status.REFUSED, "a coil must have turns"),
        ({"winding.coil_width": 0.02}, Status.REFUSED, "a coil must not cut"),
        ({"drive.turn_on": 0.0, "drive.turn_off": 30 * deg}, Status.REFUSED, "a motor must turn forwards"),
        ({"drive.turn_off": -40 * deg}, Status.REFUSED, "turn-off must follow turn-on"),
        ({"basis": EqualMeanTorque(1e3, 10.0)}, Status.REFUSED, "within what the map's last current gives"),
        ({"rotor_pole.arc": UNMESHED}, Status.FAILED, "this shape gives no mesh"),
        ({"rotor_pole.arc": RAISES}, Status.FAILED, "ZeroDivisionError: no one foresaw this"),
    ],
)
def test_what_cannot_be_is_an_outcome_with_a_reason(
    changes: dict[str, Any], status: Status, sentence: str
) -> None:
    outcome = outcome_of(changes)
    assert (outcome.status, outcome.figures, outcome.flux_map) == (status, None, None)
    assert "\n" not in outcome.reason
    with pytest.raises(ValueError, match=sentence):
        raise ValueError(outcome.reason)


def test_an_unforeseen_error_says_where_it_came_from() -> None:
    assert "misbehave" in outcome_of({"rotor_pole.arc": RAISES}).trace


def unconverged_map(*_: Any, **__: Any) -> CoupledMap:
    m = linear_map(ALIGNED, UNALIGNED, full=1 * deg, apart=31 * deg, current=10.0)
    ended = np.ones(m.torque.shape, dtype=bool)
    ended[0, 2] = False
    tables = (m.angles, m.currents, m.flux_linkage, m.torque, m.coenergy)
    return summed(
        FluxMap(
            *tables, phases=3, rotor_poles=4, mirror=True, converged=ended, remarks=("no convergence there",)
        )
    )


def test_a_map_with_a_point_that_did_not_converge_has_no_figures() -> None:
    outcome = outcome_of(solver=replace(FAKE, coupled_map=unconverged_map))
    assert outcome.status is Status.FAILED
    assert outcome.reason == "1 of 6 points of the map: no convergence there"


def unconverged_together(*_: Any, **__: Any) -> CoupledMap:
    whole = coupled()
    return replace(whole, remarks=("no convergence of phases 1 and 2 there",), lost=1)


def test_a_map_of_phases_together_that_did_not_converge_has_no_figures() -> None:
    outcome = outcome_of(solver=replace(FAKE, coupled_map=unconverged_together))
    assert outcome.status is Status.FAILED
    assert outcome.reason.startswith("1 points of phases together: no convergence")


def coupled_phases(*_: Any, **__: Any) -> CoupledMap:
    """Three phases that share iron, one pair with the other sign."""
    return coupled()


SHARING = replace(FAKE, coupled_map=coupled_phases)
OVERLAPPING = RectangularCurrent(-36 * deg, 0.0)
SUITED = with_fields(PLAN, {"drive": SuitedSwitching(), "current_points": 3})


def ranked_ripple(plan: Plan) -> float:
    outcome = outcome_of(plan=plan, solver=SHARING)
    assert outcome.figures is not None, outcome.reason
    return outcome.figures.ripple


def test_figures_are_those_of_all_phases_in_one_field() -> None:
    figures = outcome_of(plan=with_fields(PLAN, {"drive": OVERLAPPING}), solver=SHARING).figures
    assert figures is not None
    angles = (np.arange(3600) + 0.5) * 90 * deg / 3600
    own = np.mod(angles[:, None] - np.arange(3) * 30 * deg - OVERLAPPING.turn_on, 90 * deg)
    currents = np.where(own < OVERLAPPING.dwell, 10.0, 0.0)
    together, apart = (
        coupled().at(angles, currents).torque,
        summed(coupled().single).at(angles, currents).torque,
    )
    assert figures.mean_torque == pytest.approx(together.mean(), rel=1e-3)
    assert figures.ripple == pytest.approx(np.ptp(together) / together.mean(), rel=5e-3)
    assert figures.phase_interaction == pytest.approx(
        np.abs(together - apart).max() / together.mean(), rel=5e-3
    )
    assert (figures.turn_on, figures.turn_off) == (OVERLAPPING.turn_on, OVERLAPPING.turn_off)


def test_the_sum_is_another_ripple_and_says_so() -> None:
    joint = with_fields(PLAN, {"drive": OVERLAPPING})
    apart = with_fields(joint, {"coupling": "summed"})
    fakes = replace(SHARING, flux_map=lambda *_: coupled().single)
    quick = attempt(Design("one", MACHINE, {}, apart), fakes).figures
    assert quick is not None and quick.phase_interaction is None
    assert abs(quick.ripple - ranked_ripple(joint)) > 0.02
    assert "summed as if each were alone" in apart.terms and "summed" not in joint.terms


def test_a_switching_that_suits_the_design_is_found_and_told() -> None:
    outcome = outcome_of(plan=SUITED, solver=SHARING)
    assert outcome.figures is not None
    assert outcome.figures.ripple < ranked_ripple(with_fields(PLAN, {"drive": OVERLAPPING}))
    given = RectangularCurrent(outcome.figures.turn_on, outcome.figures.turn_off)
    assert ranked_ripple(with_fields(PLAN, {"drive": given})) == pytest.approx(outcome.figures.ripple)


def test_error_bars_are_of_the_switching_that_the_controller_has() -> None:
    suited = Design("one", MACHINE, {"rotor_pole.arc": 33 * deg, "drive.least_torque": 0.0}, SUITED)
    pinned = suited.switched(OVERLAPPING)
    assert pinned.plan.drive == OVERLAPPING and pinned.machine == suited.machine
    given = Design("two", MACHINE, {}, PLAN)
    assert given.switched(OVERLAPPING) is given


def test_one_current_is_not_enough_where_the_dwell_decides_it() -> None:
    with pytest.raises(InvalidValue, match=r"current_points is 1, allowed is 3 or more"):
        with_fields(PLAN, {"drive": SuitedSwitching()})


def test_a_generator_has_figures_of_braking_and_more_braking_is_better() -> None:
    brake = with_fields(PLAN, {"drive": RectangularCurrent(0.0, 30 * deg)})
    weak = outcome_of(plan=brake).figures
    strong = outcome_of(plan=with_fields(brake, {"basis": EqualCurrent(12.0)})).figures
    assert weak is not None and strong is not None
    assert strong.mean_torque < weak.mean_torque < 0.0
    assert strong.highest_torque <= strong.mean_torque <= strong.lowest_torque <= 1e-9
    for name in ("mean_torque", "torque_per_mass", "shear_stress"):
        assert cost(strong, name) < cost(weak, name), name
    records = [
        Record(n, n, {}, Outcome(Status.SOLVED, figures=f)) for n, f in (("weak", weak), ("strong", strong))
    ]
    assert [record.name for record in rank(records, "", "mean_torque").ordered] == ["strong", "weak"]


def test_a_generator_that_would_pull_is_refused() -> None:
    brake = with_fields(PLAN, {"drive": RectangularCurrent(0.0, 30 * deg)})
    outcome = outcome_of({"drive.turn_on": -30 * deg, "drive.turn_off": 0.0}, plan=brake)
    assert outcome.status is Status.REFUSED and "a generator must brake its rotor" in outcome.reason
    with pytest.raises(InvalidValue, match=r"one below: basis\.torque is -1 N m with on at -30"):
        with_fields(PLAN, {"basis": EqualMeanTorque(-1.0, 10.0)})


def test_equal_inputs_have_equal_keys_whatever_their_names() -> None:
    def key(changes: dict[str, Any], plan: Plan = PLAN, name: str = "one") -> str:
        return Design(name, MACHINE, changes, plan).key

    assert key({}) == key({"rotor_pole.arc": 32 * deg}, name="other")
    different = [
        {},
        {"rotor_pole.arc": 33 * deg},
        {"drive.turn_on": -0.5},
        {"mesh.corner": 0.1},
        {"air_gap": -1.0},
    ]
    assert (
        len({key(changes) for changes in different} | {key({}, with_fields(PLAN, {"coupling": "summed"}))})
        == 6
    )


def test_an_operating_point_of_the_bridge_has_figures_of_its_own() -> None:
    throwing = DriveOperatingPoint(
        "throwing", 100 * rpm, Bridge(24.0), -38 * deg, -12 * deg, Chopping(8.0, 1.0)
    )
    outcome = outcome_of(plan=with_fields(PLAN, {"operating_points": (throwing,), "map_current": 12.0}))
    assert outcome.figures is not None and outcome.machine_map is not None, outcome.reason
    assert outcome.machine_map.currents[-1] == 12.0
    point = outcome.figures.operating_points["throwing"]
    resistance = outcome.figures.phase_resistance
    spec = DriveSpec(Bridge(24.0), resistance, -38 * deg, -12 * deg, Chopping(8.0, 1.0))
    run = steady_state(outcome.machine_map, spec, 100 * rpm)
    assert point.mean_torque == run.mean_torque and point.ripple == run.ripple
    assert outcome.figures.value("throwing.ripple") == run.ripple
    assert outcome.figures.value("ripple") == outcome.figures.ripple
    assert outcome.figures.value("centring.ripple") is None


def test_a_bridge_that_drives_current_off_the_map_has_no_figures_and_a_reason() -> None:
    wild = DriveOperatingPoint("wild", 10 * rpm, Bridge(300.0), -38 * deg, -12 * deg)
    outcome = outcome_of(plan=with_fields(PLAN, {"operating_points": (wild,)}))
    assert outcome.status is Status.SOLVED and outcome.figures is not None
    assert outcome.figures.operating_points == {} and "no figures under wild: " in outcome.reason
    wanted = rank([Record("a", "a", {}, outcome)], "", "wild.ripple")
    assert wanted.ordered == () and wanted.infeasible[0][1] == outcome.reason
    limited = rank([Record("a", "a", {}, outcome)], "", "ripple", [Limit("wild.mean_torque", least=0.1)])
    assert limited.infeasible[0][1] == "mean torque under wild is not known, allowed is at least 0.1 N m"


def test_operating_points_are_ranked_by_and_kept(tmp_path: Path) -> None:
    throwing = DriveOperatingPoint(
        "throwing", 100 * rpm, Bridge(24.0), -38 * deg, -12 * deg, Chopping(8.0, 1.0)
    )
    outcome = outcome_of(plan=with_fields(PLAN, {"operating_points": (throwing,)}))
    with Store(tmp_path) as store:
        store.keep("a", outcome)
        again = store.outcome("a")
    assert again is not None and again.figures == outcome.figures
    records = [Record("a", "a", {}, outcome)]
    assert rank(records, "", "throwing.ripple").ordered == tuple(records)
    with pytest.raises(InvalidValue, match=r"by is 'throwing.beauty', allowed is mean_torque, .*efficiency"):
        rank(records, "", "throwing.beauty")


@pytest.mark.parametrize(("name", "points"), [("", 1), ("a.b", 1), ("twice", 2)])
def test_points_have_names_of_their_own(name: str, points: int) -> None:
    with pytest.raises(InvalidValue, match="operating point has a name"):
        with_fields(
            PLAN, {"operating_points": (DriveOperatingPoint(name, 10.0, Bridge(24.0), -0.5, 0.0),) * points}
        )
