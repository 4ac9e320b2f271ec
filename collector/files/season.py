"""The demo's year as it was played once: a small file, so that showing it needs no compiler."""

import io
import lzma
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.rehearsal.course.play import Trajectory
from analysis.rehearsal.physics.records import BRANCH, LEDGER, STEM
from collector.errors import FormError

SEASON_FILE = Path(__file__).with_name("demo_season.xz")
"""Made by ``python deploy/season.py``."""
SEASON_STEP_S = 30.0

_FINENESS = {
    "flow": 0.1,
    "return": 0.1,
    "room": 0.05,
    "store_top": 0.1,
    "level": 0.02,
    "rate": 0.005,
    "speed": 0.005,
    "on": 1.0,
}
"""What the demo's instruments look at, and how finely it is kept; the other columns read zero."""
_PHASE_S = 0.1


def write_season(path: Path, trajectory: Trajectory) -> int:
    """Write a trajectory, rounded to what instruments can see; gives the bytes.

    Parameters
    ----------
    path : Path
        The file.
    trajectory : Trajectory
        A row every `SEASON_STEP_S`.
    """
    steps = np.round(trajectory.phase_s / _PHASE_S).astype(np.int64)
    parts = {
        "phase_s": np.diff(steps, prepend=0).astype(np.int32),
        "phase": trajectory.phase.astype(np.int8),
    }
    for at, name in enumerate(_columns(trajectory.table.shape[1])):
        if name in _FINENESS:
            whole = np.round(trajectory.table[:, at] / _FINENESS[name]).astype(np.int32)
            parts[f"column_{at}"] = np.diff(whole, prepend=np.int32(0)).astype(np.int16)
    parts["shape"] = np.array(trajectory.table.shape)
    packed = io.BytesIO()
    np.savez(packed, **parts)  # type: ignore[arg-type]  # its stubs take the flag's type for all
    return path.write_bytes(lzma.compress(packed.getvalue(), preset=9 | lzma.PRESET_EXTREME))


def read_season(path: Path = SEASON_FILE) -> Trajectory:
    """Read a trajectory back.

    Raises
    ------
    FormError
        The file is missing or damaged.
    """
    try:
        with np.load(io.BytesIO(lzma.decompress(path.read_bytes()))) as parts:
            return _trajectory({name: parts[name] for name in parts.files})
    except (OSError, lzma.LZMAError, ValueError, KeyError) as error:
        raise FormError([f"{path}: the demo's year cannot be read ({error}); install again"]) from (
            error
        )


def _trajectory(parts: dict[str, NDArray[np.generic]]) -> Trajectory:
    rows, width = (int(n) for n in parts["shape"].tolist())
    table = np.zeros((rows, width), np.float32)
    for at, name in enumerate(_columns(width)):
        if name in _FINENESS:
            whole = np.cumsum(parts[f"column_{at}"], dtype=np.int32)
            table[:, at] = whole * np.float32(_FINENESS[name])
    return Trajectory(
        SEASON_STEP_S,
        table,
        (np.cumsum(parts["phase_s"], dtype=np.int64) * _PHASE_S).astype(np.float64),
        parts["phase"].astype(np.float64),
        np.zeros((1, len(LEDGER))),
        np.zeros(1),
    )


def _columns(width: int) -> tuple[str, ...]:
    """Names of a table's columns, those of the loops without their loop."""
    return STEM + BRANCH * ((width - len(STEM)) // len(BRANCH))
