"""The one search for a level: of a current that gives a torque or costs a loss, of a torque that costs a loss."""

from __future__ import annotations

import math
from collections.abc import Callable

__all__ = ["level_for"]

_LEAST_POWER, _FLAT = 0.3, 0.02


def level_for(
    gives: Callable[[float], float | None],
    wanted: float,
    guess: float,
    limit: float,
    close: float,
    *,
    power: float = 1.5,
    tries: int = 12,
) -> float | None:
    """The level, above 0, at which `gives` returns `wanted`, to a share of `close`; None where none up to `limit` does.

    What a level gives goes as a power of it between two (iron as in the books) and nought (a level out of the supply's
    reach), so that secants are drawn in logarithms, from a `guess` and a `power` to begin with. They go up by a factor
    of e at most, so that the lowest of several levels is found and none far beyond is tried; between two levels that
    give too little and too much, they give way to halving where they leave them. `gives` returns None where a level has
    no meaning.
    """
    level, last = min(guess, limit), None
    low, high = 0.0, math.inf
    for _ in range(tries):
        given = gives(level)
        if given is None or given <= 0.0:
            return None
        if abs(given / wanted - 1.0) < close or high - low < close * low:
            return level
        low, high = (level, high) if given < wanted else (low, level)
        if last is not None and level != last[0]:
            power = math.log(given / last[1]) / math.log(level / last[0])
        if given < wanted and (level >= limit or (power < _FLAT and high == math.inf)):
            return None
        last = (level, given)
        step = math.log(wanted / given) / max(power, _LEAST_POWER)
        level = min(limit, level * math.exp(max(-1.0, min(1.0, step))))
        if not low < level < high:
            level = math.sqrt(low * high) if low > 0.0 and high < math.inf else level
    return None
