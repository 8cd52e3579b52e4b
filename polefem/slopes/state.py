"""Slopes of one solved state: co-energy, flux linkages and torque in every field at once.

With F(A; X, theta, i) the discrete energy less source per length and A its minimum, co-energy is -F times the scale.
Its slope in a field that moves the nodes along V is -dF/dX . V at fixed A. Flux linkages and torque are its derivatives
in i and theta, so their slopes are those of -dF/dX . V along dA/di and dA/dtheta, and each of these takes one solution
with the tangent matrix, which serves every field (the adjoint method). Of the gap's ring only the places of the nodes
along its circles change (`polefem.gap.Sliding`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.gap import Sliding
from polefem.slopes.fields import Move
from polefem.slopes.forces import Forces, LoadedField
from polefem.solve import Coupled, FactorCache, tangent_solutions

__all__ = ["Movable", "StateSlopes"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class StateSlopes:
    """Slopes of what a section does at one angle under one set of phase currents, per unit of each field.

    coenergy, torque: ndarrays, shape (n_fields,), J and N m. flux_linkages: ndarray, shape (n_phases, n_fields), Wb; 0
    for phases not asked for. torque_per_current: ndarray, shape (n_phases,), N m/A: the torque's slope in each current.
    """

    coenergy: Floats
    flux_linkages: Floats
    torque: Floats
    torque_per_current: Floats


class Movable:
    """A section's model with all that its fields move, ready to turn solutions into slopes."""

    def __init__(self, forces: Forces, moves: Sequence[Move]) -> None:
        self._forces = forces
        self._moves = moves
        # Of every force the part along each field's move: one product for all fields.
        nodes = [move.way.nodes for move in moves]
        velocities = [np.stack([own.real, own.imag], axis=1).ravel() for own in nodes]
        self._velocity = np.array(velocities).reshape(len(moves), 2 * forces.nodes).T.copy()
        traces = forces.model.rotor_trace, forces.model.stator_trace
        corners = sum(len(trace.angles) // 2 + 1 for trace in traces)
        self._slides = np.array([move.way.slides for move in moves]).reshape(len(moves), corners).T
        self._sliding: Sliding | None = None
        self._growth = np.array([move.length for move in moves])

    def slopes(
        self,
        coupled: Coupled,
        unknowns: Floats,
        currents: Floats,
        cache: FactorCache,
        phases: Sequence[int],
        reduction: float = 1e-6,
    ) -> StateSlopes:
        """The slopes at a solution, shape (size,), under currents (A), shape (n_phases,); flux linkages of `phases`.

        reduction: of the residuals of the adjoint solutions.
        """
        model = self._forces.model
        turned = -coupled.turned(unknowns)
        steps = tangent_solutions(
            coupled, unknowns, [turned, *(model.loads[k] for k in phases)], cache, reduction
        )
        field = self._forces.at(unknowns, currents)
        if self._sliding is None:
            self._sliding = Sliding(coupled.system.gap)
        across = model.rotor_at, model.stator_at
        ring = self._sliding.field(coupled.angle, *(unknowns[at] for at in across))
        coenergy = -self._along(field.own(), ring.own()) - self._by_steel(field, None)
        turning = ring.along(*(steps[0][at] for at in across)) + ring.turned()
        torque = -self._along(field.along(steps[0]), turning) - self._by_steel(field, steps[0])
        linkages = np.zeros((len(model.loads), len(self._moves)))
        for phase, step in zip(phases, steps[1:], strict=True):
            moments = ring.along(*(step[at] for at in across))
            linkages[phase] = -self._along(field.along(step) + field.of_current(phase), moments)
            linkages[phase] -= self._by_steel(field, step)
        energy = coupled.state(unknowns).energy
        coenergy += self._growth * (float(currents @ model.loads @ unknowns) - energy)
        torque += self._growth * coupled.torque(unknowns) / model.scale
        linkages += np.outer(model.loads @ unknowns, self._growth)
        return StateSlopes(
            model.scale * coenergy,
            model.scale * linkages,
            model.scale * torque,
            model.scale * (model.loads @ steps[0]),
        )

    def _along(self, forces: Floats, moments: Floats) -> Floats:
        """The work of forces on the nodes and of moments on those along the gap's circles, by each field's move."""
        work: Floats = forces.ravel() @ self._velocity + moments @ self._slides
        return work

    def _by_steel(self, field: LoadedField, change: Floats | None) -> Floats:
        """Slope of the energy, or of its change along a direction, in what a field changes of the steels."""
        found = np.zeros(len(self._moves))
        for at, move in enumerate(self._moves):
            for weight, pair in move.steels:
                steels = [*pair, *(iron.steel for iron in self._forces.model.irons[2:])]
                energy = (
                    field.iron_energy(steels) if change is None else field.iron_energy_along(change, steels)
                )
                found[at] += weight * energy
        return found
