"""The one place where functions are compiled: typed front of the compiler."""

import zlib
from collections.abc import Callable
from importlib.util import find_spec
from types import FunctionType
from typing import Any, ParamSpec, TypeVar, cast

from analysis.base.errors import AnalysisError

P = ParamSpec("P")
R = TypeVar("R")

_SOURCES: list[FunctionType] = []
"""Every function handed to the compiler, in the order of definition."""


HAS_COMPILER = find_spec("numba") is not None
"""The compiler is an extra: without it small functions run as they are written, and the march,
which would take hours for a year, is refused."""


def need_compiler() -> None:
    """Refuse a march without the compiler.

    Raises
    ------
    AnalysisError
        It is not installed.
    """
    if not HAS_COMPILER:
        raise AnalysisError(
            "rehearsing a house needs the compiler numba, which is not installed; install the "
            "extra: pip install 'stokehold[rehearsal]', in a clone pip install -e '.[rehearsal]'"
        )


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function of numbers, arrays and named tuples; the result is kept on disk."""
    _SOURCES.append(cast("FunctionType", function))
    return _compiler(cache=True, error_model="numpy")(function)


def inlined(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a function into its callers.

    A tuple of arrays handed over in a call costs a counted reference for each
    array; inlined, the march through a year is several times as fast.
    """
    _SOURCES.append(cast("FunctionType", function))
    return _compiler(inline="always", error_model="numpy")(function)


def _compiler(**options: Any) -> Callable[[Callable[P, R]], Callable[P, R]]:
    if not HAS_COMPILER:
        return lambda function: function
    import numba  # noqa: PLC0415 - an extra, and slow to load

    return cast("Callable[[Callable[P, R]], Callable[P, R]]", numba.njit(**options))


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
