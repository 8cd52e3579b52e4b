"""The content of a value as text, and its key: equal for equal inputs, in every process and machine."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Mapping
from typing import Any

import numpy as np

__all__ = ["content", "content_key"]


def content(value: Any) -> Any:
    """The value as nested dicts, lists, numbers and text, each dataclass with its name, arrays as lists.

    A field that is not compared decides nothing, and is left out.
    A value with a method `content()` of its own, such as a steel, says itself what it is made of.
    Raises TypeError for what has no content of its own, such as a function: a key must never hide an input.

    >>> from polefem.params import MeshSpec
    >>> content(MeshSpec())["growth"] == MeshSpec().growth
    True
    """
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if isinstance(value, np.ndarray | np.generic):
        return value.tolist()
    if isinstance(value, Mapping):
        return {str(name): content(part) for name, part in value.items()}
    if isinstance(value, tuple | list):
        return [content(part) for part in value]
    if callable(own := getattr(value, "content", None)) and not isinstance(value, type):
        return content(own())
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        parts = {
            f.name: content(getattr(value, f.name)) for f in dataclasses.fields(value) if f.init and f.compare
        }
        return {"": type(value).__name__, **parts}
    raise TypeError(f"a {type(value).__name__} has no content to make a key of")


def content_key(*values: Any) -> str:
    """Forty hexadecimal digits that stand for the values: the SHA-256 of their content, cut.

    Numbers enter with all their digits (repr), names in sorted order, so that a key survives a restart.

    >>> content_key(1.0) == content_key(1.0), content_key(1.0) == content_key(1.0 + 1e-15)
    (True, False)
    """
    text = json.dumps([content(value) for value in values], sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:40]
