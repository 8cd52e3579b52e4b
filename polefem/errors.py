"""The small error tree: what a person may get to read, one sentence each.

Every refusal is made by `refusal`, so that each says the rule, the name, the value and what is allowed.
"""

__all__ = [
    "GeometryRefused",
    "InvalidValue",
    "MeshFailed",
    "PolefemError",
    "SolveFailed",
    "StoreRefused",
    "refusal",
]


class PolefemError(Exception):
    """Root of every error that polefem raises on purpose."""


class InvalidValue(PolefemError, ValueError):
    """A value that no machine, steel, mesh or drive can have."""


class GeometryRefused(PolefemError, ValueError):
    """Values that are each fine, but make a machine that cannot be built."""


class MeshFailed(PolefemError, RuntimeError):
    """The mesher gave no usable mesh for an outline that passed its checks."""


class SolveFailed(PolefemError, RuntimeError):
    """A field solution did not converge; its history is in the sentence."""


class StoreRefused(PolefemError, RuntimeError):
    """A file of results that cannot be read: damaged, or of another version."""


def refusal(rule: str, name: str, value: object, allowed: str) -> str:
    """One sentence: the rule, the name of the value, the value, and what would be allowed.

    >>> refusal("the air gap must be open", "air_gap", "0 mm", "above 0 mm")
    'the air gap must be open: air_gap is 0 mm, allowed is above 0 mm'
    """
    return f"{rule}: {name} is {value}, allowed is {allowed}"
