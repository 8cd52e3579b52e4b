"""Both end effects at once, for whoever switches them on or off and prints them beside the field's own figures."""

from __future__ import annotations

from dataclasses import dataclass, replace

from polefem.estimates.end_fringing import EndFringing, end_fringing, with_end_fringing
from polefem.estimates.end_winding import end_winding_inductance, with_end_winding
from polefem.maps import FluxMap
from polefem.outline import DrawnMachine, drawn
from polefem.params import Machine

__all__ = ["EndEffects", "end_effects", "with_end_effects"]


@dataclass(frozen=True)
class EndEffects:
    """What the ends of a machine add to one phase, by formulas and not by a field.

    end_winding: inductance of the end turns, H. fringing: of the flux past the ends of the steel.
    """

    end_winding: float
    fringing: EndFringing

    def __str__(self) -> str:
        most, least = self.fringing.most * 1e3, self.fringing.least * 1e3
        aligned, unaligned = self.fringing.aligned * 1e3, self.fringing.unaligned * 1e3
        return (
            f"field solution: {most:.4g} mH aligned, {least:.4g} mH unaligned; estimates apart from it: end turns "
            f"{self.end_winding * 1e3:.3g} mH, flux past the ends of the steel {aligned:.3g} mH aligned and "
            f"{unaligned:.3g} mH unaligned (unsaturated, each good to some 30 %)"
        )


def end_effects(flux_map: FluxMap, machine: Machine | DrawnMachine) -> EndEffects:
    """Both estimates, for the machine's map as the field gives it; raises as `end_fringing` does."""
    known = drawn(machine)
    return EndEffects(end_winding_inductance(known), end_fringing(flux_map, known))


def with_end_effects(
    flux_map: FluxMap,
    machine: Machine | DrawnMachine,
    end_winding: bool = True,
    fringing: bool = True,
    factor: float = 1.0,
) -> FluxMap:
    """The map with either estimate or both, as its `remarks` then say; with neither, the map itself.

    factor: how many times the estimates, as a measurement may ask for (`polefem.measured`).
    """
    # Fringing first: the end turns' inductance drives nothing across the gap.
    known, found = drawn(machine), flux_map
    if fringing:
        found = with_end_fringing(found, known)
    if end_winding:
        found = with_end_winding(found, known)
    return found if factor == 1.0 or found is flux_map else _times(flux_map, found, factor)


def _times(flat: FluxMap, full: FluxMap, factor: float) -> FluxMap:
    """The flat map and so many times what another has more than it."""
    linear = {
        name: getattr(flat, name) + factor * (getattr(full, name) - getattr(flat, name))
        for name in ("flux_linkage", "torque", "coenergy")
    }
    slopes = flat.incremental_inductance, full.incremental_inductance
    known = None if slopes[0] is None or slopes[1] is None else slopes[0] + factor * (slopes[1] - slopes[0])
    remarks = (*full.remarks, f"of these estimates {factor:.4g} times are in it, as was measured")
    return replace(full, **linear, incremental_inductance=known, remarks=remarks)
