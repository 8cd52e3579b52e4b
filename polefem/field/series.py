"""The fields of one section at angles and under currents, one after the other.

What turning or mirroring the machine onto itself makes of a field that is known is not solved again. The others begin
with the field before, where it is near enough.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product, takewhile

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

#: States lie further apart than the points of a map, so a kept factor that does not lead soon is given up sooner, one
#: from far away at once, and one made when most of the way is gone serves all the rest.
PATIENCE, GLANCE, WORN, AWAY, NEAR = 12, 4, 100, 0.1, 0.02
#: Angles (rad), and currents in parts of a state's largest, that are no further apart than this are the same: it
#: changes a field less than the solution's tolerance does.
SAME_ANGLE, SAME_CURRENT = 1e-9, 1e-6
#: Times as wide as these are cells in which what is the same is looked for.
CELL = 10.0
#: From a field of other phases, or of a rotor that has turned by more than this part of its pitch since, the way is
#: longer than from none: up to twice as long. (From none, with iron as it was before, it is no shorter.)
FAR = 1 / 12
#: Where it has turned by no more than this part, the factor that a state begins with serves it to the end.
CLOSE = 1 / 30
#: Angles that span no more than this part have their factors laid out together, at most so many of them: to lay one
#: out costs as much as two or three factors, and each angle more makes all of them a little larger.
SPAN, MOST = 1 / 24, 12


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
    seen = _Seen(whole, angles, currents)
    return [seen.image(k) for k in range(len(angles))]


class _Seen:
    """States that are no images, filed by where the rotor stood and by a sum over what ran round the poles.

    Cells are wider than what is taken for the same, and a state is filed in each that its like may lie in: so only
    what one cell holds is compared, and the work grows as the number of states does.
    """

    def __init__(self, whole: BuiltMachine, angles: Floats, currents: Floats) -> None:
        machine, phases = whole.machine, whole.machine.phases
        self._pitch, self._poles = machine.rotor_pitch, machine.rotor_poles
        self._repeat = whole.outline.rotor.unit_poles * machine.rotor_pitch
        self._angles, self._around = angles, currents[:, phases.of_pole] * np.array(phases.polarity)
        self._close = SAME_CURRENT * np.abs(self._around).max(axis=1)
        self._width = CELL * float(self._close.max(initial=0.0)) or 1.0
        # Sums of like states are as close, since these add up to 1; of unlike ones they hardly ever are.
        weights = np.sqrt(np.arange(1.0, machine.stator_poles + 1))
        weights /= weights.sum()
        self._sums = self._around @ weights
        self._filed: dict[tuple[int, int], list[int]] = {}
        self._ways = []
        for way in whole.turnings:
            # Where the rotor stood, and what ran round the poles, before the machine was mirrored and turned.
            places, sums = way.sense * (angles - way.shift), self._around[:, way.landing] @ weights
            for sign in (1, -1):
                cells = list(zip(self._stood(places), self._ran(sign * sums), strict=True))
                self._ways.append((way, sign, places, cells))

    def image(self, k: int) -> Image | None:
        """How a state comes of one that is filed; one that comes of none is filed itself."""
        for way, sign, places, cells in self._ways:
            for source in self._filed.get(cells[k], ()):
                off = float(self._angles[source] - places[k])
                if abs(math.remainder(off, self._repeat)) < SAME_ANGLE:
                    ran = sign * self._around[k, way.landing]
                    if np.abs(self._around[source] - ran).max() <= self._close[k]:
                        ahead = round(way.sense * off / self._pitch) % self._poles
                        turns = ahead / self._poles, way.turned / len(way.landing)
                        return Image(source, way.sense < 0, turns, sign)
        both = np.array([-2.0, 2.0])
        stood = self._stood(self._angles[k] + both * SAME_ANGLE)
        ran = self._ran(self._sums[k] + both * self._close[k])
        for cell in product(set(stood), set(ran)):
            self._filed.setdefault(cell, []).append(k)
        return None

    def _stood(self, places: Floats) -> list[int]:
        """The cells of angles (rad), of which a whole number fits into the angle over which the rotor repeats."""
        count = math.ceil(self._repeat / (CELL * SAME_ANGLE))
        cells: list[int] = (np.floor(places / self._repeat % 1.0 * count).astype(np.int64) % count).tolist()
        return cells

    def _ran(self, sums: Floats) -> list[int]:
        cells: list[int] = np.floor(sums / self._width).astype(np.int64).tolist()
        return cells


def solved_series(
    outline: Outline,
    system: System,
    angles: Floats,
    currents: Floats,
    known: Sequence[Image | None] | None = None,
    starts: Sequence[Floats] | Floats | None = None,
    trusted: float = 0.0,
) -> Iterator[SolvedField]:
    """The fields at angles (rad), shape (n,), under phase currents (A), shape (n, n_phases), each as it is asked for.

    known: how they come of earlier ones, as `images` says; without it all are solved, as they must be where one side of
    the gap has moved. starts: a field near each, shape (n, size), where such are known. trusted: error from which on
    the next step is the last, as `FactorCache` takes it. Raises SolveFailed where Newton's method does not converge.
    """
    known = [None] * len(angles) if known is None else known
    awaited = {image.source for image in known if image is not None}
    taken, kept = _Images(system.model), dict[int, SolvedField]()
    cache = FactorCache(patience=PATIENCE, glance=GLANCE, worn=WORN, far=AWAY, trusted=trusted)
    own, pitch = [image is None for image in known], outline.rotor.row.pitch
    places = _places(system, angles[own].tolist(), SPAN * pitch, cache)
    afar, close = _ways(angles / pitch, currents)
    last = np.zeros(system.size)
    for k, (row, image) in enumerate(zip(currents, known, strict=True)):
        if image is not None:
            found = taken.of(image, kept[image.source], math.degrees(angles[image.source]))
        else:
            coupled = next(places)
            begun = starts[k] if starts is not None else np.zeros(system.size) if afar[k] else last
            cache.near = 0.0 if starts is not None or close[k] else NEAR
            solution = minimise(coupled, row @ system.model.loads, begun, cache)
            if not solution.converged:
                where = f"{np.degrees(coupled.angle):.4g} deg and {row} A"
                raise SolveFailed(f"the field at {where}: {solution.message}")
            coenergy = system.model.scale * (solution.work - solution.energy)
            torque = coupled.torque(solution.unknowns)
            found = SolvedField(solution.unknowns, torque, coenergy, solution.message)
        if k in awaited:
            kept[k] = found
        last = found.unknowns
        yield found


def _ways(places: Floats, currents: Floats) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Of each state, whether the one before is too far to start from, and whether it is close. places: of the rotor, in
    pitches."""
    turns = np.abs(np.diff(places, prepend=places[:1]))
    flowing = currents != 0.0
    others = np.diff(flowing, axis=0, prepend=flowing[:1]).any(axis=1)
    return (turns > FAR) | ((turns > 0.0) & others), (turns > 0.0) & (turns <= CLOSE) & ~others


def _places(system: System, angles: Sequence[float], span: float, cache: FactorCache) -> Iterator[Coupled]:
    """The system at angles (rad), one after the other; the cache is told of those within a span (rad) together."""
    near: dict[float, Coupled] = {}
    for k, angle in enumerate(angles):
        if angle not in near:
            near = {other: system.at(other) for other in _ahead(angles[k:], span)}
            cache.together = tuple(near.values())
        if k and angle != angles[k - 1]:
            cache.factor = None  # the gap's coupling is another: one kept from there would hardly lead
        yield near[angle]


def _ahead(angles: Sequence[float], span: float) -> list[float]:
    """The first of some angles and those that follow it within a span, each once."""
    near = takewhile(lambda other: abs(other - angles[0]) <= span, angles)
    return list(dict.fromkeys(near))[:MOST]


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
