"""The one place where functions are compiled: typed front of the compiler."""

import zlib
from collections.abc import Callable
from types import FunctionType
from typing import ParamSpec, TypeVar, cast

import numba

P = ParamSpec("P")
R = TypeVar("R")

_SOURCES: list[FunctionType] = []
"""Every function handed to the compiler, in the order of definition."""


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function of numbers, arrays and named tuples; the result is kept on disk."""
    _SOURCES.append(cast("FunctionType", function))
    return cast("Callable[P, R]", numba.njit(cache=True, error_model="numpy")(function))


def inlined(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function into its callers.

    A tuple of arrays handed over in a call costs a counted reference for each
    array; inlined, the march through a year is several times as fast.
    """
    _SOURCES.append(cast("FunctionType", function))
    return cast("Callable[P, R]", numba.njit(inline="always", error_model="numpy")(function))


def fingerprint() -> int:
    """Check sum of everything compiled so far and the constants it names.

    The compiler's store looks only at the file of the outer function; one that
    closes over this number is compiled anew when anything within it changes.
    """
    told = [_told(one) for one in _SOURCES]
    return zlib.crc32(repr(told).encode())


def _told(function: FunctionType) -> tuple[object, ...]:
    code = function.__code__
    known = function.__globals__
    plain = {
        name: known[name]
        for name in code.co_names
        if isinstance(known.get(name), int | float | str | tuple)
    }
    constants = tuple(c for c in code.co_consts if not hasattr(c, "co_code"))
    return code.co_name, code.co_code, constants, code.co_names, plain
