"""How sure an order is: error bars, ties, the chance that the first is the first, and what would settle it.

Each source of uncertainty has a random number, its deviation: one for all designs where they share it (a batch of
steel), else one for each. A figure is its value plus the linear effect times the deviation plus the curved effect times
its square. Many machines are drawn so; the chance that one is better than another is how often it came out so.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.params.quantity import percent
from polefem.ranking.order import Ranking
from polefem.study import Effect, braking, more_is_better

__all__ = ["Uncertainty", "uncertainty_of"]

Array = NDArray[np.float64]
_DRAWS = 20_000
_SURE = 0.95


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """Error bars of the first designs of a ranking, and what follows from them.

    figure: whose order is in question. names: of the designs, in order. values: shape (n,). deviations: standard
    deviation of each, shape (n,). by_source: deviation due to each source alone, each of shape (n,). first: chance of
    each to be the best of them, shape (n,). ahead: chance of each to be better than the next, shape (n - 1,). unknown:
    sources whose effect could not be computed, with the design. one_sided: those had from one side alone. advice: what
    to measure or refine next, in one sentence. brakes: whether the figure is a braking torque, below 0.
    """

    figure: str
    names: tuple[str, ...]
    values: Array
    deviations: Array
    by_source: Mapping[str, Array]
    first: Array
    ahead: Array
    unknown: tuple[str, ...]
    one_sided: tuple[str, ...]
    advice: str
    brakes: bool = False

    @property
    def tied(self) -> NDArray[np.bool_]:
        """Whether each is tied with the next: neither is better with 95 % chance; shape (n - 1,)."""
        return self.ahead < _SURE

    def __repr__(self) -> str:
        return f"Uncertainty(about {self.figure} of {len(self.names)}: first with {self.first[0]:.0%}, {self.advice})"


def uncertainty_of(ranking: Ranking, effects: Mapping[str, Sequence[Effect]], seed: int = 0) -> Uncertainty:
    """The uncertainty about those designs of a ranking whose effects are known, by name; at least one."""
    shown = [record for record in ranking.ordered if record.name in effects]
    names = tuple(record.name for record in shown)
    values: Array = np.array(
        [r.figures.value(ranking.by) for r in shown if r.figures is not None], dtype=np.float64
    )
    sources = list(dict.fromkeys(effect.source for name in names for effect in effects[name]))
    random = np.random.default_rng(seed)
    drawn = {source: _drawn(source, names, effects, random) for source in sources}
    total = values + sum(drawn.values(), np.zeros((_DRAWS, len(names))))
    brakes = braking(shown, ranking.by)
    if more_is_better(ranking.by) and not brakes:
        total = -total
    first = np.bincount(total.argmin(axis=1), minlength=len(names)) / _DRAWS
    ahead = (total[:, :-1] < total[:, 1:]).mean(axis=0) if len(names) > 1 else np.empty(0)
    unknown = tuple(f"{e.source} of {name}" for name in names for e in effects[name] if e.sides == 0)
    one_sided = tuple(
        f"{e.source} of {name}" for name in names for e in effects[name] if 0 < e.sides < e.asked
    )
    return Uncertainty(
        ranking.by,
        names,
        values,
        total.std(axis=0),
        {source: change.std(axis=0) for source, change in drawn.items()},
        first,
        ahead,
        unknown,
        one_sided,
        _advice(names, ahead, drawn),
        brakes,
    )


def _drawn(
    source: str, names: Sequence[str], effects: Mapping[str, Sequence[Effect]], random: np.random.Generator
) -> Array:
    """Changes of the figure due to one source, shape (draws, n)."""
    of = [next((e for e in effects[name] if e.source == source), Effect(source)) for name in names]
    own = random.standard_normal((_DRAWS, len(names)))
    z = np.where([effect.shared for effect in of], own[:, :1], own)
    change: Array = np.array([e.linear for e in of]) * z + np.array([e.curved for e in of]) * z**2
    return change


def _advice(names: Sequence[str], ahead: Array, drawn: Mapping[str, Array]) -> str:
    if ahead.size == 0:
        return "there is nothing to compare it with"
    if ahead[0] >= _SURE:
        return f"{names[0]} is first, with {percent(ahead[0])} chance to be better than {names[1]}"
    spread = {source: (change[:, 0] - change[:, 1]).var() for source, change in drawn.items()}
    worst = max(spread, key=spread.__getitem__)
    share = spread[worst] / max(sum(spread.values()), np.finfo(float).tiny)
    what = "refine the mesh" if worst == "mesh" else f"narrow or measure this: {worst}"
    return (
        f"{names[0]} and {names[1]} are tied ({percent(ahead[0])} against {percent(1 - ahead[0])}); "
        f"{percent(share)} of the uncertainty between them is in one source, so {what}"
    )
