"""Two hundred pottery wheels: what a blind sample finds, what smoothness costs, and which fields matter.

The same ranges as `studies/wheel_search.py`, filled evenly with a Latin hypercube: the measure for what the search is
worth. Objectives are ripple, mean torque and the mass of the steel, so that the designs which nothing beats in all
three together are listed and drawn; then the slopes and shares of each field.

    python studies/wheel_sample.py --workers 2
"""

from wheel_search import limits, plan, ranges, wheel

from polefem import LatinHypercube, Sensitivities, Study, main

study = Study(
    name="wheel sample",
    base=wheel,
    plan=plan,
    variants=LatinHypercube(ranges, 200),
    limits=limits,
    objectives=("ripple", "mean_torque", "steel_mass"),
    sensitivities=Sensitivities(ranges, ("ripple", "mean_torque"), points=64),
)

if __name__ == "__main__":
    raise SystemExit(main(study))
