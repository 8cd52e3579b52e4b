"""Pictures of whole studies: their numbers, and that they can be drawn."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread

from polefem.errors import StoreRefused
from polefem.ranking import pareto_set, rank, uncertainty_of
from polefem.report import (
    draw_pareto,
    draw_search,
    draw_sobol_indices,
    draw_uncertainty,
    pareto_points,
    save,
    search_path,
    write_results,
)
from polefem.study import Effect, Figures, Limit, Outcome, Record, SobolIndices, Status

RANDOM = np.random.default_rng(4)


def record(name: str, **figures: float | None) -> Record:
    values = {**dict.fromkeys(Figures.names(), 1.0), **figures}
    return Record(name, name, {"air_gap": 0.5e-3}, Outcome(Status.SOLVED, figures=Figures(**values)))


RECORDS = [
    record(f"r{k:02d}", ripple=float(a), mean_torque=float(2 + a + 0.5 * b), steel_mass=float(10 + b))
    for k, (a, b) in enumerate(RANDOM.random((40, 2)))
]
REFUSED = Record("no", "no", {}, Outcome(Status.REFUSED, "it cannot be built"))
OBJECTIVES = ("ripple", "mean_torque", "steel_mass")
SHARES = SobolIndices(
    ("rotor_pole.arc", "air_gap"),
    ("ripple", "mean_torque"),
    np.array([[0.6, 0.1], [0.3, 0.8]]),
    np.array([[0.7, 0.2], [0.4, 0.9]]),
    np.array([0.9, 0.99]),
    64,
)


def test_points_are_the_designs_in_units_that_are_read() -> None:
    points = pareto_points([*RECORDS, REFUSED, record("partly", phase_interaction=None)], OBJECTIVES)
    assert points.names == ("ripple (%)", "mean torque (N m)", "steel mass (kg)")
    assert points.values.shape == (41, 3)
    figures = RECORDS[7].figures
    assert figures is not None and points.values[7, 0] == pytest.approx(100 * figures.ripple)
    best = {r.name for r in pareto_set([*RECORDS, record("partly")], OBJECTIVES)}
    assert {label for label, chosen in zip(points.labels, points.best, strict=True) if chosen} == best
    assert len(pareto_points([record("partly", phase_interaction=None)], ("phase_interaction",)).labels) == 0


def test_a_search_s_best_never_gets_worse_and_keeps_its_limits() -> None:
    path = search_path("one", [REFUSED, *RECORDS], "ripple", (Limit("mean_torque", least=2.5),))
    assert np.isnan(path.values[0]) and np.isnan(path.best[0])
    best = path.best[np.isfinite(path.best)]
    assert (np.diff(best) <= 0).all()
    kept = [r.figures.ripple for r in RECORDS if r.figures is not None and r.figures.mean_torque >= 2.5]
    assert best[-1] == pytest.approx(100 * min(kept))
    up = search_path("two", RECORDS, "mean_torque", ())
    assert (np.diff(up.best) >= 0).all() and up.best[-1] == max(up.values)


def test_all_can_be_drawn_without_a_warning(tmp_path: Path) -> None:
    ranking = rank(RECORDS[:4], "equal current of 1 A")
    uncertainty = uncertainty_of(
        ranking, {r.name: [Effect("mesh", 0.01), Effect("air_gap +-0.05 mm", 0.05)] for r in RECORDS[:4]}
    )
    paths = [
        search_path("surrogate", RECORDS, "ripple", ()),
        search_path("evolution", RECORDS[::-1], "ripple", ()),
    ]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        drawn = [
            save(draw_pareto(pareto_points(RECORDS, OBJECTIVES)), tmp_path / "pareto.png"),
            save(draw_pareto(pareto_points(RECORDS, OBJECTIVES[:2])), tmp_path / "two.png"),
            save(draw_pareto(pareto_points([], OBJECTIVES)), tmp_path / "none.png"),
            save(draw_uncertainty(uncertainty), tmp_path / "uncertainty.png"),
            save(draw_sobol_indices(SHARES), tmp_path / "shares.png"),
            save(draw_search(paths, {"best of 200": 20.0}), tmp_path / "search.png"),
            save(draw_search([search_path("refused", [REFUSED], "ripple", ())]), tmp_path / "nothing.png"),
        ]
    assert all(np.ptp(imread(path)[..., :3]) > 0.5 for path in drawn)


def test_results_are_written_or_it_is_said(tmp_path: Path) -> None:
    write_results(tmp_path, "s", rank([*RECORDS, REFUSED], "b"), "the text")
    assert (tmp_path / "ranking.txt").read_text() == "the text"
    with pytest.raises(StoreRefused, match="results need room to write"):
        write_results(tmp_path / "absent", "s", rank(RECORDS, "b"), "the text")
