"""All that a study has found, as numbers: what a page, a text and pictures are made of."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from polefem import study as later
from polefem.drive import AngleTable, DriveRun
from polefem.files import file_name
from polefem.maps import CoupledMap, FluxMap
from polefem.params.checks import whole
from polefem.ranking import (
    DriveOrders,
    Ranking,
    ShaftFigures,
    Uncertainty,
    drive_points,
    drives_text,
    fields_text,
    orders_under_drives,
    pareto_set,
    pareto_text,
    remarks,
    sensitivity_text,
    shaft_figures,
    shaft_text,
    table_text,
    uncertainty_of,
    uncertainty_text,
)
from polefem.report.analysis import ParetoPoints, SearchPath, pareto_points
from polefem.report.descent import Descent
from polefem.report.joining import Joining, joining_of, joining_text
from polefem.study import (
    BRIDGED,
    Design,
    Figures,
    Outcome,
    Record,
    Run,
    SectionFields,
    Slopes,
    SobolIndices,
    Status,
    Study,
    SwitchingTable,
    Variant,
    at_work,
    effects_of,
    global_sensitivity,
)

__all__ = ["COMPARED", "MOST", "Findings", "Shape", "findings_of", "further_texts", "shapes_of", "texts"]

MOST = 24
"""Shapes of a study that are shown one by one, where nothing else is asked."""
COMPARED = 8
"""Shapes that eyes tell apart in one picture."""
_USUAL_OBJECTIVES = ("ripple", "mean_torque")


@dataclass(frozen=True, eq=False)
class Shape:
    """A design that has figures, with its map. place: in the order, from 1; None for one outside the limits. stem: of
    the names of its files, which no other shape of the study has. fields: that it is shown with; None where not
    known."""

    place: int | None
    stem: str
    record: Record
    design: Design
    figures: Figures
    machine_map: CoupledMap
    fields: SectionFields | None = None

    @property
    def name(self) -> str:
        """Of the design."""
        return self.design.name

    @property
    def phase_map(self) -> FluxMap:
        """The map of one phase alone."""
        return self.machine_map.single

    @property
    def at_work(self) -> CoupledMap:
        """The map that its figures of torque are of: with estimates of end effects, where the plan asks for them."""
        named = replace(self.machine_map, single=replace(self.phase_map, name=self.name))
        return at_work(named, self.design.machine, self.design.plan.end_effects)


@dataclass(frozen=True, eq=False)
class Findings:
    """What a study has found.

    study: itself; of a search, the study of the designs it came to. designs: by name. ranking: their order. winner: the
    first of it; None where there is none. shapes: the first of those with figures, with their maps. pareto: designs in
    the space of the objectives, or of ripple and mean torque where the study has one objective. orders: under other
    drives. uncertainty: how sure the order is. slopes, sobol_indices: what fields do. switching: for the winner's
    controller. path: of a search; descents: by lever, of one along slopes. joining: what joining coils otherwise
    does to the winner. Each None or empty where the study does not ask for it. compared: the first shapes, as many as
    one picture tells apart, however few are shown one by one. runs: of the winner, at every operating point of a bridge
    where it has figures, by name.
    """

    study: Study
    designs: Mapping[str, Design]
    ranking: Ranking
    winner: Shape | None
    shapes: tuple[Shape, ...]
    pareto: ParetoPoints
    orders: DriveOrders | None = None
    uncertainty: Uncertainty | None = None
    slopes: Slopes | None = None
    sobol_indices: SobolIndices | None = None
    switching: AngleTable | None = None
    path: SearchPath | None = None
    descents: Mapping[str, Descent] = field(default_factory=dict)
    joining: Joining | None = None
    compared: tuple[Shape, ...] = ()
    runs: Mapping[str, DriveRun] = field(default_factory=dict)

    @property
    def records(self) -> tuple[Record, ...]:
        """Every record: in order, then those outside the limits, then those without figures."""
        outside = (record for record, _ in self.ranking.infeasible)
        return (*self.ranking.ordered, *outside, *self.ranking.unsolved)

    @property
    def at_the_shaft(self) -> tuple[ShaftFigures, ...]:
        """What the designs do at operating points that are no drives."""
        return shaft_figures(self.study.plan, self.records)

    @property
    def complete(self) -> bool:
        """Whether there is an order, and no design failed or was lost."""
        failed = any(record.status in (Status.FAILED, Status.LOST) for record in self.ranking.unsolved)
        return bool(self.ranking.ordered) and not failed

    def __repr__(self) -> str:
        return f"Findings({self.study.name!r}: {self.ranking!r})"


def shapes_of(
    study: Study, ranking: Ranking, kept: Callable[[str], Outcome | None], most: int = MOST
) -> tuple[Shape, ...]:
    """The first shapes that have figures: in order, then those outside the limits; a shape whose map is gone is left
    out. kept: what is kept of a design, by its key.

    Raises InvalidValue for less than none.
    """
    whole("shapes to be shown are counted", "most", most, 0)
    designs = {design.name: design for design in study.designs()}
    outside = [record for record, _ in ranking.infeasible]
    shapes: list[Shape] = []
    for at, record in enumerate([*ranking.ordered, *outside][:most]):
        outcome = record.outcome if record.outcome.machine_map is not None else kept(record.key)
        if record.figures is None or outcome is None or outcome.machine_map is None:
            continue
        place = at + 1 if at < len(ranking.ordered) else None
        stem = file_name(record.name)
        if any(shape.stem.lower() == stem.lower() for shape in shapes):
            stem = f"{stem}-{at + 1}"
        shapes.append(Shape(place, stem, record, designs[record.name], record.figures, outcome.machine_map))
    return tuple(shapes)


def findings_of(
    study: Study,
    ranking: Ranking,
    run: Run,
    kept: Callable[[str], Outcome | None],
    most: int = MOST,
    table_of: Callable[[SwitchingTable, Shape], AngleTable] = lambda asked, shape: asked.table(
        shape.at_work, shape.figures.phase_resistance
    ),
) -> Findings:
    """Find out what the study asks for beyond the order of its designs.

    run: computes designs that this takes. kept: what is kept of a design, by its key. most: shapes to have maps of.
    table_of: the settings of a shape for its controller, computed here if not said otherwise.
    """
    designs = {design.name: design for design in study.designs()}
    outside = tuple(record for record, _ in ranking.infeasible)
    shapes = shapes_of(study, ranking, kept, most)
    best = next(iter(shapes or shapes_of(study, ranking, kept, 1)), None)
    winner = best if best is not None and best.place == 1 else None
    objectives = study.objectives if len(study.objectives) > 1 else _USUAL_OBJECTIVES
    uncertainty = None
    compared = [
        designs[record.name].switched(record.figures.switching)
        for record in ranking.ordered[: study.error_bars]
        if record.figures is not None
    ]
    if study.tolerances and compared:
        asked = (study.name, compared, study.tolerances, ranking.by, run)
        uncertainty = uncertainty_of(ranking, effects_of(*asked, later.effects_by_slopes(*asked)))
    orders = None
    if conditions := {point.name: str(point) for point in drive_points(study.plan)}:
        records = [*ranking.ordered, *outside, *ranking.unsolved]
        orders = orders_under_drives(
            records, study.plan.terms, conditions, ranking.by, study.limits, study.plan.drive.ramp > 0.0
        )
    slopes, shares = None, None
    if study.sensitivities is not None:
        base = study.design(Variant("base"))
        slopes = later.local_slopes(study.name, base, study.sensitivities, run)
        shares = global_sensitivity(study.name, base, study.sensitivities, run)
    switching = None
    if study.switching is not None and winner is not None:
        switching = table_of(study.switching, winner)
    joining = None
    if winner is not None:
        joining = joining_of(study.name, winner.design, winner.record, run)
    return Findings(
        study=study,
        designs=designs,
        ranking=ranking,
        winner=winner,
        shapes=shapes,
        pareto=pareto_points([*ranking.ordered, *outside], objectives),
        orders=orders,
        uncertainty=uncertainty,
        slopes=slopes,
        sobol_indices=shares,
        switching=switching,
        joining=joining,
        compared=shapes[:COMPARED] if most >= COMPARED else shapes_of(study, ranking, kept, COMPARED),
        runs={} if winner is None else runs_of(winner),
    )


def runs_of(shape: Shape) -> dict[str, DriveRun]:
    """What a shape does at each operating point of a bridge at which it has figures, by name."""
    return {
        point.name: point.run(shape.at_work, shape.figures.phase_resistance)
        for point in shape.design.plan.operating_points
        if isinstance(point, BRIDGED) and point.name in shape.figures.operating_points
    }


def texts(findings: Findings) -> list[str]:
    """What the findings say as text for a terminal: the ranking, then the rest."""
    return [
        table_text(findings.ranking, remarks=remarks(findings.ranking, findings.designs)),
        *further_texts(findings),
    ]


def further_texts(findings: Findings) -> list[str]:
    """What the findings say beyond the ranking, as text for a terminal."""
    study, ranking = findings.study, findings.ranking
    said = [fields_text(ranking)]
    if findings.orders is not None:
        said.append(drives_text(findings.orders))
    said += [shaft_text(found) for found in findings.at_the_shaft]
    if len(study.objectives) > 1:
        said.append(pareto_text(pareto_set(findings.records, study.objectives), study.objectives))
    if findings.joining is not None:
        said.append(joining_text(findings.joining))
    if findings.uncertainty is not None:
        said.append(uncertainty_text(findings.uncertainty))
    if findings.slopes is not None and findings.sobol_indices is not None:
        said.append(sensitivity_text(findings.slopes, findings.sobol_indices))
    return [text for text in said if text]
