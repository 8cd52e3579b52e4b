"""Fields by dotted name, and the key of a value's content."""

import numpy as np
import pytest

from polefem.errors import InvalidValue
from polefem.params import MeshSpec, Notch, Pole, Shoe
from polefem.params.content import content_key
from polefem.params.fields import field_names, field_value, with_fields

POLE = Pole(arc=0.5, shoe=Shoe(1e-3, 1e-3, 2e-3), notches=(Notch(0.1, 1e-3, 1e-3), Notch(-0.1, 1e-3, 1e-3)))


def test_each_name_reads_and_writes_its_own_field() -> None:
    for name in field_names(POLE):
        if isinstance(field_value(POLE, name), float):
            changed = with_fields(POLE, {name: 1.25e-1})
            assert field_value(changed, name) == 0.125
            others = [n for n in field_names(POLE) if not name.startswith(n)]
            assert all(field_value(changed, n) == field_value(POLE, n) for n in others)


def test_a_part_may_be_put_in_and_changed_at_once() -> None:
    changed = with_fields(Pole(arc=0.5), {"shoe.tip": 3e-3, "shoe": Shoe(1e-3, 1e-3, 2e-3)})
    assert changed.shoe == Shoe(1e-3, 3e-3, 2e-3)


@pytest.mark.parametrize("name", ["arcs", "shoe.tips", "notches.2.at", "arc.at", "notches.at"])
def test_an_unknown_name_is_refused(name: str) -> None:
    with pytest.raises(InvalidValue, match=r"a field is called by its dotted name: field is .*, allowed is"):
        with_fields(POLE, {name: 1.0})


def test_a_changed_field_is_checked() -> None:
    with pytest.raises(InvalidValue, match="a pole face must be narrower than half a turn"):
        with_fields(POLE, {"arc": 4.0})


def test_the_key_changes_with_every_field() -> None:
    numbers = [n for n in field_names(POLE) if isinstance(field_value(POLE, n), float)]
    keys = {content_key(with_fields(POLE, {n: field_value(POLE, n) * (1 + 1e-14) + 1e-16})) for n in numbers}
    assert len(keys | {content_key(POLE)}) == len(numbers) + 1


def test_equal_content_has_an_equal_key() -> None:
    assert content_key(POLE, MeshSpec()) == content_key(
        with_fields(POLE, {"arc": 0.5}), MeshSpec.named("normal")
    )
    assert content_key(np.arange(3.0)) == content_key([0.0, 1.0, 2.0])


def test_what_has_no_content_has_no_key() -> None:
    with pytest.raises(TypeError, match="has no content"):
        content_key(print)
