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


def _worst(rows: Rows, case: str, *words: str) -> float:
    """Largest relative difference among the rows of a case whose quantity holds all of some words."""
    own = [
        row
        for (name, quantity), row in rows.items()
        if name == case and all(word in quantity for word in words)
    ]
    return max(abs(row.difference) for row in own)


def _tested_8_6(rows: Rows) -> str:
    case = "8/6 machine in linear iron"
    sums = rows[case, "published torque added up from 0 to 27 deg, over the published drop of co-energy"]
    peak, own = rows[case, "co-energy at 0 deg"].published, rows[case, "co-energy at 27 deg"].published
    mean = rows[case, "mean torque from 3 to 18 deg, over the drop of computed co-energy"]
    energy, pull = (_worst(rows, case, "third-order elements", what) for what in ("co-energy", "torque"))
    parting = rows[case, "co-energy at 21 deg, second-order elements"].difference
    return f"""\
The section of `geometries/tested_8_6.toml`, drawn by the generator as any machine is: rotor valleys of one arc, a solid
core of the rotor's iron, coil sides in two steps, air round the yoke. Iron of one permeability, 10 A in one phase. What
differs from the source: its poles are wider by up to 0.06 mm at the root, and those without current carry no coil.
The machine is the paper's; its dimensions were read in an open transcription of 2014 whose author and licence were not
written down and are not known here: only measures and the published curve are taken from it.

**Use the published co-energy, not the published torque.** Torque is the slope of co-energy, so that over any span of
angle it adds up to the drop of co-energy. From 0 to 27 degrees the published co-energy drops by
{peak:.3f} - {own:.3f} = {sums.published:.3f} J. The published torque, added up by trapezoids over the same points,
gives {sums.computed:.2f} J, {sums.difference:.0%} more. No check is made against it. Here both are one: over 3 to 18
degrees our torque has a mean of {mean.computed:.3f} N m, and the drop of the computed co-energy asks for
{mean.published:.3f} N m.

Two sets of computed references stand beside the published curve. The second-order one lies below what it converges to,
as an approximated potential must, and most where the poles part: {parting:.2%} at 21 degrees, which is why that row has
a wider limit. Third-order elements agree with ours to {energy:.2%} of the co-energy and {pull:.2%} of the torque
everywhere."""


def _rig(rows: Rows) -> str:
    case, own = "locked rig of solid steel", "the tool's own curve"

    def parts(quantity: str) -> str:
        found = [
            rows[case, f"part of the missing {quantity} that the end corrections add, {f}"] for f in FILLINGS
        ]
        return ", ".join(f"{row.computed:.0%}" for row in found)

    flat, ends = (rows[case, f"torque, {kind}, {own}, measured"] for kind in ("flat", "with end corrections"))
    early, late = (rows[case, f"current {name}"] for name in (EARLY, "300 ms after the step"))
    knee = rows[case, "field strength at 1 T that the measured torque asks for, over the assumed one"]
    flux = rows[case, "rotor pole flux, with end corrections, at the knee that the measured torque asks for"]
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

**What the measurement asks of the knee.** Corrected as any machine on the bench is, by the steady torque alone and with
the knee alone left free, the three points put in ask for {knee.computed - 1:.0%} more field strength at 1 T. The
rotor's flux, which the correction never saw, is then {flux.difference:+.1%} off its own measurement.

**The step of 23.1 V.** The current follows from the flux linkage at 22 degrees, end corrections included, and the
winding's 3.09 ohm. At first it is too small, by {-early.difference:.0%} at 2 ms: eddy currents in the solid steel hold
the flux back and let the current in, which is outside the model. From 30 ms on the computed current is at most
{most:.1%} too large, and it ends {late.difference:+.1%} from the measured one, which is the winding as measured
(23.10 V over 7.41 A) against the resistance on the sheet."""


FILLINGS = ("a straight line", "the tool's own curve", "three points put in")
EARLY = "2 ms after the step, eddy currents outside the model"


def _elliptic(rows: Rows) -> str:
    case = "elliptic rotor in a disc"
    coarse = rows[case, "torque, on 848 elements"]
    return f"""\
A linear reluctance motor of the smallest size, through the rooms of field and gap: an elliptic rotor of permeability
5000 in a disc with two round coil sides, 100 turns, 10 A. The published torque of {coarse.published:g} mN m is that of
its coarse mesh, {coarse.difference:.1%} below what it converges to."""


def _textbook(rows: Rows) -> str:
    case = "textbook machines"
    excess = rows[case, "4/2, part of the inductance above the gap's own, over Roters' two edges a pole"]
    return f"""\
Machines worked by hand, in ideal iron: ours has a permeability that grows, and the part of the iron is taken out of
what is left of it. The textbook counts the gap under the faces alone. Flux beside the faces adds
{excess.computed:.1%} to the 4/2 machine's inductance; half cylinders and half hollow cylinders at its edges explain
{excess.published:.1%}, and are known to fall short."""


def _slots(rows: Rows) -> str:
    return """\
Flat sections drawn by hand and solved as any section is. Carter's coefficient less 1 is compared, the widening that the
slots make, and not the coefficient, most of which is the gap itself."""


def _ends(rows: Rows) -> str:
    case = "ends and windings by handbook formulas"
    worst = _worst(rows, case, "over the closed field")
    return f"""\
Copper and wire by their standards; the ring that stands for the end turns by Grover's and Nagaoka's values; Roters'
fringe, the formula of the end corrections, against a closed solution of the field at a pole's corner, from which it
strays by up to {worst:.0%}."""


def _strokes(rows: Rows) -> str:
    return """\
Phases and strokes of pole combinations, and the corners of the triangle of pole arcs within which a machine starts from
every angle and its poles part."""


def _steels(rows: Rows) -> str:
    case = "steels"
    spare = min(
        row.computed for (name, quantity), row in rows.items() if name == case and "spare" in quantity
    )
    return f"""\
The curves whose whole tables are published pass through every point of them. Every shipped curve of a graded sheet,
measured, of a data sheet or fitted, has more polarisation than its grade promises, {spare:.3f} T at least. Two makers
of one grade may differ by 40 % in field strength at the knee: `studies/wheel_two_makers.py` shows what that does to the
demo machine."""


def _ngsolve(rows: Rows) -> str:
    return """\
A general-purpose finite-element library, by its own mesher and third-order elements, the whole turn meshed anew at
every angle, air gap included; nothing of the field is shared. Flux linkage is compared relatively, torque by the peak
torque of its current. Machines drawn at random are compared at one random angle and current each."""


def _rings(rows: Rows) -> str:
    case = "rings that ring"
    exact = _worst(rows, case, "order 2, by finite elements")
    formula = _worst(rows, case, "order 2, by the formula of a thick ring")
    return f"""\
Plain rings of sheet, as the yoke of a machine: natural frequencies of a thin ring from energies that are added up
here, of a thick one from the exact solution in plane stress, a determinant of Bessel functions that is derived in the
test. No worked example of a handbook was at hand; the formulas are from memory, and held against what can be derived.
For order 2, the lowest, the formula of a thick ring is within {formula:.1%} of the exact one, the finite elements
within {exact:.1%} of what they are held against."""


CASES: tuple[Case, ...] = (
    Case("8/6 machine in linear iron", _tested_8_6),
    Case("locked rig of solid steel", _rig),
    Case("elliptic rotor in a disc", _elliptic),
    Case("textbook machines", _textbook),
    Case("slots by handbook formulas", _slots),
    Case("ends and windings by handbook formulas", _ends),
    Case("strokes and pole arcs", _strokes),
    Case("steels", _steels),
    Case("NGSolve", _ngsolve),
    Case("rings that ring", _rings),
)
