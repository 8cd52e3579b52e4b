"""Flux that bulges out of the ends of the stack between the poles, which a flat section has none of.

At each end, along every millimetre of pole face that looks at another across a gap g, lie a half cylinder between the
edges and a half hollow cylinder between the ends of the poles (H. C. Roters, Electromagnetic Devices, 1941; the
coefficients read in a text that names him):

    permeance per length = mu0 [0.26 + ln(1 + 2 t / g) / pi]

with t the depth along the pole to which its end is magnetised: down to the coil, and a quarter of the coil's height
beyond, since the square of the magnetomotive force, which falls to nothing along the coil, adds up to that (0.27 and
0.28 of the height in two examples). Where poles overlap g is the air gap; where they do not, it is the gap that a pole
seems to see unaligned: mu0 * width * length over its permeance there. Between the two the fringe grows in step with the
inductance, as the overlap does.

The fringe is taken to cost the steel nothing and to be driven by what drives the gap: of the current, the part
i_gap = flux linkage / unsaturated inductance. Its co-energy is L_fringe(angle) i_gap^2 / 2; flux linkage and torque are
the derivatives of that, so that saturated steel passes little of it on and no energy is made. The unsaturated
inductance is that of the map's lowest current.

Roters' formula is for poles that end in one plane. The result is taken as good to some 30 % (an assumption); the flux
of the end turns (`end_winding`) takes up a part of the same space, which both together count twice.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.copper import coil_shape
from polefem.maps import FluxMap
from polefem.materials import MU0
from polefem.outline import DrawnMachine, Label, Outline, drawn
from polefem.params import Machine

__all__ = ["EndFringing", "end_fringing", "fringe_permeance", "with_end_fringing"]

Floats = NDArray[np.float64]

#: Step of the angle over which co-energies are differenced for the torque, rad.
STEP = 1e-5
COIL_SHARE = 0.25  # of the coil's height, to which the ends of poles count as magnetised


@dataclass(frozen=True)
class EndFringing:
    """Inductance that fringing at both ends of the stack adds to a phase, H, while the steel is unsaturated.

    aligned, unaligned: added there. most, least: inductance of the flat section there, H. first_current: at which
    they were taken, A.
    """

    aligned: float
    unaligned: float
    most: float
    least: float
    first_current: float

    def inductance(self, flat: Floats) -> Floats:
        """Added where the flat section has an inductance `flat` (H), of the same shape."""
        overlap = (flat - self.least) / (self.most - self.least)
        added: Floats = self.unaligned + overlap * (self.aligned - self.unaligned)
        return added

    def coenergy(self, flux_map: FluxMap, angle: Floats, current: Floats) -> Floats:
        """Added at angles (rad) and currents (A) of a map, J."""
        flat = flux_map.at(angle, self.first_current)[0] / self.first_current
        gap_current = flux_map.at(angle, current)[0] / flat
        coenergy: Floats = self.inductance(flat) / 2 * gap_current**2
        return coenergy


def fringe_permeance(gap: float, depth: float) -> float:
    """Of one end of poles across a gap, whose ends are magnetised to a depth (both m), over mu0, per length of face.

    >>> round(fringe_permeance(1e-3, 0.0), 2), round(fringe_permeance(1e-3, 0.5e-3) - 0.26, 4)
    (0.26, 0.2206)
    """
    return 0.26 + math.log(1 + 2 * depth / gap) / math.pi


def end_fringing(flux_map: FluxMap, machine: Machine | DrawnMachine) -> EndFringing:
    """What fringing at the ends of the stack adds, from the map of the flat section and the machine's dimensions.

    Raises GeometryRefused for a machine that cannot be built, InvalidValue for a map that does not cover the pitch.
    """
    known = drawn(machine)
    machine, outline = known.machine, known.outline
    first = float(flux_map.currents[flux_map.currents > 0][0])
    flat = flux_map.at(flux_map.angles, first)[0] / first
    most, least = float(flat.max()), float(flat.min())
    coil = coil_shape(known)
    gaps = machine.stator_poles // machine.phases.count * machine.halves
    turns = machine.section_turns / machine.winding.parallel_paths
    per_permeance = MU0 * turns**2 * gaps * outline.stator.feature  # H for each mu0 per length of face
    depth = _depth(machine, outline, coil.height)
    unaligned_gap = per_permeance * coil.straight / least
    return EndFringing(
        aligned=2 * per_permeance * fringe_permeance(machine.air_gap, depth),
        unaligned=2 * per_permeance * fringe_permeance(unaligned_gap, depth),
        most=most,
        least=least,
        first_current=first,
    )


def with_end_fringing(flux_map: FluxMap, machine: Machine | DrawnMachine) -> FluxMap:
    """The map with the flux that bulges out of the ends of the stack, energy-consistent; see the head of this file.

    The map says so in its `remarks`; an incremental inductance it had is left out. Raises as `end_fringing` does.
    """
    fringe = end_fringing(flux_map, machine)
    angles, currents = np.broadcast_arrays(flux_map.angles, flux_map.currents[:, None])
    flat = flux_map.at(angles, fringe.first_current)[0] / fringe.first_current
    point = flux_map.potential.at(angles, currents)
    flux = fringe.inductance(flat) / flat**2 * point.flux_linkage * point.incremental_inductance
    ahead, behind = (fringe.coenergy(flux_map, angles + step, currents) for step in (STEP, -STEP))
    shares = fringe.aligned / fringe.most, fringe.unaligned / fringe.least
    more = f"{shares[0]:.2%} more inductance aligned, {shares[1]:.2%} unaligned"
    remark = f"flux past the ends of the steel is in it ({more}), an estimate and no field solution"
    return dataclasses.replace(
        flux_map,
        flux_linkage=flux_map.flux_linkage + flux,
        torque=flux_map.torque + (ahead - behind) / (2 * STEP),
        coenergy=flux_map.coenergy + fringe.coenergy(flux_map, angles, currents),
        incremental_inductance=None,
        remarks=(*flux_map.remarks, remark),
    )


def _depth(machine: Machine, outline: Outline, coil_height: float) -> float:
    """To which the ends of the poles are magnetised, m: the bare part, and a share of the coil; the rotor's height."""
    first = outline.stator.region(Label("coil", pole=0, side="minus"))  # on the x axis
    bare = min(abs(segment.start.real - outline.stator.gap) for segment in first.ring)
    return min(bare + COIL_SHARE * coil_height, machine.rotor_pole_height)
