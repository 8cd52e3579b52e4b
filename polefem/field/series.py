"""The fields of one section at angles and under currents, one after the other.

What turning or mirroring the machine onto itself makes of a field that is known is not solved again. The others begin
with the field before, where it is near enough.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.errors import SolveFailed
from polefem.field.built_machine import BuiltMachine
from polefem.field.transfer import turned
from polefem.model import Model
from polefem.outline import Outline
from polefem.solve import Coupled, FactorCache, System, minimise

__all__ = ["Image", "SolvedField", "images", "solved_series"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: States lie further apart than the points of a map, so a kept factor that does not lead soon is given up sooner, and
#: one made when most of the way is gone serves all the rest.
PATIENCE, GLANCE, NEAR, WORN = 12, 4, 0.1, 100
#: Angles (rad), and currents in parts of a state's largest, that are no further apart than this are the same: it
#: changes a field less than the solution's tolerance does.
SAME_ANGLE, SAME_CURRENT = 1e-9, 1e-6
#: From a field of other phases, or of a rotor that has turned by more than this part of its pitch since, the way is
#: longer than from none: up to twice as long. (From none, with iron as it was before, it is no shorter.)
FAR = 1 / 12


@dataclass(frozen=True)
class Image:
    """How a state comes of an earlier one: mirrored about the axis of the first poles or not, then turned.

    source: number of the earlier one. mirrored, turns: as `turned` takes them. sign: -1 where all currents then run the
    other way.
    """

    source: int
    mirrored: bool
    turns: tuple[float, float]
    sign: int


@dataclass(frozen=True, eq=False)
class SolvedField:
    """unknowns: ndarray, shape (size,), Wb/m. torque: N m, coenergy: J, of all sectors. message: how it was found."""

    unknowns: Floats
    torque: float
    coenergy: float
    message: str


def images(whole: BuiltMachine, angles: Floats, currents: Floats) -> list[Image | None]:
    """How each state comes of an earlier one, itself no image; None where it comes of none.

    angles: rad, shape (n,). currents: of the phases, A, shape (n, n_phases). A state is known by what runs round the
    stator's poles, whichever phase it is of: under some currents phases take each other's place that do not under all.
    """
    machine, n = whole.machine, len(angles)
    poles, pitch = machine.stator_poles, machine.rotor_pitch
    unit = math.lcm(*(outline.stator.unit_poles for outline in whole.sections))
    repeat = math.lcm(*(outline.rotor.unit_poles for outline in whole.sections)) * pitch
    around = currents[:, machine.phases.of_pole] * np.array(machine.phases.polarity)
    ways = [(sense, by) for sense in ((1, -1) if whole.mirror else (1,)) for by in range(0, poles, unit)]
    found: list[Image | None] = [None] * n
    for k in range(1, n):
        earlier = np.array([image is None for image in found[:k]])
        close = SAME_CURRENT * np.abs(around[k]).max()
        for sense, by in ways:
            # Where the rotor stood, and what ran round the poles, before the machine was mirrored and turned.
            place, ran = sense * (angles[k] - by * 2 * math.pi / poles), np.roll(around[k], -by)
            ran = ran[sense * np.arange(poles) % poles]
            off = (angles[:k] - place) / repeat
            there = earlier & (np.abs(off - np.round(off)) * repeat < SAME_ANGLE)
            signed = {
                sign: np.flatnonzero(there & (np.abs(around[:k] - sign * ran).max(axis=1) <= close))
                for sign in (1, -1)
            }
            sign = next((sign for sign, which in signed.items() if which.size), None)
            if sign is not None:
                source = int(signed[sign][0])
                ahead = round(sense * float(angles[source] - place) / pitch) % machine.rotor_poles
                found[k] = Image(source, sense < 0, (ahead / machine.rotor_poles, by / poles), sign)
                break
    return found


def solved_series(
    outline: Outline,
    system: System,
    angles: Floats,
    currents: Floats,
    known: Sequence[Image | None] | None = None,
) -> Iterator[SolvedField]:
    """The fields at angles (rad), shape (n,), under phase currents (A), shape (n, n_phases), each as it is asked for.

    known: how they come of earlier ones, as `images` says; without it all are solved, as they must be where one side of
    the gap has moved. Raises SolveFailed where Newton's method does not converge.
    """
    known = [None] * len(angles) if known is None else known
    awaited = {image.source for image in known if image is not None}
    taken = _Images(system.model)
    cache = FactorCache(patience=PATIENCE, glance=GLANCE, near=NEAR, worn=WORN)
    coupled: Coupled | None = None
    kept: dict[int, SolvedField] = {}
    near = FAR * outline.rotor.row.pitch
    last = np.zeros(system.size)
    for k, (angle, row, image) in enumerate(zip(angles.tolist(), currents, known, strict=True)):
        if image is not None:
            found = taken.of(image, kept[image.source], math.degrees(angles[image.source]))
        else:
            if coupled is None or angle != coupled.angle:
                # The gap's coupling is another: a factor kept from there would hardly lead.
                coupled, cache.factor = system.at(angle), None
                if k and (abs(angle - angles[k - 1]) > near or ((row != 0) != (currents[k - 1] != 0)).any()):
                    last = np.zeros(system.size)
            solution = minimise(coupled, row @ system.model.loads, last, cache)
            if not solution.converged:
                raise SolveFailed(f"the field at {np.degrees(angle):.4g} deg and {row} A: {solution.message}")
            coenergy = system.model.scale * (solution.work - solution.energy)
            torque = coupled.torque(solution.unknowns)
            found = SolvedField(solution.unknowns, torque, coenergy, solution.message)
        if k in awaited:
            kept[k] = found
        last = found.unknowns
        yield found


class _Images:
    """What turning and mirroring make of fields of a model."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._ways: dict[tuple[tuple[float, float], bool], tuple[Ints, Floats]] = {}

    def of(self, image: Image, source: SolvedField, degrees: float) -> SolvedField:
        """The image of a field that was solved at an angle in degrees."""
        way = image.turns, image.mirrored
        if way not in self._ways:
            self._ways[way] = turned(self._model, *way)
        index, signs = self._ways[way]
        unknowns = image.sign * signs * source.unknowns[index]
        message = f"taken from {degrees:.4g} deg, where it {source.message}"
        return SolvedField(
            unknowns, -source.torque if image.mirrored else source.torque, source.coenergy, message
        )
