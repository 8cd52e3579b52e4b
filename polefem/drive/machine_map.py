"""What a drive runs on: the map of the whole machine, and the sentence for whoever hands it that of one phase."""

from __future__ import annotations

from polefem.errors import InvalidValue, refusal
from polefem.maps import CoupledMap

__all__ = ["of_machine"]


def of_machine(m: CoupledMap) -> CoupledMap:
    """The map itself; raises InvalidValue for one of a single phase, or what is none."""
    if not isinstance(m, CoupledMap):
        rule, allowed = (
            "a drive runs on the map of the whole machine",
            "coupled_map(...), or summed(flux_map)",
        )
        raise InvalidValue(refusal(rule, "map", f"a {type(m).__name__}", allowed))
    return m
