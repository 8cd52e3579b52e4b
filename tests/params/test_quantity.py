"""Digits follow the error: one rule for every number that is shown.

The two worked examples are those of the Particle Data Group's "Rounding" (Review of Particle Physics, introduction;
from memory): 0.827 +- 0.119 is 0.83 +- 0.12, and 0.827 +- 0.367 is 0.8 +- 0.4.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import pytest
from hypothesis import given
from hypothesis import strategies as st

from polefem.errors import InvalidValue
from polefem.params import Machine, Pole
from polefem.params.quantity import Quantity, figures_of_error, quantities, quantity, quantity_of, rounded

Rule = Callable[[float, float], tuple[str, str]]


def by_rule(value: float, error: float) -> tuple[str, str]:
    return rounded(value, error), figures_of_error(error)


def by_four_digits(value: float, error: float) -> tuple[str, str]:
    """The broken way: every number to four digits, whatever is known of it."""
    return f"{value:.4g}", f"{error:.4g}"


def keeps(rule: Rule, value: float, error: float) -> bool:
    """Whether a value and its error end at one digit, which is the first or the second significant one of the error,
    and lie within half of that digit of what was given."""
    said, bar = rule(value, error)
    places = [len(text.partition(".")[2]) for text in (said, bar)]
    last = 10.0 ** -places[1] if places[1] else 10.0 ** (len(bar) - len(bar.rstrip("0")))
    near = abs(float(bar) - error) <= 0.5001 * last and abs(float(said) - value) <= 0.5001 * last
    return places[0] == places[1] and 1 <= round(float(bar) / last) <= 35 and near


def published(rule: Rule) -> bool:
    return rule(0.827, 0.119) == ("0.83", "0.12") and rule(0.827, 0.367) == ("0.8", "0.4")


def test_the_published_examples() -> None:
    assert published(by_rule)
    assert not published(by_four_digits)


@given(st.floats(-99, 99), st.floats(0.02, 999))
def test_a_value_ends_where_its_error_ends(value: float, error: float) -> None:
    assert keeps(by_rule, value, error)


def test_four_digits_for_everything_do_not() -> None:
    assert not keeps(by_four_digits, 32.78, 0.6) and not keeps(by_four_digits, 30.5, 0.1234)


def test_neighbours_with_one_error_end_alike() -> None:
    assert [rounded(value, 0.6) for value in (30.5, 32.78, 0.04, -0.04)] == ["30.5", "32.8", "0.0", "0.0"]


@pytest.mark.parametrize("error", [None, 0.0, math.nan, math.inf])
def test_without_an_error_the_field_says_how_many_digits(error: float | None) -> None:
    assert [rounded(value, error) for value in (30.5, -0.000123456, 98765.4, 9.9996)] == [
        "30.50",
        "-0.0001235",
        "98765",
        "10.00",
    ]
    assert rounded(30.512, error, digits=3) == "30.5"
    assert rounded(1e-17, error) == rounded(0.0, error) == "0" and rounded(math.inf, error) == "-"


def test_a_tiny_error_leaves_six_digits() -> None:
    assert rounded(math.pi, 1e-12) == "3.14159"


def test_value_and_error_are_shown_in_the_unit() -> None:
    how = Quantity("mH")
    assert (how.text(0.0305, 0.0006), how.error(0.0006), how.text(None), how.error(None)) == (
        *("30.5 mH", "0.6"),
        *("-", ""),
    )
    with pytest.raises(InvalidValue, match=r"^a number has a known unit: unit is 'furlong', allowed is "):
        quantity("furlong")


def test_a_field_is_found_by_its_dotted_name_in_whatever_may_hold_it() -> None:
    @dataclass(frozen=True)
    class Drawer:
        poles: tuple[Pole, ...] | None = None
        height: float = field(default=1.0, metadata=quantity("mm"))

    assert quantities(Drawer) == {"height": Quantity("mm")}
    assert quantity_of(Machine, "rotor_pole.shoe.neck.1") == Quantity("mm")
    assert quantity_of(Machine, "stator_pole.2.taper") == Quantity("deg")
    assert quantity_of(Machine, "rotor_pole.arch") is None
