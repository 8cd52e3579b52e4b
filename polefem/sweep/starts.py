"""What fields of phases together start from: those of each alone, as the map of one phase left them, added up."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from polefem.field import BuiltMachine, turned
from polefem.params import Symmetry
from polefem.sweep.alike import alone
from polefem.sweep.single import Results

__all__ = ["Superposed"]

Floats = NDArray[np.float64]


class Superposed:
    """Fields of phases alone, added up. results: of phase 0, with its fields; without them all sums are 0.

    (To add what every two of three phases do to each other saves no steps of fields of three.)
    """

    def __init__(self, whole: BuiltMachine, results: Results, ways: Sequence[Symmetry]) -> None:
        self._whole, self._results = whole, results
        self._ways = [alone(phase, ways) for phase in range(whole.machine.phases.count)]
        self._turned: dict[tuple[int, int, int, bool], tuple[NDArray[np.int64], Floats]] = {}

    def at(self, section: int, angle: float, phases: Sequence[int], currents: Sequence[Floats]) -> Floats:
        """At an angle (rad), at every set of currents, each phase's (A) of shape (m,): (m,) * k + (size,)."""
        model, k = self._whole.systems[section].model, len(phases)
        total = np.zeros((*map(len, currents), model.size))
        if self._results.fields:
            for axis, (phase, own) in enumerate(zip(phases, currents, strict=True)):
                shape = [1] * k
                shape[axis] = len(own)
                total += self._of(section, angle, phase, own).reshape(*shape, model.size)
        return total

    def _of(self, section: int, angle: float, phase: int, currents: Floats) -> Floats:
        """Of one phase, shape (m, size), straight between the angles and currents of the map."""
        results, way, pitch = self._results, self._ways[phase], self._whole.machine.rotor_pitch
        assert way is not None
        own = (angle - way.shift + pitch / 2) % pitch - pitch / 2
        mirrored = self._whole.mirror and own < 0.0
        place = abs(own) if mirrored else own
        index, sign = self._image(section, way.turned, own, angle, mirrored)
        after = int(np.searchsorted(results.angles, place))
        low, high = np.clip([after - 1, after], 0, len(results.angles) - 1).tolist()
        width = results.angles[high] - results.angles[low]
        u = (place - results.angles[low]) / width if width else 0.0
        fields = results.fields[section]
        table = (1.0 - u) * fields[low] + u * fields[high]
        levels = np.append(0.0, results.currents)
        shares = np.array([np.interp(currents, levels, row) for row in np.eye(len(levels))[1:]])
        found: Floats = (shares.T @ table)[:, index] * (way.sign[0] * sign)
        return found

    def _image(
        self, section: int, turns: int, before: float, angle: float, mirrored: bool
    ) -> tuple[NDArray[np.int64], Floats]:
        """Where unknowns come from once a field is mirrored, so that its rotor stands at `before` (rad), and turned by
        some stator poles, so that it stands at an angle (rad) or whole pitches from there."""
        machine = self._whole.machine
        turn = turns / machine.stator_poles
        ahead = round((turn * 2 * np.pi + before - angle) / machine.rotor_pitch)
        key = section, ahead, turns, mirrored
        if key not in self._turned:
            model = self._whole.systems[section].model
            self._turned[key] = turned(model, (ahead / machine.rotor_poles, turn), mirrored)
        return self._turned[key]
