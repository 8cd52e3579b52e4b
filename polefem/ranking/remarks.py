"""What a person should know of a study before its figures: shapes without a place, and figures beyond the usual.

What is usual, all by common practice: coils in still air that carry up to 6 A/mm², root mean square over a turn; a case
up to 60 K warmer than the room, which leaves copper up to 20 K warmer than the case within the 80 K of class B; phases
that are fed up to 400 times a second, above which sheets of 0.5 mm give way to thinner ones.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence

from polefem.ranking.order import Ranking
from polefem.study import Design, quantity_of_figure

__all__ = ["remarks"]

_DENSITY, _RISE, _FREQUENCY = 6e6, 60.0, 400.0  # A/m2, K, Hz
_OF_MANY = {"is": "are", "was": "were", "carries": "carry", "gets": "get"}
_NAMED = 4  # shapes that are named, before "and 3 more"


def remarks(ranking: Ranking, designs: Mapping[str, Design]) -> tuple[str, ...]:
    """Sentences, the most pressing first; empty where there is nothing to say. designs: by name."""
    count = len(ranking.ordered) + len(ranking.unranked)
    aside = Counter(what for _, what, _ in ranking.unranked)
    said = [
        f"{_share(aside[what], count)} {_of_all(what, aside[what])}: "
        f"{_names([record.name for record, kind, _ in ranking.unranked if kind == what])}."
        for what in aside
    ]
    return (*said, *_densities(ranking, designs), *_rises(ranking), *_frequencies(designs))


def _densities(ranking: Ranking, designs: Mapping[str, Design]) -> list[str]:
    found: dict[str, float] = {}
    for record in ranking.ordered:
        if record.figures is not None and record.name in designs:
            dwell = record.figures.switching.heating_dwell
            share = dwell / designs[record.name].machine.rotor_pitch
            found[record.name] = record.figures.current_density * math.sqrt(min(share, 1.0))
    usual = (
        f"coils in still air carry about {_DENSITY * 1e-6:g} A/mm², root mean square over a turn, for long"
    )
    what = "carries a current density beyond the usual"
    return _beyond(found, _DENSITY, what, "current_density", usual)


def _rises(ranking: Ranking) -> list[str]:
    found = {
        record.name: record.figures.most_rise for record in ranking.ordered if record.figures is not None
    }
    usual = f"above {_RISE:g} K the copper inside gets too warm for insulation of class B"
    return _beyond(found, _RISE, "gets warmer outside than usual", "most_rise", usual)


def _frequencies(designs: Mapping[str, Design]) -> list[str]:
    fed = 0.0
    for design in designs.values():
        plan = design.original_plan
        speeds = [abs(getattr(point, "speed", None) or 0.0) for point in plan.operating_points]
        speeds += [] if plan.turning is None else [abs(plan.turning.speed)]
        fed = max([fed, *(design.base.rotor_poles * speed / math.tau for speed in speeds)])
    if fed <= _FREQUENCY:
        return []
    usual = f"above {_FREQUENCY:g} Hz sheets thinner than 0.5 mm are usual"
    return [f"Each phase is fed up to {fed:.0f} times a second: {usual}."]


def _beyond(found: Mapping[str, float], most: float, what: str, figure: str, usual: str) -> list[str]:
    """One sentence where a figure is above what is usual."""
    beyond = sorted((name for name, value in found.items() if value > most), key=lambda name: -found[name])
    if not beyond:
        return []
    worst = quantity_of_figure(figure).text(found[beyond[0]])
    return [
        f"{_share(len(beyond), len(found))} {_of_all(what, len(beyond))}, up to {worst} in {beyond[0]}: {usual}."
    ]


def _of_all(what: str, count: int) -> str:
    """What became of one shape, said of so many.

    >>> _of_all("is outside the limits", 2), _of_all("could not be built", 2)
    ('are outside the limits', 'could not be built')
    """
    one, _, rest = what.partition(" ")
    return what if count == 1 else f"{_OF_MANY.get(one, one)} {rest}"


def _share(part: int, whole: int) -> str:
    return f"{part} of {whole} {'shape' if whole == 1 else 'shapes'}"


def _names(names: Sequence[str]) -> str:
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")
