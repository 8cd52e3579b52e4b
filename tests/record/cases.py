"""What each case of the record is, in words whose numbers come from its rows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tests.record.check import Row

__all__ = ["CASES", "Case", "Rows"]

Rows = dict[tuple[str, str], Row]


@dataclass(frozen=True)
class Case:
    """A case by its name, and what to say of it."""

    name: str
    text: Callable[[Rows], str]


def _worst(rows: Rows, case: str, words: str) -> float:
    """Largest relative difference among the rows of a case whose quantity holds some words."""
    own = [row for (name, quantity), row in rows.items() if name == case and words in quantity]
    return max(abs(row.difference) for row in own)


def _tested_8_6(rows: Rows) -> str:
    case = "8/6 machine in linear iron"
    sums = rows[case, "published torque added up from 0 to 27 deg, over the published drop of co-energy"]
    peak, own = rows[case, "co-energy at 0 deg"].published, rows[case, "co-energy at 27 deg"].published
    mean = rows[case, "mean torque from 3 to 18 deg, over the drop of computed co-energy"]
    third = _worst(rows, case, "third-order elements")
    parting = rows[case, "co-energy at 21 deg, second-order elements"].difference
    return f"""\
The section of `geometries/tested_8_6.toml`, drawn by the generator as any machine is: rotor valleys of one arc, a solid
core of the rotor's iron, coil sides in two steps, air round the yoke. Iron of one permeability, 10 A in one phase.

**Use the published co-energy, not the published torque.** Torque is the slope of co-energy, so that over any span of
angle it adds up to the drop of co-energy. From 0 to 27 degrees the published co-energy drops by
{peak:.3f} - {own:.3f} = {sums.published:.3f} J. The published torque, added up by trapezoids over the same points,
gives {sums.computed:.2f} J, {sums.difference:.0%} more. No check is made against it. Here both are one: over 3 to 18
degrees our torque has a mean of {mean.computed:.3f} N m, and the drop of the computed co-energy asks for
{mean.published:.3f} N m.

Two sets of computed references stand beside the published curve. The second-order one lies below what it converges to,
as an approximated potential must, and most where the poles part: {parting:.2%} at 21 degrees, which is why that row has
a wider limit. Third-order elements on eight times as many unknowns agree with ours to {third:.2%} everywhere."""


CASES: tuple[Case, ...] = (Case("8/6 machine in linear iron", _tested_8_6),)
