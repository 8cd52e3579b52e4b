"""What stands on a study's page, in order, before any mark-up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from polefem.copper import joining_plan, winding_order
from polefem.ranking import DriveOrders, change_sentence, remarks, sensitivity_sentence
from polefem.report.findings import Findings, Shape
from polefem.report.page.descent import (
    ends_table,
    levers_table,
    ramps_sentence,
    tightness_note,
    tightness_table,
)
from polefem.report.page.hearing import forces_of, sound_table, to_hear
from polefem.report.page.point_tables import drives_table, operating_point_tables, shaft_table
from polefem.report.page.tables import (
    Table,
    change_words,
    figure_table,
    ranking_table,
    sobol_table,
    switching_table,
    unranked_table,
    winding_table,
)
from polefem.report.page.words import CAUTIONS, answer, assumptions, how_sure, to_cut, to_switch
from polefem.report.picture import Picture
from polefem.report.runs import run_sentences
from polefem.report.sheets import JOINING_RULE, WINDING_CAUTIONS, winding_sentences

__all__ = ["Chapter", "Page", "Winding", "page_of"]


@dataclass(frozen=True)
class Chapter:
    """What a page says of one shape. place: in the order, 0 for none. anchor: its place on the page. lacking: why it
    has no figures at some operating point. files: beside the page, by what they hold."""

    name: str
    place: int
    anchor: str
    changes: str
    lacking: str
    figures: Table
    operating_points: tuple[Table, ...]
    pictures: tuple[Picture, ...]
    files: Mapping[str, str]


@dataclass(frozen=True)
class Winding:
    """What a winder of the winner needs. table: wire, turns, lengths, resistances. notes: on them. pictures: the coil
    in its slot, the joints. joints: in words. cautions. sheets: to print, beside the page, by what they are."""

    table: Table
    notes: tuple[str, ...]
    pictures: tuple[Picture, ...]
    joints: tuple[str, ...]
    cautions: tuple[str, ...]
    sheets: Mapping[str, str]


@dataclass(frozen=True)
class PathPart:
    """What a page says of a search along slopes. lever: that was free, empty where all fields were. ends: what it came
    from and to. ramps: what its smoothness needs of the current. held: how tightly the last must be held; None where
    its slopes are not known. note: what that means."""

    lever: str
    pictures: tuple[Picture, ...]
    ends: Table
    ramps: str
    held: Table | None
    note: str


@dataclass(frozen=True)
class Page:
    """What stands on a page.

    title, answer: of the study. remarks: what should be known before its figures. winner: its name, empty where there
    is none. sure: how sure the order is. cut, switch: of the winner. ranking, unranked: shapes with and without a
    place; unranked may have no rows. together: pictures of shapes side by side. first: what to cut, with dimensions.
    winding: what to wind; None without a winner. speeds, at_speed: what the winner asks of its bridge at the operating
    points of one, and pictures of that. drives, shares, switching: None where the study does not ask for them. sound,
    hear: pull and level of each shape, and what the winner's ring meets. paths: of searches along slopes; levers: their
    ends side by side. conditions: what is equal under each drive. at_the_shaft: operating points that are no drives.
    chapters: shapes one by one. unshown: how many more there are. assumed, cautions: sentences. files: beside the page,
    by what they hold. versions: of what computed the numbers. command: that makes the page again.
    """

    title: str
    winner: str
    answer: str
    remarks: tuple[str, ...]
    sure: tuple[str, ...]
    cut: tuple[str, ...]
    switch: str
    ranking: Table
    unranked: Table
    together: tuple[Picture, ...]
    first: tuple[Picture, ...]
    winding: Winding | None
    speeds: tuple[str, ...]
    at_speed: tuple[Picture, ...]
    drives: Table | None
    conditions: tuple[str, ...]
    at_the_shaft: tuple[Table, ...]
    shares: Table | None
    sensitivity_note: str
    switching: Table | None
    sound: Table | None
    hear: tuple[str, ...]
    levers: Table | None
    paths: tuple[PathPart, ...]
    chapters: tuple[Chapter, ...]
    unshown: int
    assumed: tuple[str, ...]
    cautions: tuple[str, ...]
    files: Mapping[str, str]
    versions: tuple[str, ...]
    command: str


def page_of(
    findings: Findings,
    together: Sequence[Picture],
    first: Sequence[Picture],
    apiece: Mapping[str, Sequence[Picture]],
    command: str,
    files: Mapping[str, str] | None = None,
    files_of: Mapping[str, Mapping[str, str]] | None = None,
    wound: Sequence[Picture] = (),
    at_speed: Sequence[Picture] = (),
    ways: Mapping[str, Sequence[Picture]] | None = None,
) -> Page:
    """The page of what a study has found.

    together, first, apiece: its pictures, as `study_pictures`, `winner_pictures` and, by name of the shape,
    `shape_pictures` give them. command: that makes the page again. files: beside the page, what they hold and where
    they are; files_of: those of a shape, by its name. wound: of the winner's winding; at_speed: of what it
    does at the operating points of a bridge. ways: pictures of searches along slopes by lever,
    as `descent_drawings` gives them.
    """
    winner, switching = findings.winner, findings.switching
    links = {shape.name: f"#shape-{at}" for at, shape in enumerate(findings.shapes, start=1)}
    parts = tuple(
        _chapter(
            shape, links[shape.name][1:], apiece.get(shape.name, ()), (files_of or {}).get(shape.name, {})
        )
        for shape in findings.shapes
    )
    shares, sensitivity_note = None, ""
    if findings.slopes is not None and findings.sobol_indices is not None:
        shares = sobol_table(findings.slopes, findings.sobol_indices)
        sensitivity_note = sensitivity_sentence(findings.sobol_indices)
    orders = findings.orders
    with_figures = len(findings.ranking.ordered) + len(findings.ranking.infeasible)
    joined = () if findings.joining is None else findings.joining.sentences
    return Page(
        title=findings.study.name,
        winner=winner.name if winner is not None else "",
        answer=answer(findings),
        remarks=remarks(findings.ranking, findings.designs),
        sure=how_sure(findings) if findings.ranking.ordered else (),
        cut=(*to_cut(winner), *joined) if winner is not None else (),
        switch=to_switch(winner, switching is not None) if winner is not None else "",
        ranking=ranking_table(findings, links),
        unranked=unranked_table(findings),
        together=tuple(together),
        first=tuple(first),
        winding=None if winner is None else _winding(winner, wound, (files_of or {}).get(winner.name, {})),
        speeds=tuple(said for name, run in findings.runs.items() for said in run_sentences(name, run)),
        at_speed=tuple(at_speed),
        drives=None if orders is None else drives_table(orders),
        conditions=() if orders is None else _conditions(orders),
        at_the_shaft=tuple(map(shaft_table, findings.at_the_shaft)),
        shares=shares,
        sensitivity_note=sensitivity_note,
        switching=None if switching is None else switching_table(switching),
        sound=sound_table(findings),
        hear=to_hear(winner) if winner is not None else (),
        levers=levers_table(findings.descents) if len(findings.descents) > 1 else None,
        paths=_paths(findings, ways or {}),
        chapters=parts,
        unshown=with_figures - len(parts),
        assumed=assumptions(findings),
        cautions=(*CAUTIONS, *(forces_of(winner) if winner is not None else ())),
        files=dict(files or {}),
        versions=_versions(findings),
        command=command,
    )


def _winding(winner: Shape, pictures: Sequence[Picture], files: Mapping[str, str]) -> Winding:
    machine = winner.design.machine
    order = winding_order(machine, winner.design.plan.copper)
    return Winding(
        table=winding_table(winner.name, order),
        notes=winding_sentences(order),
        pictures=tuple(pictures),
        joints=(JOINING_RULE, *joining_plan(machine).sentences()),
        cautions=WINDING_CAUTIONS,
        sheets={said: path for said, path in files.items() if said.startswith("sheet")},
    )


def _paths(findings: Findings, pictures: Mapping[str, Sequence[Picture]]) -> tuple[PathPart, ...]:
    found = []
    for lever, one in findings.descents.items():
        held = None if one.tightness is None else tightness_table(one.tightness)
        drawn, ramps = tuple(pictures.get(lever, ())), ramps_sentence(one)
        found.append(PathPart(lever, drawn, ends_table(one), ramps, held, tightness_note()))
    return tuple(found)


def _chapter(shape: Shape, anchor: str, pictures: Sequence[Picture], files: Mapping[str, str]) -> Chapter:
    record, figures = shape.record, shape.figures
    return Chapter(
        name=shape.name,
        place=shape.place or 0,
        anchor=anchor,
        changes=change_words(shape.design.changes),
        lacking=record.reason,
        figures=figure_table(record, figures),
        operating_points=operating_point_tables(record, figures),
        pictures=tuple(pictures),
        files=dict(files),
    )


def _conditions(orders: DriveOrders) -> tuple[str, ...]:
    """What is equal under each drive, and who is first there."""
    told = zip(orders.drives, orders.rankings, strict=True)
    return tuple(
        f"{name}: {ranking.basis}. {change_sentence(orders, k)}" for k, (name, ranking) in enumerate(told)
    )


def _versions(findings: Findings) -> tuple[str, ...]:
    """Of everything that computed records; where records differ, all that were seen."""
    seen: dict[str, list[str]] = {}
    for record in findings.records:
        for name, version in record.versions.items():
            if version not in seen.setdefault(name, []):
                seen[name].append(version)
    return tuple(f"{name} {' and '.join(found)}" for name, found in seen.items())
