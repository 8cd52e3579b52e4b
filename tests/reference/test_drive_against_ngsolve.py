"""Steady states at a bridge held against NGSolve, a general-purpose finite-element library, point by point.

What the bridge has put into each phase by an angle, its voltage less the drop at the resistance added up over time, is
what a field of the phases' currents must link there, and that field's torque is the machine's. Both are asked of fields
of NGSolve's own, of a mesh of its own at every angle, where phases hand over to each other. A drive on phases summed
is the broken twin: where iron is shared, its currents do not link what the bridge put in.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from make_coupled import LEVEL, MACHINES, PATTERNS, solved
from reference_machines import joined
from test_coupled_against_ngsolve import CASE, made

from polefem import CoupledMap
from polefem.drive import DriveRun, steady_state
from polefem.maps import summed
from polefem.params.drive_spec import AverageVoltage, Bridge, Chopping, DriveSpec, Tracking
from polefem.units import deg
from tests.record.check import Check

pytestmark = pytest.mark.slow

Record = Callable[..., None]
BRIDGE, OHMS = Bridge(48.0, switch_drop=0.7, diode_drop=0.8), 0.3
#: Machine, coils, what drives it, turn-on and turn-off (deg), speed (rad/s).
POINTS = {
    "voltage in pulses": ("thin yoke", "one sign", AverageVoltage(0.3), -40.0, -4.0, 30.0),
    "current held": ("thin yoke", "one sign", Tracking.level(12.0), -38.0, -6.0, 10.0),
    "hard chopping": ("6_4", "alternating", Chopping(12.0, 1.0, hard=True), -38.0, -6.0, 20.0),
}
STATES = 6
#: Of the peak torque of one phase, %. Flux linkages are held by the map's own estimate: beside a phase that conducts
#: much, those of one that conducts little lie between levels, and have been seen 0.3 % off, in a thin yoke 0.5 %.
LIMIT = 0.25


def run_of(m: CoupledMap, point: str) -> DriveRun:
    _, _, control, on, off, speed = POINTS[point]
    return steady_state(m, DriveSpec(BRIDGE, OHMS, on * deg, off * deg, control), speed)


def distances(m: CoupledMap, point: str, run: DriveRun) -> tuple[float, float]:
    """Worst distance of torque and of flux linkages, in %, at angles where phases hand over."""
    name, pattern = POINTS[point][:2]
    machine = joined(MACHINES[name][0](), PATTERNS[pattern])
    both = np.flatnonzero(np.sort(run.current, axis=1)[:, -2] > 0.2 * run.current.max())
    torque, linked = [], []
    for at in both[np.linspace(0, len(both) - 1, STATES).round().astype(int)].tolist():
        fluxes, pull = solved(machine, float(run.angles[at]), run.current[at].tolist(), LEVEL)
        torque.append(abs(run.torque[at] - pull) / np.abs(m.single.torque).max())
        linked.append(np.abs(run.flux_linkage[at] - fluxes).max() / np.abs(m.single.flux_linkage).max())
    return 100 * float(max(torque)), 100 * float(max(linked))


@pytest.mark.parametrize("point", POINTS)
def test_a_steady_state_links_what_the_bridge_put_in(point: str, record: Record) -> None:
    name, pattern = POINTS[point][:2]
    m = made(name, pattern)
    torque, linked = distances(m, point, run_of(m, point))
    twin, wrongly = distances(m, point, run_of(summed(m.single), point))
    assert m.flux_linkage_error is not None
    bound = 100 * m.flux_linkage_error / np.abs(m.single.flux_linkage).max()
    assert linked < bound < wrongly
    library = f"NGSolve, third order, {STATES} states where phases hand over"
    said = f"at a bridge, {point}, {name.replace('_', '/')}, coils {pattern}, worst torque, of the peak"
    record(Check(CASE, said, 0.0, "%", library, "computed", LIMIT, relative=False), torque, twin)
