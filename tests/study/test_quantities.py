"""Every number that a person sets or reads says itself in which unit it is shown."""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
from collections.abc import Iterable, Iterator
from typing import Any, get_args, get_type_hints

import pytest

import polefem.params
import polefem.study
from polefem.copper import Copper
from polefem.estimates import Turning
from polefem.params.quantity import quantities
from polefem.study import (
    FieldTolerance,
    Figures,
    JointTolerance,
    Limit,
    OperatingPointFigures,
    Plan,
    Range,
    field_text,
    more_is_better,
    quantity_of_field,
    quantity_of_figure,
)
from polefem.study.gradient import Model
from polefem.study.operation import Operation
from polefem.study.record import Outcome
from polefem.study.sound import Sounded
from polefem.study.surrogate import Surrogate
from polefem.study.tolerances import Effect
from polefem.units import rpm

# Their numbers are in the unit of the field or figure that they are about, or are what only programs read.
OF_ANOTHER = {
    FieldTolerance,
    JointTolerance,
    Range,
    Limit,
    Effect,
    Outcome,
    Surrogate,
    Operation,
    Model,
    Sounded,
}


def settings_and_figures() -> Iterator[type]:
    """The public dataclasses of `params` and `study`, and what a plan takes from other rooms."""
    yield from (Copper, Turning)
    for package in (polefem.params, polefem.study):
        for found in pkgutil.iter_modules(package.__path__, f"{package.__name__}."):
            module = importlib.import_module(found.name)
            for name, value in vars(module).items():
                own = getattr(value, "__module__", "") == found.name and not name.startswith("_")
                if own and isinstance(value, type) and dataclasses.is_dataclass(value):
                    yield value


def holds_floats(hint: Any) -> bool:
    return hint is float or any(holds_floats(part) for part in get_args(hint))


def silent(classes: Iterable[type]) -> list[str]:
    """The fields of floats that do not say how they are shown."""
    return [
        f"{cls.__name__}.{f.name}"
        for cls in classes
        if cls not in OF_ANOTHER
        for f in dataclasses.fields(cls)
        if holds_floats(get_type_hints(cls)[f.name]) and f.name not in quantities(cls)
    ]


def test_every_number_says_how_it_is_shown() -> None:
    found = list(settings_and_figures())
    assert len(found) > 50 and {Figures, OperatingPointFigures, Plan} <= set(found)
    assert silent(found) == []


def test_a_number_that_says_nothing_is_noticed() -> None:
    @dataclasses.dataclass
    class Forgotten:
        width: float
        pair: tuple[float, float] | None
        count: int

    assert silent([Forgotten, Range]) == ["Forgotten.width", "Forgotten.pair"]


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("map_current", 20.0, "20 A"),
        ("map_current", 20, "20 A"),
        ("operating_points.0.speed", 250 * rpm, "250 rpm"),
        ("operating_points.1.bridge.supply", 24.0, "24 V"),
        ("turning.speed", 100 * rpm, "100 rpm"),
        ("basis.most_current", 12.5, "12.5 A"),
        ("mesh.corner", 0.08, "0.08"),
        ("copper.temperature", 80.0, "80 °C"),
        ("air_gap", 0.4e-3, "0.4 mm"),
        ("stator_poles", 6, "6"),
        ("no_such_field", 0.4e-3, "0.0004"),
    ],
)
def test_a_field_is_shown_in_its_own_unit(name: str, value: float, said: str) -> None:
    assert field_text(name, value) == said


def test_nothing_is_taken_for_millimetres_that_no_one_knows() -> None:
    assert quantity_of_field("no_such_field") is None and quantity_of_field("drive.no_such_field") is None


def test_what_is_wanted_high_is_said_with_the_figure() -> None:
    high = {
        name for name in (*Figures.names(), *OperatingPointFigures.names()) if not name.startswith("highest")
    }
    known = {name for name in Figures.names() if more_is_better(name)}
    assert {"mean_torque", "torque_per_loss", "shear_stress", "aligned_inductance"} <= known < high
    assert more_is_better("throwing.efficiency") and not more_is_better("throwing.ripple")
    both = set(Figures.names()) & set(OperatingPointFigures.names())
    assert all(quantity_of_figure(name) == quantity_of_figure(f"at work.{name}") for name in both)
