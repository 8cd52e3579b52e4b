"""What a part is stands in fields; its name for people is made from them."""

from __future__ import annotations

from polefem.outline import Label, drawn, outline_of, parts_of
from tests.outline.test_builds import AXIAL
from tests.study.fake_solver import MACHINE

MINUS = Label("coil", pole=0, side="minus")


def test_a_label_reads_as_a_person_says_it() -> None:
    assert [str(label) for label in (MINUS, Label("iron"), Label("iron", pole=2), Label("air", "rotor"))] == [
        "coil 1 minus",
        "iron",
        "iron 3",
        "rotor air",
    ]


def test_the_mirror_image_of_a_coil_side_is_the_other_side() -> None:
    assert MINUS.mirrored == Label("coil", pole=0, side="plus") and MINUS.mirrored.mirrored == MINUS
    assert Label("iron", pole=1).mirrored == Label("iron", pole=1)


def test_coil_sides_are_counted_on_and_iron_is_not() -> None:
    assert (
        MINUS.further(3) == Label("coil", pole=3, side="minus") and Label("iron", pole=1).further(3).pole == 1
    )


def test_a_region_is_found_by_its_label() -> None:
    stator = outline_of(MACHINE).stator
    ring = stator.region(MINUS).ring
    assert max(piece.start.imag for piece in ring) < 0.0  # clockwise of a pole on the x axis
    assert not max(piece.start.imag for piece in stator.region(MINUS.mirrored).ring) < 0.0


def test_parts_are_named_from_their_fields() -> None:
    rotor, stator, *coils = parts_of(MACHINE)
    assert (rotor.name, stator.name) == ("rotor", "stator") and len(coils) == 12
    assert [part.name for part in coils[-2:]] == ["coil 6 minus", "coil 6 plus"]
    assert {part.label.pole for part in coils} == set(range(6)) and {part.kind for part in coils} == {"coil"}
    names = [part.name for part in parts_of(drawn(AXIAL), coils=False)]
    assert names[:4] == ["rotor poles", "rotor plate", "stator poles", "stator plate"]
    assert names[4:6] == [
        f"{side} at {drawn(AXIAL).sections[0].radius * 1e3:.5g} mm" for side in ("rotor", "stator")
    ]
