"""How far a flux map is from reference values, in the terms in which its accuracy is stated."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Distance", "distance", "recorded"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Distance:
    """flux_linkage: relative; torque: of the peak torque of its current; both of shape (n_currents, n_angles)."""

    flux_linkage: Floats
    torque: Floats

    def beyond(
        self, flux_linkage: float, torque: float, angles: Sequence[float], currents: Sequence[float]
    ) -> list[str]:
        """One sentence for each point outside the limits."""
        found = []
        for name, values, limit in (
            ("flux linkage", self.flux_linkage, flux_linkage),
            ("torque", self.torque, torque),
        ):
            for k, j in zip(*np.nonzero(~(np.abs(values) <= limit)), strict=True):
                found.append(f"{name} off by {values[k, j]:+.3%} at {angles[j]:g} deg and {currents[k]:g} A")
        return found


def distance(
    flux_linkage: Floats, torque: Floats, reference: dict[str, Any], peak: Floats | None = None
) -> Distance:
    """Distance of arrays of shape (n_currents, n_angles) from a reference with arrays of the same shape.

    peak: of the torque at each current, shape (n_currents,), where the reference holds few angles.
    """
    expected = np.asarray(reference["torque"])
    most = np.abs(expected).max(axis=1) if peak is None else peak
    return Distance(
        flux_linkage / np.asarray(reference["flux_linkage"]) - 1, (torque - expected) / most[:, None]
    )


def recorded(name: str) -> dict[str, Any]:
    """The reference file of a machine, its tables as arrays of shape (n_currents, n_angles)."""
    record: dict[str, Any] = json.loads(Path(__file__).with_name(f"reference_{name}.json").read_text())
    for key in ("flux_linkage", "torque", "coenergy", "angles_deg", "currents"):
        record[key] = np.array(record[key], dtype=float)
    return record
