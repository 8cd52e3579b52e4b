"""A study with everything that a page may show, its fields made up so that it is there in seconds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from polefem.params.drive_spec import Bridge, Tracking
from polefem.ranking import rank
from polefem.report import Findings, findings_of
from polefem.study import (
    DriveOperatingPoint,
    EqualCurrent,
    FieldTolerance,
    InProcess,
    Plan,
    Range,
    Sensitivities,
    Store,
    Study,
    SwitchingTable,
    Variant,
    WaveformOperatingPoint,
    keep_section_fields,
    run_designs,
)
from polefem.units import deg, mm, rpm
from tests.study.fake_solver import FAKE, MACHINE, PLAN

__all__ = ["COMMAND", "STUDY", "found_in"]

COMMAND = "python -m polefem run made_up.py --out 'a folder & more'"
BRIDGE = Bridge(48.0, switch_drop=0.1, diode_drop=0.8)
WAVE = Tracking([-30 * deg, -25 * deg, -5 * deg, 0.0], [0, 1, 1, 0])
STUDY = Study(
    name="made up <wheel>",
    base=MACHINE,
    plan=Plan(
        PLAN.drive,
        PLAN.basis,
        current_points=1,
        operating_points=(
            WaveformOperatingPoint("rounded", WAVE, EqualCurrent(9.0), 100 * rpm),
            DriveOperatingPoint("throwing", 100 * rpm, BRIDGE, -30 * deg, -5 * deg, Tracking.level(9.0)),
        ),
    ),
    variants=[
        Variant("plain"),
        Variant("wide", {"rotor_pole.arc": 40 * deg}),
        Variant("thin & long named shape with many words in it", {"rotor_pole.arc": 33.4 * deg}),
        Variant("open", {"air_gap": 0.6 * mm, "rotor_pole.arc": 35 * deg}),
        Variant("touching", {"rotor_pole.arc": 95 * deg}),
    ],
    tolerances=(FieldTolerance("rotor_pole.arc", 0.5 * deg),),
    error_bars=3,
    sensitivities=Sensitivities({"rotor_pole.arc": Range(30 * deg, 40 * deg)}, points=8),
    switching=SwitchingTable(BRIDGE, speeds=(50 * rpm,), torques=(1.0, 3.0)),
)


def found_in(study: Study, folder: Path) -> Findings:
    """A study, computed with made-up fields and kept in a folder."""
    with Store(folder) as store:

        def run(name: str, designs: Any) -> Any:
            return run_designs(name, designs, store, InProcess(), solver=FAKE)

        ranking = rank(run(study.name, study.designs()), study.plan.terms, limits=study.limits)
        findings = findings_of(study, ranking, run, store.outcome)
        asked = [(shape.design, shape.figures.current) for shape in findings.shapes]
        fields, _ = keep_section_fields(asked, store, InProcess(), solver=FAKE)
        shown = tuple(replace(shape, fields=fields[shape.name]) for shape in findings.shapes)
        return replace(findings, shapes=shown)
