"""The order of records, and the text of it."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest

from polefem.errors import InvalidValue
from polefem.ranking import Ranking, csv_text, fields_text, rank, table_text
from polefem.study import Figures, Limit, Outcome, Record, Status


def record(name: str, **figures: float | None) -> Record:
    values = {**dict.fromkeys(Figures.names(), 1.0), **figures}
    return Record(name, name, {"rotor_pole.arc": 0.5}, Outcome(Status.SOLVED, figures=Figures(**values)))


def fallen(name: str, status: Status, reason: str) -> Record:
    return Record(name, name, {"air_gap": 0.0}, Outcome(status, reason))


RECORDS = [
    record("rough", ripple=0.9, mean_torque=3.0),
    fallen("closed", Status.REFUSED, "the air gap must be open: air_gap is 0 m, allowed is above 0 m"),
    record("smooth", ripple=0.1, mean_torque=2.0, phase_interaction=None),
    record("middling", ripple=0.5, mean_torque=4.0),
    fallen("stuck", Status.LOST, "the worker process was ended by signal SIGKILL"),
]


def names(ranking: Ranking) -> list[str]:
    return [record.name for record in ranking.ordered]


def test_ripple_is_ranked_from_the_lowest_and_torque_from_the_highest() -> None:
    assert names(rank(RECORDS, "")) == ["smooth", "middling", "rough"]
    assert names(rank(RECORDS, "", "mean_torque")) == ["middling", "rough", "smooth"]
    assert names(rank(RECORDS[::-1], "")) == ["smooth", "middling", "rough"]


def test_equal_figures_are_ordered_by_name_and_missing_ones_are_last() -> None:
    assert names(rank(RECORDS, "", "copper_mass")) == ["middling", "rough", "smooth"]
    assert names(rank(RECORDS, "", "phase_interaction"))[-1] == "smooth"


def test_those_without_figures_stand_apart() -> None:
    assert [record.name for record in rank(RECORDS, "").unsolved] == ["closed", "stuck"]


def test_an_unknown_figure_is_refused_with_those_there_are() -> None:
    with pytest.raises(
        InvalidValue, match=r"ranked by a figure: by is 'noise', allowed is current, .*ripple"
    ):
        rank(RECORDS, "", "noise")


def test_the_table_says_what_a_person_needs() -> None:
    text = table_text(rank(RECORDS, "equal copper loss of 60 W"))
    assert text.startswith("Ranked by ripple, at equal copper loss of 60 W\n")
    lines = text.splitlines()
    smooth = next(line for line in lines if line.startswith("1  smooth"))
    assert smooth.split()[2:5] == ["2.000", "10.0", "1.000"]
    assert smooth.split()[-2:] == ["57.3", "57.3"], "the angles it got"
    assert "closed could not be built: the air gap must be open" in text
    assert "stuck was not finished: the worker process" in text
    assert "(max - min) / |mean|" in text
    assert max(len(line) for line in lines) <= 120


def test_the_table_can_be_cut_short() -> None:
    text = table_text(rank(RECORDS, ""), most=1)
    assert "1  smooth" in text and "rough" not in text and "... and 2 more" in text


def test_a_table_that_holds_all_promises_no_more() -> None:
    for most in (3, 9, None):
        text = table_text(rank(RECORDS, ""), most)
        assert "rough" in text and "... and" not in text


def test_many_aside_are_counted_where_the_table_is_cut_short() -> None:
    many = [*RECORDS, *(fallen(f"f{at}", Status.REFUSED, "no") for at in range(20))]
    assert "... and 16 more outside the limits or without figures" in table_text(rank(many, ""), most=20)
    assert "f19" in table_text(rank(many, ""))


def test_limits_set_designs_outside_the_order() -> None:
    ranking = rank(RECORDS, "", limits=(Limit("mean_torque", least=2.5),))
    assert names(ranking) == ["middling", "rough"]
    ((record, why),) = ranking.infeasible
    assert record.name == "smooth" and why == "mean torque is 2 N m, allowed is at least 2.5 N m"
    assert "smooth is outside the limits" in table_text(ranking)
    rows = list(csv.DictReader(io.StringIO(csv_text(ranking))))
    assert [(row["rank"], row["name"]) for row in rows][:3] == [
        ("1", "middling"),
        ("2", "rough"),
        ("", "smooth"),
    ]


def test_an_empty_ranking_is_still_text() -> None:
    assert "closed could not be built" in table_text(rank(RECORDS[1:2], "equal current of 1 A"))


def test_the_first_designs_say_what_they_are() -> None:
    text = fields_text(rank(RECORDS, ""))
    assert "rotor_pole.arc" in text and "28.648 deg" in text
    assert fields_text(rank([], "")) == ""
    whole = Record("whole", "w", {"rotor_pole": {"arc": 0.5}}, RECORDS[0].outcome)
    assert fields_text(rank([whole], "")) == ""


def test_csv_holds_every_figure_in_si() -> None:
    rows = list(csv.DictReader(io.StringIO(csv_text(rank(RECORDS, "")))))
    assert [row["name"] for row in rows] == ["smooth", "middling", "rough", "closed", "stuck"]
    assert [row["rank"] for row in rows] == ["1", "2", "3", "", ""]
    assert float(rows[0]["ripple"]) == 0.1 and rows[0]["phase_interaction"] == ""
    assert set(Figures.names()) <= set(rows[0])
    assert rows[0]["rotor_pole.arc"] == "0.5" and rows[3]["air_gap"] == "0.0"
    assert rows[3]["reason"].startswith("the air gap")


def test_many_changes_stand_in_rows_within_the_width_of_a_terminal() -> None:
    faces = {f"rotor_pole.face.rises.{k}": 1e-5 * k for k in range(24)}
    many = [replace(record, changes=faces) for record in RECORDS if record.figures]
    lines = fields_text(rank(many, "")).splitlines()
    assert max(map(len, lines)) <= 110 and len(lines) == 2 + 2 + 24
    assert lines[2].split()[0] == "shape" and lines[4].split()[0] == "rotor_pole.face.rises.0"
    long = [replace(record, name=f"{record.name} {'x' * 50}") for record in many]
    assert len(fields_text(rank(long, "")).splitlines()[2].split()) < len(lines[2].split()) + 3
