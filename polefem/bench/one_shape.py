"""One shape of a study: as a film, or as files that other programs open."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Unpack

import numpy as np

import polefem.export as forms
from polefem.bench.kinds import KINDS
from polefem.bench.running import Bench, Means, opened, prepare, settled
from polefem.errors import GeometryRefused, InvalidValue, MissingLibrary, UnknownName, refusal, unknown
from polefem.export import (
    write_coupled_netcdf,
    write_csv,
    write_field,
    write_json,
    write_netcdf,
    write_svg,
)
from polefem.field import built
from polefem.files import write_text
from polefem.params.checks import whole
from polefem.params.toml import machine_text
from polefem.ranking import rank
from polefem.report import (
    Shape,
    film_currents,
    film_of,
    film_writer,
    shapes_of,
    sheets_of,
    write_film,
    write_pdf,
)
from polefem.study import FIELD, SECTION_PLACES, Search, Study, half_overlap

__all__ = ["export", "film"]


def film(
    study: Study | Search,
    shape: str | None = None,
    *,
    frames: int = 48,
    path: str | Path | None = None,
    **means: Unpack[Means],
) -> Path:
    """Write the film of one shape of a study, the first of its ranking if not said: the rotor turns, with its field and
    its torque. Returns where it is.

    frames: over a rotor pitch. path: a .gif, or an .mp4 where the program ffmpeg is; in the folder if not said. means:
    workers, folder, store, mesh, rank_by, patience, progress, executor, at_once and solver, as in `run`.

    Raises InvalidValue for a search, a shape that has no figures, an ending that cannot be written, and as `run`.
    """
    whole("a film needs frames", "frames", frames, 2)  # both refuse before anything is computed
    film_writer(Path("film.gif" if path is None else path))
    with _chosen(study, shape, "a film", means) as (bench, wanted, place):
        target = Path(path) if path is not None else place / f"{wanted.stem}.gif"
        angles, currents = film_currents(wanted, frames)
        states = bench.solver.fields(built(wanted.design.machine, wanted.design.plan.mesh), angles, currents)
        return write_film(film_of(wanted, states), target)


def export(
    study: Study | Search,
    shape: str | None = None,
    *,
    kinds: Sequence[str] | None = None,
    tell: Callable[[str], None] = lambda text: None,
    **means: Unpack[Means],
) -> list[Path]:
    """Write one shape of a study, the first of its ranking if not said, as files that other programs open, into the
    folder `shapes` of its results. Returns where they are.

    kinds: some of `KINDS`; all if not said, but for what needs a library that is not installed, or larger paper than
    A3, which `tell` is told. means: as in `film`. Fields are those of the first phase alone at the shape's current.

    Raises UnknownName for a kind that is none, MissingLibrary for one asked for whose library is missing,
    GeometryRefused for sheets asked for of a machine that no paper takes, and as `film`.
    """
    for kind in kinds or ():
        if kind not in KINDS:
            raise UnknownName(unknown("a shape is exported in a known form", "as", kind, KINDS))
    if "dxf" in (kinds or ()):
        _ = forms.write_dxf  # refuses before anything is computed
    with _chosen(study, shape, "an export", means) as (bench, wanted, place):
        folder = place / "shapes"
        folder.mkdir(parents=True, exist_ok=True)
        written: list[Path] = []
        for kind in kinds or KINDS:
            try:
                written += _written(kind, wanted, bench, folder / wanted.stem)
            except (MissingLibrary, GeometryRefused) as error:
                if kinds:
                    raise
                tell(f"No {kind.upper()}: {str(error).rstrip('.')}.")
        return written


def _written(kind: str, shape: Shape, bench: Bench, stem: Path) -> Iterator[Path]:
    """Write a shape in one form; the paths of its files."""
    machine, path = shape.design.machine, stem.with_name(f"{stem.name}.{kind}")
    if kind == "toml":
        write_text(path, machine_text(machine))
        yield path
    elif kind == "dxf":
        yield forms.write_dxf(machine, path, coils=True)
    elif kind == "svg":
        yield write_svg(machine, path)
    elif kind == "pdf":
        path = stem.with_name(f"{stem.name}-sheets.pdf")
        yield write_pdf(sheets_of(machine, shape.design.plan.copper, shape.name), path)
    elif kind in ("msh", "vtu"):
        yield from _fields(kind, shape, bench, stem)
    elif kind == "nc":
        yield write_netcdf(shape.phase_map, path)
        yield write_coupled_netcdf(shape.machine_map, stem.with_name(f"{stem.name}-all-phases.nc"))
    else:
        write = write_csv if kind == "csv" else write_json
        yield write(shape.phase_map, path)


def _fields(kind: str, shape: Shape, bench: Bench, stem: Path) -> Iterator[Path]:
    machine = shape.design.machine
    currents = np.zeros(machine.phases.count)
    currents[0] = shape.figures.current
    angles = np.array([0.0, half_overlap(machine), machine.rotor_pitch / 2])
    places = SECTION_PLACES if kind == "vtu" else ("mesh",)
    states = bench.solver.fields(built(machine, shape.design.plan.mesh), angles[: len(places)], currents)
    for state, place in zip(states, places, strict=True):
        yield write_field(state, machine, stem.with_name(f"{stem.name}-{place.replace(' ', '-')}.{kind}"))


@contextmanager
def _chosen(
    study: Study | Search, shape: str | None, what: str, means: Means
) -> Iterator[tuple[Bench, Shape, Path]]:
    """One shape of a study with its map, computed where it is not kept; where it was computed, and its folder."""
    if isinstance(study, Search):
        raise InvalidValue(refusal(f"{what} is of a shape", "study", "a search", "a study of variants"))
    by, chosen, place = settled(
        study, means.get("rank_by"), means.get("mesh"), means.get("folder"), means.get("store")
    )
    assert isinstance(chosen, Study)
    names = [design.name for design in chosen.designs()]
    if shape is not None and shape not in names:
        raise UnknownName(unknown(f"{what} is of a shape of the study", "shape", shape, names))
    with opened(
        means.get("store") or place,
        means.get("workers"),
        means.get("patience"),
        means.get("executor"),
        means.get("at_once"),
        means.get("solver", FIELD),
        means.get("progress", True),
    ) as bench:
        records = bench.compute(chosen.name, chosen.designs())
        ranking = rank(records, chosen.plan.terms, by, chosen.limits)
        shapes = shapes_of(chosen, ranking, bench.store.outcome, len(records))
        wanted = next((one for one in shapes if shape in (None, one.name)), None)
        if wanted is None:
            known = ", ".join(one.name for one in shapes) or "none: no shape has figures"
            rule = f"{what} is of a shape that has figures"
            raise InvalidValue(refusal(rule, "shape", repr(shape), known))
        prepare(place)
        yield bench, wanted, place
