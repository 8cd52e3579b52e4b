"""What the workshop's error bars of one design cost, and how much of them is mesh: fresh maps, moved meshes, slopes.

    OMP_NUM_THREADS=1 python -m tests.benchmarks.near_designs             phases summed, a normal mesh (two minutes)
    OMP_NUM_THREADS=1 python -m tests.benchmarks.near_designs --coupling joint --mesh coarse            (five minutes)

All in one run, in time of the one processor that it uses. The error bars of the wheel of
`geometries/pottery_wheel.toml` in three fields take its own map and six more, fresh or over its moved mesh; or one with
slopes. The scatter is what is left of a figure over gaps within a workshop's spread, about a parabola.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from polefem import MeshSpec, load_machine
from polefem.params import RectangularCurrent
from polefem.params.fields import field_value
from polefem.study import (
    Copper,
    Design,
    Effect,
    EqualCopperLoss,
    FieldTolerance,
    Plan,
    Record,
    attempt,
    effects_by_slopes,
    effects_of,
)
from polefem.units import W, deg, mm

WHEEL = load_machine(Path(__file__).parents[2] / "geometries" / "pottery_wheel.toml")
TOLERANCES = (
    FieldTolerance("air_gap", 0.02 * mm),
    FieldTolerance("rotor_pole.arc", 0.1 * deg),
    FieldTolerance("stack_length", 0.3 * mm),
)
GAPS = np.linspace(-1.0, 1.0, 7)
FIGURES = {"ripple": "%", "mean_torque": "mN m"}


def on_fresh_meshes(design: Design) -> Design:
    return replace(design, changes={name: v for name, v in design.changes.items() if name != "meshed_as"})


def as_asked(design: Design) -> Design:
    return design


class Counted:
    """A run that keeps what it computed, and counts designs and seconds."""

    def __init__(self, changed: Callable[[Design], Design]) -> None:
        self.changed, self.known, self.seconds = changed, dict[str, Record](), 0.0

    def __call__(self, study: str, designs: Sequence[Design]) -> list[Record]:
        for design in designs:
            begun = time.process_time()
            if design.name not in self.known:
                found = attempt(self.changed(design))
                self.known[design.name] = Record(design.name, design.name, design.plain_changes, found)
                self.seconds += time.process_time() - begun
        return [self.known[design.name] for design in designs]


def effects(
    design: Design, changed: Callable[[Design], Design], exact: bool
) -> tuple[Counted, dict[str, tuple[Effect, ...]]]:
    run, found = Counted(changed), {}
    for figure in FIGURES:
        asked = ("b", [design], TOLERANCES, figure, run)
        found[figure] = effects_of(*asked, effects_by_slopes(*asked) if exact else None)[design.name]
    return run, found


def scatter(design: Design, changed: Callable[[Design], Design], figure: str, run: Counted) -> float:
    gap, tolerance = field_value(WHEEL, "air_gap"), TOLERANCES[0].deviation
    changes = [{"air_gap": gap + tolerance * float(u), "meshed_as": WHEEL} for u in GAPS]
    near = [replace(design, name=f"gap {at}", changes=change) for at, change in enumerate(changes)]
    values = np.array([record.figures.value(figure) for record in run("gaps", near) if record.figures], float)
    return float(np.std(values - np.polyval(np.polyfit(GAPS, values, 2), GAPS)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--mesh", default="normal")
    parser.add_argument("--coupling", default="summed", choices=("summed", "joint"))
    asked = parser.parse_args()
    plan = Plan(
        RectangularCurrent(-34 * deg, -4 * deg, 4 * deg if asked.coupling == "joint" else 0.0),
        EqualCopperLoss(60 * W),
        Copper(fill_factor=0.45, temperature=100.0),
        MeshSpec.named(asked.mesh),
        current_points=3,
        coupling=asked.coupling,
    )
    design = Design("wheel", WHEEL, {}, plan)
    attempt(replace(design, original_plan=replace(plan, coupling="summed", angle_points=5)))  # all is loaded
    ways = {
        "fresh meshes": (on_fresh_meshes, False),
        "its mesh, moved": (as_asked, False),
        "slopes": (as_asked, True),
    }
    whole = 0.0
    for way, (changed, exact) in ways.items():
        run, found = effects(design, changed, exact)
        whole = whole or run.seconds
        print(f"{way}: {len(run.known)} maps in {run.seconds:.1f} s, {run.seconds / whole:.2f} of fresh ones")
        for figure, unit in FIGURES.items():
            size = {"%": 100.0, "mN m": 1e3}[unit]
            told = [f"{e.source} {size * e.linear:+.3f} {size * e.curved:+.3f}" for e in found[figure][:-1]]
            print(f"    {figure} [{unit}], straight and curved: {', '.join(told)}")
    if asked.coupling == "summed":
        runs = {way: Counted(ways[way][0]) for way in ("fresh meshes", "its mesh, moved")}
        for figure in FIGURES:
            fresh, moved = (scatter(design, ways[way][0], figure, run) for way, run in runs.items())
            print(
                f"scatter of the {figure} over gaps: {fresh:.1e} fresh, {moved:.1e} moved: {moved / fresh:.1e}"
            )


if __name__ == "__main__":
    main()
