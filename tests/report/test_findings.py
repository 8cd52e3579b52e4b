"""What a study found, what a page says of it, and pictures as bytes."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from polefem.field import built
from polefem.maps import summed
from polefem.params import Notch, Pole
from polefem.params.drive_spec import Tracking
from polefem.ranking import rank, uncertainty_of
from polefem.report import Findings, findings_of, picture_of, shapes_of
from polefem.report.page.tables import change_words, ranking_table, unranked_table
from polefem.report.page.words import answer, how_sure, to_cut, to_switch
from polefem.report.style import axes_on, new_figure
from polefem.study import (
    Effect,
    EqualCurrent,
    Figures,
    Limit,
    OperatingPointFigures,
    Outcome,
    Record,
    Status,
    Study,
    Variant,
    WaveformOperatingPoint,
)
from polefem.units import deg, mm
from tests.study.fake_solver import MACHINE, PLAN, fake_map

STUDY = Study("s", MACHINE, PLAN, [Variant(name) for name in ("a b", "a_b", "c", "d")])
ANGLES = np.linspace(0, 45, 5) * deg


def record(name: str, ripple: float, error: float | None = None, status: Status = Status.SOLVED) -> Record:
    """A record of made-up figures: a mean torque of 1 N m, a map whose torque may be off by `error`."""
    m = dataclasses.replace(fake_map(built(MACHINE, PLAN.mesh), ANGLES, [10.0]), torque_error=error)
    figures = Figures(
        **{
            **dict.fromkeys(Figures.names(), 1.0),
            **dict.fromkeys(("end_winding_inductance", "unaligned_fringing"), 0.01),
            "ripple": ripple,
            "current": 10.0,
            "turn_on": -30 * deg,
            "ramp": 0.0,
            "turn_off": 0.0,
            "end_winding_inductance": 0.01,
            "unaligned_fringing": 0.01,
        }
    )
    if status is not Status.SOLVED:
        return Record(name, name, {}, Outcome(status, "a reason"))
    return Record(name, name, {}, Outcome(status, figures=figures, machine_map=summed(m)))


def findings(*records: Record, most: int = 9, limits: tuple[Limit, ...] = ()) -> Findings:
    """What a study of these records found; nothing is computed."""
    ranking = rank(records, "equal everything", limits=limits)
    return findings_of(STUDY, ranking, lambda name, designs: [], lambda key: None, most)


def test_shapes_have_places_and_files_of_their_own() -> None:
    found = findings(
        record("a_b", 0.2), record("a b", 0.1), record("c", 0.4), limits=(Limit("ripple", most=0.3),)
    )
    assert [(s.name, s.place, s.stem) for s in found.shapes] == [
        ("a b", 1, "a_b"),
        ("a_b", 2, "a_b-2"),
        ("c", None, "c"),
    ]
    assert found.winner is not None and found.winner.name == "a b"
    few = findings(record("a_b", 0.2), record("a b", 0.1), most=1)
    assert [shape.name for shape in few.shapes] == ["a b"]
    none = findings(record("a_b", 0.2), record("a b", 0.1), most=0)
    assert not none.shapes and none.winner is not None and none.winner.name == "a b"
    assert findings(record("c", 0.4), limits=(Limit("ripple", most=0.3),)).winner is None


def test_a_shape_whose_map_is_gone_is_left_out() -> None:
    gone = record("c", 0.1)
    gone = dataclasses.replace(gone, outcome=dataclasses.replace(gone.outcome, machine_map=None))
    ranking = rank([gone, record("d", 0.2)], "b")
    assert [shape.name for shape in shapes_of(STUDY, ranking, lambda key: None)] == ["d"]
    kept = record("c", 0.1).outcome
    assert [shape.name for shape in shapes_of(STUDY, ranking, lambda key: kept)] == ["c", "d"]
    assert not findings().complete and findings(gone).complete
    assert not findings(gone, record("d", 0.0, status=Status.FAILED)).complete
    assert findings(gone, record("d", 0.0, status=Status.REFUSED)).complete


@pytest.mark.parametrize(
    ("errors", "said"),
    [
        (
            (0.03, 0.03),
            "more than the mesh's error",
        ),  # of the ripple: 0.019 and 0.021, less than 0.2 together
        ((0.2, 0.2), "within the mesh's error"),
        ((None, 0.01), "is not known"),
    ],
)
def test_the_answer_says_whether_the_mesh_settles_it(errors: tuple[float | None, ...], said: str) -> None:
    first, second = record("c", 0.1, errors[0]), record("d", 0.3, errors[1])
    sentence = answer(findings(second, first))
    digits = "{:.0f}" if errors[0] == 0.2 else "{:.1f}"  # as many as the mesh's error leaves
    first_said, second_said = (digits.format(value) + "\N{NO-BREAK SPACE}%" for value in (10, 30))
    assert sentence.startswith(f"c has the lowest ripple, {first_said}, against {second_said} of d")
    assert said in sentence and sentence.endswith(".") and ". " not in sentence


def test_a_shape_on_another_mesh_is_no_rival_of_itself() -> None:
    coarse, fine, other = record("c", 0.1, 0.03), record("a b", 0.12, 0.01), record("d", 0.3, 0.03)
    arc = {"rotor_pole.arc": 0.6}
    coarse = dataclasses.replace(coarse, changes=arc)
    fine = dataclasses.replace(fine, changes={**arc, "mesh.iron": 0.1})
    said = answer(findings(coarse, fine, dataclasses.replace(other, changes={"rotor_pole.arc": 0.5})))
    assert "% on another mesh, a b), against" in said
    assert "of d, the next of 2 shapes" in said and "more than the mesh's error" in said
    assert "nothing to compare it with" in answer(findings(coarse, fine))
    # Where the arc is another too, it is a rival.
    moved = dataclasses.replace(fine, changes={"rotor_pole.arc": 0.61, "mesh.iron": 0.1})
    assert "of a b, the next of 2 shapes" in answer(findings(coarse, moved))


def test_the_answer_says_under_which_drives_another_is_first() -> None:
    one = OperatingPointFigures(*[1.0] * len(OperatingPointFigures.names()))

    def with_points(made: Record, ripples: dict[str, float]) -> Record:
        assert made.figures is not None
        points = {name: dataclasses.replace(one, ripple=ripple) for name, ripple in ripples.items()}
        figures = dataclasses.replace(made.figures, operating_points=points)
        return dataclasses.replace(made, outcome=dataclasses.replace(made.outcome, figures=figures))

    wave = Tracking([-30 * deg, -25 * deg, 0.0], [0, 1, 0])
    points = tuple(
        WaveformOperatingPoint(name, wave, EqualCurrent(1.0), 1.0) for name in ("slow", "fast", "late")
    )
    study = dataclasses.replace(STUDY, plan=dataclasses.replace(PLAN, operating_points=points))
    records = [
        with_points(record("c", 0.1), {"slow": 0.1, "fast": 0.4, "late": 0.4}),
        with_points(record("d", 0.3), {"slow": 0.2, "fast": 0.3, "late": 0.3}),
    ]
    found = findings_of(study, rank(records, "b"), lambda name, designs: [], lambda key: None)
    assert answer(found).endswith("; under fast and under late, d is first.")


def test_one_shape_and_none_have_answers_too() -> None:
    assert "there is nothing to compare it with" in answer(findings(record("c", 0.1)))
    assert "No shape of this study has figures" in answer(findings(record("c", 0.1, status=Status.LOST)))


def test_bars_reach_as_far_as_errors_on_one_scale() -> None:
    found = findings(record("c", 0.1, 0.01), record("d", 0.3, 0.02))
    bars = [row[2].bar for row in ranking_table(found, {}).rows]
    # As (max - min) / mean moves with its parts, each by three tenths of the worst angle's error.
    errors = [0.3 * (2 + 0.1) * 0.01, 0.3 * (2 + 0.3) * 0.02]
    least, most = 0.1 - errors[0], 0.3 + errors[1]
    expected = [
        ((v - e) - least, v - least, (v + e) - least) for v, e in zip((0.1, 0.3), errors, strict=True)
    ]
    for bar, at in zip(bars, expected, strict=True):
        assert bar is not None
        assert (bar.low, bar.at, bar.high) == pytest.approx(tuple(x / (most - least) for x in at))


def test_what_has_no_place_has_its_reason() -> None:
    found = findings(
        record("c", 0.4), record("d", 0.1, status=Status.FAILED), limits=(Limit("ripple", most=0.3),)
    )
    rows = [[cell.text for cell in row] for row in unranked_table(found).rows]
    assert rows == [
        ["c", "is outside the limits", "ripple is 40 %, allowed is at most 30 %"],
        ["d", "could not be computed", "a reason"],
    ]


def test_a_pole_changed_whole_is_told_by_what_is_not_usual() -> None:
    pole = Pole(arc=36 * deg, notches=(Notch(at=0.0, width=3 * mm, depth=0.8 * mm),))
    said = change_words({"rotor_pole": pole, "air_gap": 0.5 * mm})
    assert said.startswith("rotor_pole.arc 36 deg") and said.endswith("air_gap 0.5 mm")
    assert "rotor_pole.notches.0.width 3 mm" in said and "taper" not in said


def test_what_to_cut_and_switch_is_said() -> None:
    (shape,) = findings(record("c", 0.1)).shapes
    assert to_cut(shape)[1] == "Unchanged base machine."
    said = to_switch(shape, False).replace("\N{NO-BREAK SPACE}", " ")
    assert "from -30.0 deg to 0 deg" in said and "switching table" in to_switch(shape, True)
    assert "were not included" in how_sure(findings(record("c", 0.1)))[0]


def test_pictures_are_lines_where_small_pixels_where_not_and_always_the_same(tmp_path: Path) -> None:
    def drawn(points: int) -> bytes:
        figure = new_figure()
        x = np.linspace(0, 1, points)
        axes_on(figure, "x", "y", "t").scatter(x, np.sin(40 * x), c=x, s=40 * x)
        picture = picture_of(figure, "some", "words")
        assert picture.write(tmp_path / "new").read_bytes() == picture.data
        assert picture.address.startswith(
            f"data:image/{'svg+xml' if picture.kind == 'svg' else 'png'};base64,"
        )
        return picture.data

    assert drawn(20).startswith(b"<?xml") and drawn(20_000).startswith(b"\x89PNG")
    assert drawn(20) == drawn(20)


def test_a_column_is_nowhere_finer_than_the_surest_that_was_looked_at() -> None:
    records = record("c", 0.305, 0.01), record("d", 0.3278, 0.01), record("a b", 0.41234, 0.0001)
    found = findings(*records)
    effects = {name: (Effect("arc", 0.003),) for name in ("c", "d")}
    known = dataclasses.replace(found, uncertainty=uncertainty_of(found.ranking, effects))

    def ripples(shown: Findings) -> list[tuple[str, str]]:
        table = ranking_table(shown, {})
        at = [head.title for head in table.heads].index("ripple")
        return [(row[at].text, row[at].error) for row in table.rows]

    assert ripples(known) == [("30.5", "± 0.6"), ("32.8", "± 0.6"), ("41.2", "")]
    assert ripples(found)[2] != ("41.2", "")  # without what was looked at, the mesh alone says
    assert "ripple, 30.5\N{NO-BREAK SPACE}%, against 32.8\N{NO-BREAK SPACE}% of d" in answer(known)
