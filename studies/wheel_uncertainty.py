"""Is the first really the first? The shapes of `studies/pottery_wheel.py`, each with what a workshop does to it.

Laminations cut by a shop with a punch or a laser, a rotor turned between centres, sheet bought twice from different
mills: the tolerances below are one standard deviation each. The study says which neighbours in the ranking are tied,
how likely the first is to stay first, and what to measure or refine to be surer.

    python studies/wheel_uncertainty.py --workers 2
"""

import dataclasses

from pottery_wheel import plan, wheel
from pottery_wheel import study as shapes

from polefem import EccentricityTolerance, FieldTolerance, Steel, SteelTolerance, Study, main
from polefem.units import deg, mm

study = Study(
    name="wheel uncertainty",
    base=wheel,
    plan=dataclasses.replace(plan, current_points=3),  # currents lie within a fifth
    variants=shapes.variants,
    tolerances=(
        FieldTolerance(
            "air_gap", 0.02 * mm
        ),  # rotor and bore each turned to a hundredth, and the stack breathes as much
        FieldTolerance("rotor_pole.arc", 0.1 * deg),  # 0.08 mm at the face: a punch that is no longer new
        FieldTolerance("stator_pole.arc", 0.1 * deg),
        EccentricityTolerance(0.05 * mm),  # two bearing seats, bored in two clampings
        SteelTolerance(
            Steel.named("M400-50A")
        ),  # what the mill may send instead; all shapes would be cut from it
    ),
)

if __name__ == "__main__":
    raise SystemExit(main(study))
