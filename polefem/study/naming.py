"""What figures are called and how they are shown where people read: those of a motor, and those of a generator.

A torque below 0 brakes the rotor: so it stands in records, in limits and in files. Where people read, a generator has a
braking torque, above 0, of which more is better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from polefem.params.quantity import Quantity, quantities
from polefem.study.record import Figures, Record, quantity_of_point_figure

__all__ = ["braking", "figure_words", "point_words", "quantity_of_figure"]

_WORDS = {"most_rise": "highest temperature rise", "link_current": "dc link current"}
#: Words and short label of what has the sign of the torque, for a rotor that is braked.
_BRAKING = {
    "mean_torque": ("mean braking torque", "braking torque"),
    "lowest_torque": ("weakest braking torque", "weakest"),
    "highest_torque": ("strongest braking torque", "strongest"),
    "torque_per_loss": ("braking torque per loss", "torque / loss"),
    "torque_per_mass": ("braking torque per mass", "torque per mass"),
    "torque_per_volume": ("braking torque per volume", "torque per volume"),
    "shear_stress": ("shear stress", "shear stress"),
}


def figure_words(figure: str, brakes: bool = False) -> str:
    """A figure's name in words, that of a rotor that is braked where asked for.

    >>> figure_words("mean_torque"), figure_words("throwing.ripple"), figure_words("best.ripple")
    ('mean torque', 'ripple while throwing', 'ripple under best')
    >>> figure_words("charging.mean_torque", brakes=True)
    'mean braking torque while charging'
    """
    point, _, of = figure.rpartition(".")
    words = _WORDS.get(of, of.replace("_", " "))
    words = _BRAKING[of][0] if brakes and of in _BRAKING else words
    return f"{words} {point_words(point)}" if point else words


def point_words(point: str) -> str:
    """When a figure of an operating point is had, by the point's name: a machine may be charging, but never "best".

    >>> point_words("charging"), point_words("best")
    ('while charging', 'under best')
    """
    return f"{'while' if point.endswith('ing') else 'under'} {point}"


def quantity_of_figure(figure: str, brakes: bool = False) -> Quantity:
    """How a figure is shown, by its name ("ripple"), or by that of an operating point's ("throwing.ripple"); where the
    rotor is braked, a torque with its sign turned.

    >>> quantity_of_figure("throwing.ripple").unit, quantity_of_figure("mean_torque").more_is_better
    ('%', True)
    >>> quantity_of_figure("mean_torque", brakes=True).text(-0.4513)
    '0.4513 N m'
    """
    point, _, of = figure.rpartition(".")
    how = quantity_of_point_figure(of) if point else quantities(Figures)[of]
    return replace(how, label=_BRAKING[of][1], turned=True) if brakes and of in _BRAKING else how


def braking(records: Sequence[Record], figure: str) -> bool:
    """Whether a figure has the sign of the torque, and every rotor of which it is known is braked."""
    known = [r.figures for r in records if r.figures is not None and r.figures.value(figure) is not None]
    return bool(known) and all(figures.brakes(figure) for figures in known)
