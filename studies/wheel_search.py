"""The smoothest pottery wheel that a search can find.

`studies/pottery_wheel.py` compares five shapes that a person thought of. Here the pole arcs, the tapers and the width
of the coils move freely within what can be cut and wound, and the search looks for the least torque ripple at 60 W in
the copper, with no less mean torque than the best that a plain scan of the two arcs has: 18.6 % at 3.46 N m. When
phases are switched is no dimension of the search: every design is judged by the switching that suits it, found on its
map. Start: arcs that a builder might try first, 34 deg and 40 deg, with 22 % at 3.50 N m.

    python studies/wheel_search.py --workers 2

It computes 30 designs at a mesh that is coarse enough to be quick and fine enough to tell them apart; check what it
finds with `--mesh fine`. Stopped, it goes on where it was. The best design is written as `first.toml`.
"""

from dataclasses import replace
from pathlib import Path

from polefem import (
    Copper,
    EqualCopperLoss,
    Limit,
    MeshSpec,
    Plan,
    Range,
    Search,
    SuitedSwitching,
    load_machine,
    main,
)
from polefem.units import W, deg, mm

LEAST_TORQUE = 3.46

wheel = load_machine(Path(__file__).parents[1] / "geometries" / "pottery_wheel.toml")

plan = Plan(
    drive=SuitedSwitching(least_torque=3.0),
    basis=EqualCopperLoss(60 * W),
    copper=Copper(fill_factor=0.45, temperature=100.0),
    mesh=MeshSpec.named("coarse"),
    current_points=3,  # the current follows from the dwell, within a fifth: three know it well enough
)

ranges = {
    "rotor_pole.arc": Range(30 * deg, 46 * deg),
    "stator_pole.arc": Range(30 * deg, 38 * deg),
    "rotor_pole.taper": Range(0 * deg, 12 * deg),
    "stator_pole.taper": Range(0 * deg, 4 * deg),
    "winding.coil_width": Range(12 * mm, 14 * mm),
}
limits = (Limit("copper_mass", most=1.5),)

study = Search(
    name="wheel search",
    base=replace(
        wheel,
        stator_pole=replace(wheel.stator_pole, arc=34 * deg),
        rotor_pole=replace(wheel.rotor_pole, arc=40 * deg),
    ),
    plan=replace(plan, drive=SuitedSwitching(least_torque=LEAST_TORQUE)),
    ranges=ranges,
    objective="ripple",
    limits=(*limits, Limit("mean_torque", least=LEAST_TORQUE)),
    evaluations=30,
)

if __name__ == "__main__":
    raise SystemExit(main(study))
