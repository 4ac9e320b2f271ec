"""What a report is made of, whatever it is written as."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from matplotlib.figure import Figure
from PIL import Image, ImageOps

_DPI = 160
_PHOTO_PIXELS = 1000
Image.MAX_IMAGE_PIXELS = 110_000_000
"""Twice as many are refused as an attack; phones take pictures of 200 million."""


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph."""

    text: str


@dataclass(frozen=True, slots=True)
class Caution:
    """A paragraph about what can hurt."""

    text: str


@dataclass(frozen=True, slots=True)
class Points:
    """A list of short sentences."""

    rows: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table; `shares` are the columns' widths relative to each other."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture with the words under it, which also stand for it; `width` a share of the page."""

    content: bytes
    words: str
    width: float = 1.0

    @property
    def kind(self) -> str:
        """``png`` or ``jpeg``."""
        return "png" if self.content.startswith(b"\x89PNG") else "jpeg"


Block = Words | Caution | Points | Table | Picture


class Section(NamedTuple):
    """A section with its heading."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A whole report; `made` is its day in words, `span` the time it is about."""

    title: str
    made: str
    span: str
    sections: tuple[Section, ...]


def drawn(figure: Figure, words: str) -> Picture:
    """A matplotlib figure as a picture."""
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=_DPI)
    return Picture(out.getvalue(), words)


def photo(path: Path, words: str) -> Picture | None:
    """A photo made small enough to hand over; None where the file is no picture."""
    try:
        with Image.open(path) as found:
            found.draft("RGB", (_PHOTO_PIXELS, _PHOTO_PIXELS))
            picture = ImageOps.exif_transpose(found).convert("RGB")
            picture.thumbnail((_PHOTO_PIXELS, _PHOTO_PIXELS))
            out = io.BytesIO()
            picture.save(out, format="JPEG", quality=85)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return None
    return Picture(out.getvalue(), words, 0.45)


def table(head: Sequence[str], rows: Sequence[Sequence[str]], shares: Sequence[float]) -> Table:
    """A table from any sequences."""
    return Table(tuple(head), tuple(tuple(row) for row in rows), tuple(shares))
