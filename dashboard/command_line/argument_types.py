"""Numbers on the command line: one way to say what they may be, and to refuse what they cannot."""

import argparse
import math
from collections.abc import Callable


def number(
    least: float = -math.inf, most: float = math.inf, *, above: bool = False
) -> Callable[[str], float]:
    """Type of an argument that is a finite number from `least` to `most`.

    Parameters
    ----------
    least, most : float
        Ends; both may be had, but for `least` with `above`.
    above : bool
        Whether it must lie above `least`.
    """
    wanted = f"must be a number {_range(least, most, above=above)}"

    def parse(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not math.isfinite(value) or not least <= value <= most or (above and value == least):
            raise argparse.ArgumentTypeError(f"{text!r} {wanted}")
        return value

    return parse


def whole(least: int, most: int) -> Callable[[str], int]:
    """Type of an argument that is a whole number from `least` to `most`."""

    def parse(text: str) -> int:
        try:
            value = int(text)
        except ValueError:
            value = least - 1
        if not least <= value <= most:
            raise argparse.ArgumentTypeError(
                f"{text!r} must be a whole number from {least} to {most}"
            )
        return value

    return parse


def _range(least: float, most: float, *, above: bool) -> str:
    if math.isinf(least):
        return "like 3.5"
    begin = f"above {least:g}" if above else f"from {least:g} on"
    if math.isinf(most):
        return begin
    return f"above {least:g}, at most {most:g}" if above else f"from {least:g} to {most:g}"


PORT = whole(1, 65_535)
POSITIVE = number(0, above=True)
NOT_NEGATIVE = number(0)
SHARE = number(0, 1)
HOURS_A_YEAR = number(0, 8_760)
