"""What is wanted of a design: figures to be high or low, and limits that must be kept."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from polefem.errors import InvalidValue, UnknownName, refusal, spelled, unknown
from polefem.params.checks import number
from polefem.study.naming import figure_words, quantity_of_figure
from polefem.study.record import Figures, point_figure_names

__all__ = ["Limit", "broken_limits", "check_figure", "cost", "more_is_better"]


@spelled
@dataclass(frozen=True)
class Limit:
    """A figure that must be at least `least` and at most `most`, in SI; one of them may be left out."""

    figure: str
    least: float | None = None
    most: float | None = None

    def __post_init__(self) -> None:
        check_figure("limit", self.figure)
        if self.least is None and self.most is None:
            raise InvalidValue(refusal("a limit limits something", self.figure, "free", "a least or a most"))
        low, high = (None if end is None else number(self.figure, end) for end in (self.least, self.most))
        if low is not None and high is not None and low > high:
            rule = "a limit leaves something"
            raise InvalidValue(refusal(rule, self.figure, f"at most {high:.6g}", f"{low:.6g} or more"))

    def excess(self, figures: Figures) -> float:
        """How far the figure is outside, as a share of the limit; 0 where it is kept."""
        return max(0.0, self.overstep(figures))

    def overstep(self, figures: Figures) -> float:
        """How far the figure is beyond the nearer limit, as a share of it; below 0 where it is kept.

        1 where it is of an operating point that the design cannot be driven at.
        """
        value = figures.value(self.figure)
        if value is None:
            return 1.0 if "." in self.figure else 0.0
        below = -math.inf if self.least is None else (self.least - value) / (abs(self.least) or 1.0)
        above = -math.inf if self.most is None else (value - self.most) / (abs(self.most) or 1.0)
        return max(below, above)

    @property
    def allowed(self) -> str:
        """What is allowed, in words.

        >>> Limit("mean_torque", least=2.9).allowed, Limit("ripple", most=0.3).allowed
        ('at least 2.9 N m', 'at most 30 %')
        """
        how, ends = quantity_of_figure(self.figure), (("at least", self.least), ("at most", self.most))
        return " and ".join(f"{word} {how.setting(end)}" for word, end in ends if end is not None)

    @property
    def end(self) -> str:
        """The number alone, with its unit; the least of two.

        >>> Limit("mean_torque", least=2.9).end
        '2.9 N m'
        """
        return self.allowed.split(" and ")[0].removeprefix("at least ").removeprefix("at most ")

    def __str__(self) -> str:
        return f"{figure_words(self.figure)} of {self.allowed}"


def check_figure(rule_name: str, figure: str, points: Mapping[str, Sequence[str]] | None = None) -> None:
    """Raise UnknownName for what is no figure of a design, nor one of an operating point ("throwing.ripple").

    points: operating points that there are, by name, with the figures that each gives; None where not known.
    """
    point, _, of = figure.rpartition(".")
    own, theirs = Figures.names(), point_figure_names()
    if point and points is not None and point not in points:
        known = [f"{name}.{of}" for name, gives in points.items() if of in gives] + list(own)
        raise UnknownName(unknown("a figure is of an operating point of the plan", rule_name, figure, known))
    if not point and of in set(theirs) - set(own):
        found = f"{of!r}, which designs have at an operating point alone"
        having = [name for name, gives in (points or {}).items() if of in gives]
        allowed = " or ".join(f"'{name}.{of}'" for name in having or ("POINT",))
        raise UnknownName(refusal("designs are ranked by a figure", rule_name, found, allowed))
    if point and points is not None:
        theirs = tuple(points[point])
    names, before = (theirs, f"{point}.") if point else (own, "")
    if of not in names:
        raise UnknownName(unknown("designs are ranked by a figure", rule_name, of, names, before))


def more_is_better(figure: str) -> bool:
    """Whether a figure is wanted high (torques, torque per loss, efficiency) rather than low (all else).

    Of torques, more means more of what was asked for: of a generator, stronger braking, which is a lower number.
    """
    return quantity_of_figure(figure).more_is_better


def cost(figures: Figures, figure: str) -> float | None:
    """The figure, its sign turned where more is better: the lower the better; None where it is not known."""
    value = figures.value(figure)
    if value is None or not more_is_better(figure):
        return value
    return value if figures.brakes(figure) else -value


def broken_limits(figures: Figures, limits: Sequence[Limit]) -> tuple[str, ...]:
    """The limits that are not kept, with what was found, in words."""
    broken = [(limit, figures.value(limit.figure)) for limit in limits if limit.excess(figures) > 0.0]
    return tuple(
        f"{figure_words(limit.figure)} is {_found(limit, value)}, allowed is {limit.allowed}"
        for limit, value in broken
    )


def _found(limit: Limit, value: float | None) -> str:
    """What was found, with as many digits as tell it from the limit."""
    if value is None:
        return "not known"
    how = quantity_of_figure(limit.figure)
    ends = [how.setting(end) for end in (limit.least, limit.most) if end is not None]
    found = how.setting(value)
    return f"{value / how.size:.9g} {how.unit}".strip() if found in ends else found
