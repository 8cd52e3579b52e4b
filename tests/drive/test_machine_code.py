"""What is compiled: the same potential as the map's, and kept on disk only as long as its sources stay."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from polefem.drive import potential
from polefem.drive.machine_code import making
from polefem.drive.potential import energy, linkages, tables
from polefem.errors import InvalidValue
from polefem.maps import CoupledMap, Interaction, summed
from tests.drive.sharing_iron import SHARING, changed
from tests.maps.saturating import PITCH

HERE = Path(potential.__file__).parent


def with_a_triple() -> CoupledMap:
    """What a set of three adds, beside the pairs."""
    angles, currents = SHARING.interactions[0].angles, np.linspace(0.0, 40.0, 4)
    theta, i, j, k = np.meshgrid(angles[:-1], currents, currents, currents, indexing="ij")
    size = 1e-6 * (2 + np.sin(4 * theta))
    three = Interaction.through(
        (0, 1, 2),
        angles,
        currents,
        size * i * j * k,
        4e-6 * np.cos(4 * theta) * i * j * k,
        np.stack([size * j * k, size * i * k, size * i * j]),
    )
    return CoupledMap(SHARING.single, (*SHARING.interactions, three))


def same(m: CoupledMap, of: CoupledMap) -> bool:
    """Whether the tables of one map say what another says, at random angles and currents, some of which rest."""
    rng, found, n = np.random.default_rng(5), tables(m), m.phases
    for _ in range(60):
        angle, i = rng.uniform(-4.0, 4.0), rng.uniform(0.0, 40.0, n) * rng.integers(0, 2, n)
        flux, slopes = np.empty(n), np.empty((n, n))
        linkages(found, angle, i, flux, slopes)
        coenergy, torque = energy(found, angle, i)
        point, inductances = of.at(angle, i), of.inductances(angle, i)
        flowing = np.outer(i > 0.0, i > 0.0)  # of two that rest the mutual inductance is left out
        pairs = (
            (coenergy, point.coenergy, 1.0),
            (torque, point.torque, 1.0),
            (flux, point.flux_linkages, 0.1),
            (slopes[flowing], inductances[flowing], 1e-2),
        )
        if not all(np.allclose(a, b, rtol=1e-9, atol=1e-10 * scale) for a, b, scale in pairs):
            return False
    return True


@pytest.mark.parametrize(
    "m", [SHARING, summed(SHARING.single), with_a_triple()], ids=["pairs", "none", "triple"]
)
def test_tables_say_what_the_map_says(m: CoupledMap) -> None:
    assert same(m, m)
    assert not same(m, changed(with_a_triple(), 1.001))


def test_what_four_phases_add_is_refused() -> None:
    """No field is solved for it."""
    four = Interaction(
        (0, 1, 2, 3), np.array([0.0, PITCH]), np.array([0.0, 40.0]), np.zeros((2,) * 5 + (1,) + (2,) * 4)
    )
    m = CoupledMap(replace(SHARING.single, phases=4), (four,))
    with pytest.raises(
        InvalidValue, match="two and three phases add to each other: interactions is of 4 phases"
    ):
        tables(m)


def test_all_that_is_compiled_counts_for_what_is_kept() -> None:
    users = {path.name for path in HERE.glob("*.py") if "@compiled" in path.read_text()}
    assert users == {name for name in making.SOURCES if "/" not in name}


def test_a_changed_source_is_compiled_anew(tmp_path: Path) -> None:
    for name in making.SOURCES:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        shutil.copy(HERE / name, tmp_path / name)
    before = making.folder(HERE).name
    assert making.folder(tmp_path).name == before
    changed_file = tmp_path / "potential.py"
    changed_file.write_text(changed_file.read_text() + "\n# another line\n")
    assert making.folder(tmp_path).name != before


def test_where_the_program_may_not_write_it_is_kept_with_the_user(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(making._CONFIG, "CACHE_DIR", "")
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    beside = making.folder(HERE)
    assert beside.parent == HERE / "__pycache__"
    monkeypatch.setattr(making.os, "access", lambda *_: False)
    assert making.folder(HERE) == tmp_path / ".cache" / beside.name


def test_compiled_and_interpreted_agree() -> None:
    m, i, n = tables(with_a_triple()), np.array([5.0, 3.0, 12.0]), 3
    found = [np.empty(n), np.empty((n, n)), np.empty(n), np.empty((n, n))]
    linkages(m, 0.3, i, *found[:2])
    linkages.__wrapped__(m, 0.3, i, *found[2:])  # type: ignore[attr-defined]
    np.testing.assert_allclose(found[0], found[2], rtol=1e-12)
    np.testing.assert_allclose(found[1], found[3], rtol=1e-12)
    assert energy(m, 0.3, i) == pytest.approx(energy.__wrapped__(m, 0.3, i), rel=1e-12)  # type: ignore[attr-defined]
