"""How long a steady state takes on a coupled map, on its phases summed, and on one phase alone; a run-up and a table
of 20 x 20: python -m tests.benchmarks.drive_speed [MAP].

MAP: a saved coupled map; else the phases that share iron of the tests. Times are of the processor, so that other work
on the computer does not count. The first call of all also reads, or compiles, the machine code of the stepper.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from polefem.drive import angle_table, best_setting, most_torque, run_free_shaft, steady_state
from polefem.drive.potential import tables
from polefem.maps import CoupledMap, summed
from polefem.params.drive_spec import AverageVoltage, Bridge, Chopping, DriveSpec, Load, SinglePulse, Tracking
from polefem.units import deg
from tests.drive.sharing_iron import SHARING

BRIDGE, SAGGING, OHMS = Bridge(48.0, 0.7, 0.8), Bridge(48.0, 0.7, 0.8, 0.1), 0.6
RUNS: dict[str, tuple[Bridge, Any, float, float]] = {
    "single pulse, 60 rad/s": (BRIDGE, SinglePulse(), -15.0, 60.0),
    "modulated, 20 rad/s": (BRIDGE, AverageVoltage(0.3), -12.0, 20.0),
    "level of 8 A, 10 rad/s": (BRIDGE, Tracking.level(8.0), -8.0, 10.0),
    "soft chopping, 10 rad/s": (BRIDGE, Chopping(8.0, 0.8), -8.0, 10.0),
    "hard chopping, 10 rad/s": (BRIDGE, Chopping(8.0, 0.8, hard=True), -8.0, 10.0),
    "single pulse, sagging source": (SAGGING, SinglePulse(), -15.0, 60.0),
    "soft chopping, sagging source": (SAGGING, Chopping(8.0, 0.8), -8.0, 10.0),
}


def median_time(work: Callable[[], object], times: int = 15) -> float:
    """Median over some repetitions, s."""
    taken = []
    for _ in range(times):
        begin = time.process_time()
        work()
        taken.append(time.process_time() - begin)
    return float(np.median(taken))


def one_phase(m: CoupledMap) -> CoupledMap:
    """A machine of one phase, its rotor pitch that of the map."""
    return summed(replace(m.single, phases=1))


def run(m: CoupledMap, size: int = 20) -> None:
    """Print the figures for a map."""
    maps = {"joint": m, "summed": summed(m.single), "one phase": one_phase(m)}
    print(m)
    begin = time.process_time()
    steady_state(maps["one phase"], DriveSpec(BRIDGE, OHMS, -34 * deg, -15 * deg), 60.0)
    print(f"first call of all: {time.process_time() - begin:.1f} s")
    for one in maps.values():
        begin = time.process_time()
        tables(one)
        print(f"tables, once a map: {1e3 * (time.process_time() - begin):.1f} ms")
    for name, (bridge, control, off, speed) in RUNS.items():
        drive = DriveSpec(bridge, OHMS, -34 * deg, off * deg, control)
        taken = [median_time(partial(steady_state, one, drive, speed)) for one in maps.values()]
        error = steady_state(m, drive, speed).energy.error
        times = ", ".join(f"{of} {1e3 * t:.1f} ms" for of, t in zip(maps, taken, strict=True))
        ratios = f"joint / one phase {taken[0] / taken[2]:.1f}, joint / summed {taken[0] / taken[1]:.1f}"
        print(f"{name}: {times}; {ratios}; energy of the joint one off by {error:.1e}")
    drive = DriveSpec(BRIDGE, OHMS, -34 * deg, -8 * deg, Chopping(8.0, 0.8))
    begin = time.process_time()
    up = run_free_shaft(m, drive, Load(friction=0.1, drag=0.01), 0.02, 1.0, angle=0.2)
    lasted = time.process_time() - begin
    print(f"run-up of 1 s, {up.time.size} steps: {lasted:.2f} s, energy off by {up.energy.error:.1e}")
    most = most_torque(m, BRIDGE, OHMS, 5.0, current_limit=20.0).mean_torque
    begin = time.process_time()
    best_setting(m, BRIDGE, OHMS, 40.0, 0.4 * most, current_limit=20.0)
    print(f"best setting: {time.process_time() - begin:.2f} s")
    speeds, torques = np.linspace(5.0, 100.0, size), np.linspace(-0.9, 0.9, size) * most
    begin = time.process_time()
    table = angle_table(m, BRIDGE, OHMS, speeds, torques, current_limit=20.0)
    print(f"{table}: {time.process_time() - begin:.0f} s")


if __name__ == "__main__":
    run(CoupledMap.load(sys.argv[1]) if len(sys.argv) > 1 else SHARING)
