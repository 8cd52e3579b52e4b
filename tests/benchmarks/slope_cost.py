"""What slopes cost: a map with its slopes in twenty fields, beside the map alone and twenty differences of maps.

    OMP_NUM_THREADS=1 python -m tests.benchmarks.slope_cost               a normal mesh, 16 x 4 points (two minutes)
    OMP_NUM_THREADS=1 python -m tests.benchmarks.slope_cost --mesh coarse

All in one run, in time of the one processor that it uses. A difference takes one map more a field (to one side); a few
are taken and their mean stands for twenty. A near machine's map from the moved meshes and fields is set against its map
from nothing.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from polefem import MeshSpec, Notch, Pole, flux_map
from polefem.field import built
from polefem.params.fields import field_value, with_fields
from polefem.slopes import sloped_map
from polefem.sweep import Teller, swept
from polefem.units import deg, mm
from tests.benchmarks.map_cost import machine

ANGLES, CURRENTS = np.linspace(0.0, 45.0, 16) * deg, np.linspace(5.0, 20.0, 4)
FIELDS = (
    "stator_outer_radius",
    "rotor_outer_radius",
    "air_gap",
    "stator_yoke_thickness",
    "rotor_yoke_radius",
    "shaft_radius",
    "stack_length",
    "stator_pole.arc",
    "stator_pole.taper",
    "stator_pole.tip_chamfer",
    "stator_pole.root_fillet",
    "rotor_pole.arc",
    "rotor_pole.taper",
    "rotor_pole.notches.0.at",
    "rotor_pole.notches.0.width",
    "rotor_pole.notches.0.depth",
    "winding.coil_width",
    "winding.face_inset",
    "winding.yoke_clearance",
    "winding.liner",
)
#: Of them, for differences; and how far a near machine is, in parts of these fields' values.
SOME, NEAR = ("air_gap", "rotor_pole.taper", "winding.coil_width"), 0.02


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    begun = time.process_time()
    found = work()
    return time.process_time() - begun, found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--mesh", default="normal")
    spec = MeshSpec.named(parser.parse_args().mesh)
    notched = Pole(arc=32 * deg, taper=3 * deg, notches=(Notch(at=0.0, width=1.5 * mm, depth=1.0 * mm),))
    stator = Pole(arc=31 * deg, taper=1 * deg, tip_chamfer=0.4 * mm, root_fillet=1.0 * mm)
    base = replace(machine(), stator_pole=stator, rotor_pole=notched)
    whole = built(base, spec)
    rough = whole.rough
    meshing, systems = timed(lambda: whole.systems)
    alone, _ = timed(lambda: swept(whole, rough, ANGLES, CURRENTS, Teller(None, 0)))
    sloped, (_, start) = timed(lambda: sloped_map(whole, ANGLES, CURRENTS, FIELDS))
    size = systems[0].size
    print(f"{size} unknowns, {ANGLES.size} x {CURRENTS.size} points, {len(FIELDS)} fields")
    cost = meshing + alone
    print(f"map {cost:.2f} s, of which {meshing:.2f} s meshing")
    print(f"slopes on top of it: {sloped - alone:.2f} s, {(sloped - alone) / cost:.2f} maps")
    differences = []
    for field in SOME:
        near = with_fields(base, {field: field_value(base, field) * (1 + NEAR)})
        differences.append(timed(partial(flux_map, near, ANGLES, CURRENTS, spec))[0])
    mean = float(np.mean(differences))
    print(f"{len(FIELDS)} differences: {len(FIELDS) * mean:.1f} s, {len(FIELDS) * mean / cost:.1f} maps")
    near = with_fields(base, {field: field_value(base, field) * (1 + NEAR) for field in SOME})
    moved, _ = timed(lambda: start.near_map(near, ANGLES, CURRENTS))
    fresh, _ = timed(lambda: flux_map(near, ANGLES, CURRENTS, spec))
    print(f"a near machine: {moved:.2f} s on moved meshes, {fresh:.2f} s from nothing: {moved / fresh:.2f}")


if __name__ == "__main__":
    main()
