"""What is said of joining the coils the other way."""

from __future__ import annotations

from dataclasses import replace

from polefem.report.joining import Joining
from polefem.study import Figures
from polefem.units import deg

FIGURES = Figures(
    **{**dict.fromkeys(Figures.names(), 1.0), "ripple": 0.264, "mean_torque": 2.723},
    operating_points={},
)


def said(**otherwise: float) -> str:
    """The second sentence, with these figures where coils are joined otherwise."""
    found = Joining((1, 1, -1, -1), (1, -1, -1, 1), FIGURES, replace(FIGURES, **otherwise))
    return found.sentences[1]


def test_what_changes_is_said_beside_what_it_was() -> None:
    assert said(ripple=0.262, mean_torque=2.733) == (
        "Joined + - - + with the same copper, the winner has a ripple of 26.2 % instead of 26.4 % and a mean torque of "
        "2.733 N m instead of 2.723 N m."
    )


def test_what_reads_the_same_is_not_set_against_itself() -> None:
    assert said(ripple=0.26401).endswith("copper, the winner has the same ripple and mean torque.")


def test_other_angles_are_named_as_they_explain_another_torque() -> None:
    assert "copper, switched from -38.0 deg to -2.00 deg as suits that, the" in said(
        turn_on=-38 * deg, turn_off=-2 * deg
    )


def test_digits_are_those_that_the_error_leaves() -> None:
    otherwise = replace(FIGURES, ripple=0.262, mean_torque=2.733)
    errors = {"ripple": 0.006, "mean_torque": 0.04}
    found = Joining((1, 1, -1, -1), (1, -1, -1, 1), FIGURES, otherwise, errors)
    assert (
        "a ripple of 26.2 % instead of 26.4 % and a mean torque of 2.73 N m instead of 2.72 N m"
        in found.sentences[1]
    )
    rough = replace(found, errors={"ripple": 0.05, "mean_torque": 0.4})
    assert rough.sentences[1].endswith("the winner has the same ripple and mean torque.")
