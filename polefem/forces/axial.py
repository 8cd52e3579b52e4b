"""The attraction of the discs of an axial machine: it loads the bearing, and bends the discs into the gap.

From Maxwell's stress on the plane midway across the gap, as the pull on the poles. It is how co-energy falls as the gap
widens, which the tests hold it against.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.field import BuiltMachine, built, pole_pull
from polefem.params import Machine, MeshSpec, made_of_discs
from polefem.params.checks import increasing

__all__ = ["Attraction", "disc_attraction"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Attraction:
    """Attraction across one gap over angle and current, the first phase conducting alone.

    angles: ndarray, shape (n_angles,), rad. currents: ndarray, shape (n_currents,), A. force: ndarray, shape
    (n_currents, n_angles), N: draws the discs together. gaps: of the machine; on the disc between two the attractions
    of both cancel as far as its gaps are alike, and each outer disc bears one.
    """

    angles: Floats
    currents: Floats
    force: Floats
    gaps: int

    def __post_init__(self) -> None:
        for array in (self.angles, self.currents, self.force):
            array.flags.writeable = False

    @property
    def most(self) -> float:
        """The highest, N: what the bearing must bear."""
        return float(self.force.max())

    def __repr__(self) -> str:
        return (
            f"Attraction({len(self.currents)} currents to {self.currents[-1]:.4g} A x {len(self.angles)} angles: up "
            f"to {self.most:.4g} N across {'each of two gaps' if self.gaps == 2 else 'the gap'})"
        )


def disc_attraction(
    machine: Machine | BuiltMachine,
    angles: ArrayLike,
    currents: ArrayLike,
    mesh: MeshSpec | str | None = None,
) -> Attraction:
    """Attraction of the discs of an axial machine at angles (rad, increasing) and currents (A, increasing).

    Raises InvalidValue for a machine that is not axial and for wrong lists, and as `pole_pull` does.
    """
    whole = built(machine, mesh)
    known = whole.machine
    if not made_of_discs(known):
        rule = "discs attract each other along the shaft"
        raise InvalidValue(refusal(rule, "machine", type(known).__name__, "an AxialMachine"))
    turned = increasing("the angles must increase", "angles", angles, "rad")
    levels = increasing("the currents must increase", "currents", currents, "A")
    one = np.zeros(known.phases.count)
    one[0] = 1.0
    gaps = known.halves
    # A half that stands for both counts the pull across both gaps.
    rows = [pole_pull(whole, turned, level * one).pull.sum(axis=1) / gaps for level in levels.tolist()]
    return Attraction(turned, levels, np.array(rows), gaps)
