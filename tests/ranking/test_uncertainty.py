"""How sure an order is, against chances worked out by hand; and the set that nothing beats."""

from __future__ import annotations

import re

import numpy as np
import pytest
from scipy.stats import norm

from polefem.errors import InvalidValue
from polefem.ranking import Uncertainty, pareto_set, pareto_text, rank, uncertainty_of, uncertainty_text
from polefem.study import Effect, Figures, Outcome, Record, Status


def record(name: str, **figures: float) -> Record:
    values = {**dict.fromkeys(Figures.names(), 1.0), **figures}
    return Record(name, name, {}, Outcome(Status.SOLVED, figures=Figures(**values)))


RECORDS = [record("a", ripple=0.20, mean_torque=3.0), record("b", ripple=0.22), record("c", ripple=0.40)]


def uncertainty(**effects: list[Effect]) -> Uncertainty:
    return uncertainty_of(rank(RECORDS, ""), effects)


def test_two_designs_with_errors_of_their_own() -> None:
    found = uncertainty(a=[Effect("gap", 0.01)], b=[Effect("gap", 0.02)], c=[Effect("gap", 0.01)])
    by_hand = norm.cdf(0.02 / np.hypot(0.01, 0.02))
    assert found.ahead[0] == pytest.approx(by_hand, abs=0.01)
    assert found.first == pytest.approx([by_hand, 1 - by_hand, 0.0], abs=0.01)
    assert found.deviations == pytest.approx([0.01, 0.02, 0.01], rel=0.02)
    assert found.tied.tolist() == [True, False]


def test_what_all_share_does_not_part_them() -> None:
    own = uncertainty(a=[Effect("steel", 0.05)], b=[Effect("steel", 0.05)])
    shared = uncertainty(a=[Effect("steel", 0.05, shared=True)], b=[Effect("steel", 0.05, shared=True)])
    assert own.ahead[0] == pytest.approx(norm.cdf(0.02 / (0.05 * np.sqrt(2))), abs=0.01)
    assert shared.ahead[0] == 1.0
    assert shared.deviations == pytest.approx(own.deviations, rel=0.05)


def test_a_curved_effect_goes_one_way() -> None:
    found = uncertainty(a=[Effect("offset", 0.0, 0.02)], b=[Effect("offset", 0.0, 0.0)])
    # a + 0.02 z^2 stays below b while |z| < 1.
    assert found.ahead[0] == pytest.approx(norm.cdf(1) - norm.cdf(-1), abs=0.01)


def test_more_torque_is_better() -> None:
    found = uncertainty_of(
        rank(RECORDS[:2], "", "mean_torque"), {"a": [Effect("gap", 0.1)], "b": [Effect("gap", 0.1)]}
    )
    assert found.names == ("a", "b") and found.first[0] == 1.0


def test_the_advice_names_what_parts_them_least() -> None:
    gap, mesh = Effect("air_gap +-0.05 mm", 0.03), Effect("mesh", 0.001)
    assert "narrow or measure this: air_gap +-0.05 mm" in uncertainty(a=[gap, mesh], b=[gap, mesh]).advice
    rough = Effect("mesh", 0.1)
    assert "refine the mesh" in uncertainty(a=[gap, rough], b=[gap, rough]).advice
    near = Effect("mesh", 0.04)  # squares add up: 0.04^2 of 0.03^2 + 0.04^2 is 64 %
    said = uncertainty(a=[gap, near], b=[gap, near]).advice
    assert re.search(r"; 6[2-6] % of the uncertainty between them is in one source, so refine the mesh", said)
    assert uncertainty(a=[mesh], b=[mesh]).advice.startswith("a is first, with 100 %")
    assert uncertainty(a=[mesh]).advice == "there is nothing to compare it with"


def test_it_is_the_same_each_time_and_says_what_it_does_not_know() -> None:
    effects = {
        "a": [Effect("gap", 0.02), Effect("lip", sides=0), Effect("arc", 0.01, sides=1, asked=2)],
        "b": [Effect("gap", 0.02)],
    }
    one, two = uncertainty(**effects), uncertainty(**effects)
    assert one.first.tolist() == two.first.tolist()
    assert one.unknown == ("lip of a",) and one.one_sided == ("arc of a",)
    text = uncertainty_text(one)
    assert "Had from one side alone, as the other cannot be built: arc of a." in text
    assert "Not in it, as it could not be computed: lip of a." in text and "tied" in text
    assert max(map(len, text.splitlines())) <= 120


def test_the_pareto_set_is_what_nothing_beats() -> None:
    some = [
        record("smooth", ripple=0.1, mean_torque=1.0),
        record("strong", ripple=0.9, mean_torque=3.0),
        record("between", ripple=0.5, mean_torque=2.0),
        record("beaten", ripple=0.6, mean_torque=1.5),
        record("twin", ripple=0.5, mean_torque=2.0),
        Record("none", "none", {}, Outcome(Status.REFUSED, "no")),
    ]
    objectives = ("ripple", "mean_torque")
    assert [r.name for r in pareto_set(some, objectives)] == ["smooth", "between", "twin", "strong"]
    assert [r.name for r in pareto_set(some[::-1], objectives)] == ["smooth", "twin", "between", "strong"]
    assert [r.name for r in pareto_set(some, ("ripple",))] == ["smooth"]
    assert pareto_set([], objectives) == ()
    assert "between" in pareto_text(pareto_set(some, objectives), objectives)
    with pytest.raises(InvalidValue, match="ranked by a figure"):
        pareto_set(some, ("beauty",))


def test_the_pareto_set_is_that_of_comparing_all_with_all() -> None:
    random = np.random.default_rng(2)
    table = random.integers(0, 8, (120, 3)) / 8.0
    some = [record(f"r{k:03d}", ripple=a, copper_loss=b, steel_mass=c) for k, (a, b, c) in enumerate(table)]
    beaten = ((table[:, None] <= table[None]).all(-1) & (table[:, None] < table[None]).any(-1)).any(axis=0)
    found = {r.name for r in pareto_set(some, ("ripple", "copper_loss", "steel_mass"))}
    assert found == {f"r{k:03d}" for k in np.flatnonzero(~beaten)}
