"""From a correction to what follows of it: the corrected machine as a file, and a study that starts from it.

What the readings leave open is carried on as it is, correlations and all: the covariance of the causes that are part of
the machine is taken apart into its principal directions, and each is a tolerance of the study by itself
(`JointTolerance`), shared by all designs, since the shop that built this machine builds the next. The ends, which no
machine file has, are the study's: its plan counts them as many times their estimate as was found.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from polefem.measured.causes import MAP_CAUSES, changed_machine, drawn_values, label
from polefem.measured.correction import Correction
from polefem.measured.words import confused, found_sentences, told
from polefem.params import Machine
from polefem.params.toml import machine_text
from polefem.study import JointTolerance, Study

__all__ = ["corrected_study", "corrected_text", "left_open"]

#: Causes that a study can carry; and of these, fields of its machines or its plan.
CARRIED = (*MAP_CAUSES, "ends")
FIELDS = {"air_gap": "air_gap", "stacking_factor": "stacking_factor", "ends": "end_effects"}
#: Directions in which less than this part of the largest deviation is left move no figure that anyone sees.
SMALLEST = 0.02


def corrected_text(machine: Machine, correction: Correction) -> str:
    """TOML of the corrected machine; what was found, and what is no part of a machine, stands in its first lines."""
    said = (
        "Corrected by what was measured on the bench:",
        *found_sentences(correction),
        "The angle offset is of the bench's mark. Of the ends a study knows: "
        f"Plan(end_effects={correction.found['ends']:.3f}).",
        *told(correction),
        *confused(correction),
    )
    lines = "".join(f"# {line}\n" for line in said)
    return lines + machine_text(correction.machine(machine))


def left_open(correction: Correction) -> tuple[JointTolerance, ...]:
    """What the readings leave open of the machine and its ends, a tolerance for each principal direction, largest
    first."""
    at = [k for k, name in enumerate(correction.names) if name in CARRIED]
    names = [correction.names[k] for k in at]
    scale = np.array([getattr(correction.tolerances, name) for name in names])
    covariance = correction.covariance[np.ix_(at, at)] / np.outer(scale, scale)
    sizes, directions = np.linalg.eigh(covariance)
    found = []
    for size, direction in sorted(zip(sizes, directions.T, strict=True), key=lambda pair: -pair[0]):
        if np.sqrt(size) < SMALLEST * np.sqrt(sizes.max()):
            continue
        steps = dict(zip(names, np.sqrt(size) * direction * scale, strict=True))
        mostly = label(names[int(np.argmax(np.abs(direction)))])
        fields = tuple((field, float(steps[name])) for name, field in FIELDS.items() if name in steps)
        built = (float(steps.get("knee", 0.0)), float(steps.get("saturation", 0.0)))
        found.append(JointTolerance(f"left open by the bench, mostly {mostly}", fields, built))
    return tuple(found)


def corrected_study(study: Study, machine: Machine, correction: Correction) -> Study:
    """A study of shapes as the shop that built this machine will build them.

    machine: as drawn, that was measured. The study's own base is changed by as much as the measured machine was: its
    gap and stacking factor by the difference, its steel by what building was found to do to it; its turns, which one
    machine's miscount says nothing of, are left. Where the ends were among the causes, its plan counts them, so many
    times the estimate. Tolerances in the causes that were corrected give way to what the readings left open.
    """
    drawn, found = drawn_values(machine), correction.found
    own = drawn_values(study.base)
    moved = {name: own[name] + found[name] - drawn[name] for name in MAP_CAUSES if name in correction.names}
    if "stacking_factor" in moved:
        moved["stacking_factor"] = min(moved["stacking_factor"], 1.0)
    kept = tuple(t for t in study.tolerances if getattr(t, "field", "") not in moved)
    plan = study.plan
    if "ends" in correction.names:
        plan = replace(plan, end_effects=found["ends"])
    return replace(
        study,
        plan=plan,
        name=f"{study.name}, as measured",
        base=changed_machine(study.base, moved),
        tolerances=(*kept, *left_open(correction)),
    )
