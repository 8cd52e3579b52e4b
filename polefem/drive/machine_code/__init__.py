"""The few functions that follow a bridge step by step, as machine code: made when one is first called.

What makes it loads a compiler, which those who only name these functions do not wait for.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator
from types import CodeType, FunctionType
from typing import Any, TypeVar, cast

from polefem.later import Later

__all__ = ["compiled"]

Code = TypeVar("Code", bound=Callable[..., Any])


def compiled(code: Code) -> Code:
    """The same function as machine code, with the rules of numpy for a division by nought."""
    return cast(Code, _Compiled(cast(FunctionType, code)))


class _Compiled:
    """A function that becomes machine code, with those that it calls, when it is first called."""

    def __init__(self, code: FunctionType) -> None:
        functools.update_wrapper(self, code)
        self._code = code

    def __call__(self, *given: Any) -> Any:
        return self.made(*given)

    @functools.cached_property
    def made(self) -> Any:
        """What is called in its place."""
        code = self._code
        known = {name: code.__globals__.get(name) for name in _named(code.__code__)}
        called = {name: held.made for name, held in known.items() if isinstance(held, _Compiled)}
        whole = FunctionType(code.__code__, {**code.__globals__, **called}, code.__name__, code.__defaults__)
        functools.update_wrapper(whole, code)
        return Later(f"{__name__}.making", "machine_code")(whole)


def _named(code: CodeType) -> Iterator[str]:
    """What is named in a function, and in functions inside it."""
    yield from code.co_names
    for part in code.co_consts:
        if isinstance(part, CodeType):
            yield from _named(part)
