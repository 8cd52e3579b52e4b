"""Does it matter who rolled the sheet? The shapes of `studies/pottery_wheel.py` in one grade from two makers.

M330-50A names a loss and a least polarisation, and no curve. Of two sheets sold under it, one needs 1370 A/m for 1.5 T
of polarisation and the other 1930, 40 % more (the Modelica Standard Library's measured curve and a data sheet, both
read). Here each shape is cut from both, and from a sheet that needs 40 % more than the first at every flux density.

    python studies/wheel_two_makers.py --workers 2

What it found on 2026-11-25, at 60 W in the copper: the two makers' sheets differ by 0.6 % of the mean torque at most
and by 1.0 to 1.8 points of ripple (32.5 against 30.7 % of the parallel poles); sheet that is 40 % harder throughout
costs 2.2 to 2.4 % of the torque and moves the ripple by a point at most. The shapes keep their order with all three:
parallel, tapered, wide rotor, shoed, notched. But parallel and tapered poles are no further apart than the two makers:
which of those is smoother is known only for the sheet in hand.
"""

import dataclasses

from pottery_wheel import plan, wheel
from pottery_wheel import study as shapes

from polefem import MU0, Steel, Study, Variant, main


def harder(steel: Steel, times: float) -> Steel:
    """Sheet that needs so many times the field strength for the same polarisation."""
    points = steel.curve
    assert points is not None
    h = times * points.h
    return Steel.from_table(h, points.j + MU0 * h, name=f"{steel.name}, {times:g} times the field")


one = Steel.named("M330-50A measured")
makers = {
    "one maker": one,
    "another": Steel.named("M330-50A data sheet"),
    "40 % harder": harder(one, 1.4),
}

study = Study(
    name="wheel two makers",
    base=wheel,
    plan=dataclasses.replace(plan, current_points=3),  # currents lie within a fifth
    variants=[
        Variant(f"{shape.name}, {maker}", {**shape.changes, "steel": steel})
        for shape in shapes.variants
        if shape.name != "overgrown"
        for maker, steel in makers.items()
    ],
)

if __name__ == "__main__":
    raise SystemExit(main(study))
