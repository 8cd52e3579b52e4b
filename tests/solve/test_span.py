"""Sums of fields against the fields themselves, of a sector with two phases on and its corners saturated."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem.field import built
from polefem.solve import Coupled, FactorCache, Span, minimise, tangent_solutions
from polefem.solve.factor import Factor, Layout
from tests.field.built_machines import ROUGH, half_turn

Floats = NDArray[np.float64]

#: Currents of both phases at which fields are known, A, and some amid them.
KNOWN = [(40.0, 40.0), (40.0, 10.0), (10.0, 40.0), (10.0, 10.0)]
AMID = np.array([28.0, 22.0])


@cache
def sector() -> tuple[Coupled, Floats]:
    """At an angle, with the loads of two phases."""
    system = built(half_turn(), ROUGH).systems[0]
    return system.at(-0.4), system.model.loads[:2]


@cache
def field(first: float, second: float) -> Floats:
    coupled, loads = sector()
    cache_ = FactorCache(tolerance=1e-8)
    return minimise(coupled, np.array([first, second]) @ loads, np.zeros(loads.shape[1]), cache_).unknowns


@cache
def answers(first: float, second: float) -> list[Floats]:
    coupled, loads = sector()
    return tangent_solutions(coupled, field(first, second), list(loads), FactorCache(), 1e-9)


def factor(unknowns: Floats) -> Factor:
    coupled, _ = sector()
    bare = coupled.system.tangent_matrix(coupled.state(unknowns))
    return Factor(Layout([coupled], bare, lean=False), coupled, bare)


def coenergy(unknowns: Floats, currents: Floats) -> float:
    coupled, loads = sector()
    return float(currents @ loads @ unknowns) - coupled.state(unknowns).energy


def known(*, told: bool = True) -> list[Floats]:
    return [one for at in KNOWN for one in (field(*at), *(answers(*at) if told else []))]


def off(one: Floats, other: Floats) -> float:
    """Energy norm of a difference over that of the second."""
    coupled, _ = sector()
    bare = coupled.system.tangent_matrix(coupled.state(other))
    apart = one - other
    return float((apart @ coupled.curved(bare, apart) / (other @ coupled.curved(bare, other))) ** 0.5)


@pytest.mark.parametrize("start", ["none", "the last"])
def test_what_is_among_the_sums_is_found(start: str) -> None:
    coupled, loads = sector()
    exact = field(*AMID.tolist())
    span = Span(coupled, [*known(), exact, *answers(*AMID.tolist())])
    begun = span.shares(np.zeros(len(exact)) if start == "none" else field(*KNOWN[0]))
    found = span.closest(AMID @ loads, begun, loads, factor(exact))
    assert off(found.shares @ span.fields, exact) < 2e-3 and found.missing < 2e-3
    assert off(found.unknowns, exact) < 1e-4
    assert found.coenergy == pytest.approx(coenergy(exact, AMID), rel=1e-5)
    for answer, right in zip(found.answers @ span.fields, answers(*AMID.tolist()), strict=True):
        assert off(answer, right) < 0.02
    # The twin: without it something is missing, and told.
    poor = Span(coupled, known())
    found = poor.closest(AMID @ loads, poor.shares(field(*KNOWN[0])), loads, factor(exact))
    assert off(found.shares @ poor.fields, exact) > 4e-3 and found.missing > 4e-3


def test_between_known_fields_sums_are_close_and_closer_with_answers() -> None:
    coupled, loads = sector()
    exact, most = field(*AMID.tolist()), factor(field(*KNOWN[0]))

    def found(told: bool) -> tuple[float, float, float]:
        span = Span(coupled, known(told=told))
        one = span.closest(AMID @ loads, span.shares(field(*KNOWN[0])), loads, most)
        turned = abs(coupled.torque(one.unknowns) / coupled.torque(exact) - 1.0)
        return off(one.shares @ span.fields, exact), turned, one.coenergy

    missed, turned, energy = found(True)
    assert missed < 0.03 and turned < 0.005
    # No sum has more co-energy than the field; fewer fields have less.
    more, wrong, less = found(False)
    assert more > 2 * missed and wrong > 2 * turned
    assert less < energy < coenergy(exact, AMID) and energy == pytest.approx(coenergy(exact, AMID), rel=1e-3)


def test_what_is_missing_is_told_by_a_factor_of_iron_as_saturated() -> None:
    coupled, loads = sector()
    exact = field(*AMID.tolist())
    span = Span(coupled, known())

    def found(unknowns: Floats) -> tuple[float, float]:
        one = span.closest(AMID @ loads, span.shares(field(*KNOWN[0])), loads, factor(unknowns))
        return one.missing / off(one.shares @ span.fields, exact), off(one.unknowns, exact)

    missing, left = found(field(*KNOWN[0]))
    assert 0.5 < missing < 2.0
    # Softer iron finds too much missing, and what it adds does harm.
    soft, worse = found(0.0 * exact)
    assert soft > 5.0 and worse > 50 * left


def test_fields_that_are_alike_count_once() -> None:
    coupled, _ = sector()
    assert len(Span(coupled, [field(*KNOWN[0]), 2.0 * field(*KNOWN[0]), field(*KNOWN[1])]).fields) == 2
