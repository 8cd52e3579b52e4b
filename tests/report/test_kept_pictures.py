"""Pictures are drawn where their numbers are new, and only there."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np

from polefem.report import Findings, KeptPictures, Shape, shape_drawings
from polefem.report.drawing_key import drawing_key
from polefem.units import deg


def winner_of(findings: Findings) -> Shape:
    return findings.shapes[0]


def keys(shape: Shape) -> dict[str, str]:
    """Keys of a shape's pictures by what they show."""
    return {d.name.removeprefix(f"{shape.stem}-"): d.key for d in shape_drawings(shape)}


def changed(shape: Shape, other: Shape) -> set[str]:
    """What must be drawn anew."""
    before, after = keys(shape), keys(other)
    return {name for name in after if before.get(name) != after[name]}


def test_a_picture_is_known_by_the_numbers_that_it_shows(findings: Findings) -> None:
    shape = winner_of(findings)
    assert shape.fields is not None and len(keys(shape)) == 9
    assert changed(shape, dataclasses.replace(shape)) == set()
    field = shape.fields.fields[0]
    other = dataclasses.replace(field, b=field.b * 1.0001)
    fields = dataclasses.replace(shape.fields, fields=(other, *shape.fields.fields[1:]))
    densities = {f"flux-density-{place}" for place in ("aligned", "half-overlap", "unaligned")}
    assert changed(shape, dataclasses.replace(shape, fields=fields)) == densities
    figures = dataclasses.replace(shape.figures, turn_off=-1 * deg)
    assert changed(shape, dataclasses.replace(shape, figures=figures)) == {"torque-of-phases", "spectrum"}
    flux = shape.phase_map.flux_linkage * 1.001
    m = dataclasses.replace(shape.phase_map, flux_linkage=flux)
    curves = {"torque", "inductance", "flux-linkage", "torque-of-phases", "spectrum"}
    whole = dataclasses.replace(shape.machine_map, single=m)
    assert changed(shape, dataclasses.replace(shape, machine_map=whole)) == curves


def test_a_shape_without_fields_has_its_curves(findings: Findings) -> None:
    shape = dataclasses.replace(winner_of(findings), fields=None)
    assert set(keys(shape)) == {
        "section",
        "torque",
        "inductance",
        "flux-linkage",
        "torque-of-phases",
        "spectrum",
    }


def test_what_is_kept_is_found_and_what_was_changed_is_not(findings: Findings, tmp_path: Path) -> None:
    section, torque, *_ = shape_drawings(winner_of(findings))
    kept = KeptPictures(tmp_path / "pictures")
    assert kept.known(section) is None
    picture = section.picture()
    kept.keep([(section, picture)])
    again = KeptPictures(tmp_path / "pictures")
    assert again.known(section) == picture
    assert again.known(torque) is None
    assert again.known(dataclasses.replace(section, key="of other numbers")) is None
    (tmp_path / "pictures" / picture.file).write_bytes(picture.data + b" ")
    assert again.known(section) is None
    (tmp_path / "pictures.json").write_text("{")
    assert KeptPictures(tmp_path / "pictures").known(section) is None


def test_arrays_enter_a_key_with_all_their_bytes() -> None:
    whole = np.arange(10_000.0)
    other = whole.copy()
    other[5000] += 1e-12
    assert drawing_key(whole) == drawing_key(whole.copy())
    assert drawing_key(whole) != drawing_key(other)
    assert drawing_key(whole) != drawing_key(whole.reshape(100, 100))
