"""Flux linkages of phases that rest, from the fields of the one that conducts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from polefem.params import Machine, Symmetry
from polefem.sweep.alike import alone
from polefem.sweep.single import Results

__all__ = ["Idle"]

Floats = NDArray[np.float64]


class Idle:
    """Flux linkages of the phases that rest while one conducts, over angle and current, as splines."""

    def __init__(self, results: Results, machine: Machine, ways: Sequence[Symmetry]) -> None:
        self._pitch, self._stroke = machine.rotor_pitch, machine.stroke
        self._ways = [alone(phase, ways) for phase in range(machine.phases.count)]
        angles, linkages = results.angles, results.linkages
        mirror = next(
            (way for way in ways if way.sense == -1 and way.phase[0] == 0 and _near(way.shift, self._pitch)),
            None,
        )
        if mirror is not None:
            inner = (angles > 1e-9) & (angles < self._pitch / 2 - 1e-9)
            flipped = np.empty_like(linkages)
            for phase, (onto, sign) in enumerate(zip(mirror.phase, mirror.sign, strict=True)):
                flipped[onto] = sign * mirror.sign[0] * linkages[phase]
            kept = angles >= -1e-9
            angles = np.concatenate([-angles[inner][::-1], angles[kept]])
            linkages = np.concatenate([flipped[..., inner][..., ::-1], linkages[..., kept]], axis=-1)
        closed = np.concatenate([angles, angles[:1] + self._pitch])
        linkages = np.concatenate([linkages, linkages[..., :1]], axis=-1)
        self._around = CubicSpline(closed, linkages, axis=-1, bc_type="periodic")
        self._currents = np.concatenate([[0.0], results.currents])

    def at(self, phase: int, angles: Floats, currents: Floats, turned: int = 0, raised: int = 0) -> Floats:
        """Flux linkages of all phases while one conducts, Wb, shape (n_phases, n_angles, n_currents), or how they
        change: turned, raised are the orders of the derivative in the angle and in the current, 0 or 1."""
        own = self._around(angles - phase * self._stroke, turned)
        own = np.concatenate([np.zeros_like(own[:, :1]), own], axis=1)
        if len(self._currents) > 2:
            rest = np.zeros(own[:, 0].shape)
            spline = CubicSpline(self._currents, own, axis=1, bc_type=((2, rest), "not-a-knot"))
            levels = spline(currents, raised)
        else:
            part = np.full(currents.shape, 1.0) if raised else currents
            levels = own[:, 1:] * (part / self._currents[1])[:, None]
        found = np.empty((len(own), len(angles), len(currents)))
        way = self._ways[phase]
        assert way is not None
        for source, (onto, sign) in enumerate(zip(way.phase, way.sign, strict=True)):
            found[onto] = sign * way.sign[0] * levels[source].T
        return found


def _near(shift: float, pitch: float) -> bool:
    return abs(shift / pitch - round(shift / pitch)) < 1e-6
