"""What a correction says in words: what was found, what the readings cannot tell, and what would tell it."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from polefem.measured.causes import label, shown_cause
from polefem.measured.correction import LIKELY, Correction

__all__ = ["CONFUSED", "SILENT", "confused", "found_sentences", "told", "turns_sentence"]

#: A cause is told nothing of where this much of its tolerance is left; a pair is confused from this correlation on.
SILENT, CONFUSED = 0.9, 0.9


def found_sentences(correction: Correction) -> tuple[str, ...]:
    """Each cause as found, beside what was drawn."""
    said = []
    for name, value, deviation in zip(
        correction.names, correction.values, correction.deviations, strict=True
    ):
        how = shown_cause(name)
        drawn, allowed = correction.drawn[name], getattr(correction.tolerances, name)
        unit = f" {how.unit}" if how.unit else ""
        said.append(
            f"{label(name)}: {how.number(value, deviation)} +- {how.error(deviation)}{unit} "
            f"(drawn {how.number(drawn, allowed)} +- {how.error(allowed)}{unit})"
        )
    return (*said, *turns_sentence(correction))


def turns_sentence(correction: Correction) -> tuple[str, ...]:
    """How many turns a pole has, where the count was in doubt."""
    if correction.tolerances.turns == 0:
        return ()
    chance = correction.chances[correction.turns]
    sure = "" if chance > LIKELY else ", which the readings cannot tell from its neighbours"
    return (f"turns a pole: {correction.turns}, with {chance:.0%} chance{sure}",)


def told(correction: Correction) -> tuple[str, ...]:
    """A sentence on each cause that the readings say nothing of."""
    allowed = np.array([getattr(correction.tolerances, name) for name in correction.names])
    left = correction.deviations / allowed
    return tuple(
        f"The readings say nothing of the {label(name)}: {share:.0%} of its tolerance is left."
        for name, share in zip(correction.names, left, strict=True)
        if share > SILENT
    )


def confused(correction: Correction) -> tuple[str, ...]:
    """A sentence on each pair of causes that the readings cannot tell apart."""
    said = []
    for one, two in combinations(range(len(correction.names)), 2):
        r = float(correction.correlations[one, two])
        if abs(r) < CONFUSED:
            continue
        names = [label(correction.names[at]) for at in (one, two)]
        way = (
            "more of the one is as good as more of the other"
            if r < 0
            else "more of the one undoes more of the other"
        )
        said.append(
            f"The readings cannot tell {names[0]} from {names[1]}: {way} (correlation {r:+.2f}); what both do "
            "together is "
            "known far better than either."
        )
    return tuple(said)
