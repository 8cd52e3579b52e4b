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


def _rig(rows: Rows) -> str:
    case, own = "locked rig of solid steel", "the tool's own curve"

    def parts(quantity: str) -> str:
        found = [
            rows[case, f"part of the missing {quantity} that the end corrections add, {f}"] for f in FILLINGS
        ]
        return ", ".join(f"{row.computed:.0%}" for row in found)

    flat, ends = (rows[case, f"torque, {kind}, {own}, measured"] for kind in ("flat", "with end corrections"))
    early, late = (rows[case, f"current {name}"] for name in (EARLY, "300 ms after the step"))
    most = max(
        row.difference for (name, quantity), row in rows.items() if name == case and "current" in quantity
    )
    return f"""\
TEAM Workshop problem 24, measured: two poles each, a hub, a gap of 2.7 mm behind a stack of 25.4 mm, locked at 22
degrees; `geometries/rotational_rig.toml`, through the generator (`single_phase = true` allows such a rig).

Nothing is fitted. The sheet's B-H table is empty between 0 and 4000 A/m, and that one choice is open: it is filled by a
straight line, by the curve that the tool draws through the published points by itself, or by three points put in. All
three stand in the table; the fillings at both ends are also held against flat sections by general libraries. All else
is prediction.

**What a flat section lacks.** With the tool's own curve the torque is {flat.difference:+.1%} off the measurement. The
end corrections, formulas that are the same for every machine, bring that to {ends.difference:+.1%}. Of the torque that
is missing they add {parts("torque")} with the three fillings, of the rotor's flux {parts("rotor pole flux")}: over
100 % is too much. They are good to some 30 %, and the filling matters as much as they do.

**The step of 23.1 V.** The current follows from the flux linkage at 22 degrees, end corrections included, and the
winding's 3.09 ohm. The measured rise is faster at first ({-early.difference:.0%} at 2 ms), for eddy currents in the
solid steel hold its flux back: that is outside the model. From 30 ms on the computed current is at most {most:.1%} too
large, and it ends {late.difference:+.1%} from the measured one, which is the resistance of the winding as measured
(23.10 V over 7.41 A) against that of the sheet."""


FILLINGS = ("a straight line", "the tool's own curve", "three points put in")
EARLY = "2 ms after the step, eddy currents outside the model"
CASES: tuple[Case, ...] = (
    Case("8/6 machine in linear iron", _tested_8_6),
    Case("locked rig of solid steel", _rig),
)
