"""Orders under several drives: positions, pairs that change places, and what is said of them."""

from __future__ import annotations

import csv

import numpy as np
import pytest

from polefem.ranking import csv_text, drives_text, orders_under_drives, rank
from polefem.study import Figures, Limit, OperatingPointFigures, Outcome, Record, Status

CONDITIONS = {"throwing": "a bridge on 24 V at 100 rpm, equal copper loss of 60 W", "best": "another"}


def record(name: str, ideal: float, **points: float) -> Record:
    """A design with a ripple under the ideal rectangular current and under points; all else is 1."""
    ones = dict.fromkeys(OperatingPointFigures.names(), 1.0)
    driven = {point: OperatingPointFigures(**{**ones, "ripple": ripple}) for point, ripple in points.items()}
    figures = Figures(**{**dict.fromkeys(Figures.names(), 1.0), "ripple": ideal}, operating_points=driven)
    reason = "" if len(points) == 2 else "no figures under best: the supply must reach it"
    return Record(name, name, {}, Outcome(Status.SOLVED, reason, figures))


RECORDS = [
    record("wide", 0.2, throwing=0.5, best=0.1),
    record("narrow", 0.1, throwing=0.6, best=0.05),
    record("notched", 0.3, throwing=0.4),
    Record("lost", "lost", {}, Outcome(Status.LOST, "gone")),
]


def test_positions_and_swaps_are_those_of_the_figures() -> None:
    orders = orders_under_drives(RECORDS, "equal copper loss", CONDITIONS)
    assert orders.names == ("narrow", "wide", "notched")
    np.testing.assert_array_equal(orders.positions, [[1, 3, 1], [2, 2, 2], [3, 1, np.nan]])
    assert orders.swapped(1) == (("wide", "narrow"), ("notched", "narrow"), ("notched", "wide"))
    assert orders.swapped(1) != tuple(pair[::-1] for pair in orders.swapped(1))
    assert (orders.swapped(2), orders.compared(1), orders.compared(2)) == ((), 3, 1)
    assert [orders.winner(k) for k in range(3)] == ["narrow", "notched", "narrow"]
    with pytest.raises(ValueError, match="read-only"):
        orders.positions[0, 0] = 2


def test_the_text_names_where_the_order_changes() -> None:
    text = drives_text(orders_under_drives(RECORDS, "equal copper loss", CONDITIONS))
    assert "While throwing: a bridge on 24 V at 100 rpm, equal copper loss of 60 W; ranked by ripple" in text
    assert "While throwing, notched is first, number 3 under ideal. 3 of 3 pairs change places" in text
    assert "wide overtakes narrow" in text and "narrow overtakes" not in text
    assert "Under best, the order is that under ideal: narrow is first." in text
    assert "not ranked here: notched: no figures under best: the supply must reach it" in text
    assert "1  notched" in text.split("Places by")[0]


def test_what_has_no_figure_to_rank_by_is_not_called_outside_limits() -> None:
    (record, fate, why), *_ = rank(RECORDS, "", "best.ripple").unranked
    assert (record.name, fate) == ("notched", "cannot do what is asked")
    assert why == "no figures under best: the supply must reach it"


def test_a_figure_that_a_bridge_does_not_have_gives_way_to_the_ripple() -> None:
    assert orders_under_drives(RECORDS, "", CONDITIONS, "aligned_inductance").figure == "ripple"
    assert orders_under_drives(RECORDS, "", CONDITIONS, "throwing.mean_torque").figure == "mean_torque"
    assert orders_under_drives(RECORDS, "", CONDITIONS, "throwing.efficiency").figure == "efficiency"


def test_a_limit_takes_a_design_out_of_every_order() -> None:
    orders = orders_under_drives(RECORDS, "", CONDITIONS, limits=[Limit("throwing.ripple", most=0.55)])
    assert orders.names == ("wide", "notched")
    np.testing.assert_array_equal(orders.positions, [[1, 2, 1], [2, 1, np.nan]])


def test_the_csv_has_columns_for_every_drive() -> None:
    rows = list(csv.DictReader(csv_text(rank(RECORDS, "", "throwing.ripple")).splitlines()))
    assert [(row["name"], row["throwing.ripple"], row["best.ripple"]) for row in rows] == [
        *(("notched", "0.4", ""), ("wide", "0.5", "0.1"), ("narrow", "0.6", "0.05"), ("lost", "", "")),
    ]
