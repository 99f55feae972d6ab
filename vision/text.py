"""Text as pixels: a font that travels with the program, the same on every machine, left-to-right and right-to-left.

Pillow may or may not have been built with a shaping library, so its plain layout is always used and right-to-left runs are
put in display order here (Unicode bidirectional algorithm, UAX 9, through python-bidi).
"""

from __future__ import annotations

import io
import unicodedata
from functools import lru_cache
from importlib import resources

import numpy as np
from bidi.algorithm import get_display
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

CAP_PER_SIZE = 1493 / 2048
"""Height of a capital or a digit over the font size, DejaVu Sans (its own units: 1493 of 2048)."""

_TO_RIGHT, _TO_LEFT, _END, _LEFT_MARK = "\u202a", "\u202b", "\u202c", "\u200e"
_NAME_CHARACTERS = 60


@lru_cache(maxsize=2)
def _font_bytes(bold: bool) -> bytes:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return resources.files("vision").joinpath("fonts", name).read_bytes()


@lru_cache(maxsize=32)
def font(cap_px: float, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The font whose capitals and digits are `cap_px` high."""
    size = cap_px / CAP_PER_SIZE
    return ImageFont.truetype(io.BytesIO(_font_bytes(bold)), size, layout_engine=ImageFont.Layout.BASIC)


def as_name(text: str) -> str:
    """A name that came from outside, fit to stand inside a sentence of ours.

    Invisible and control characters become spaces, more than 60 characters end in an ellipsis, and the name keeps its own
    direction whatever stands beside it (an embedding round it and a left-to-right mark after it, UAX 9).
    """
    shown = "".join(c if c.isprintable() else " " for c in text)
    if len(shown) > _NAME_CHARACTERS:
        shown = shown[: _NAME_CHARACTERS - 1] + "…"
    first = next((kind for kind in map(unicodedata.bidirectional, shown) if kind in ("L", "R", "AL")), "L")
    return (_TO_RIGHT if first == "L" else _TO_LEFT) + shown + _END + _LEFT_MARK


def in_display_order(line: str) -> str:
    """One line as its characters stand from left to right; sentences of ours run left to right."""
    if line.isascii():
        return line
    return str(get_display(line, base_dir="L")).replace(_LEFT_MARK, "")


def wide_px(line: str, face: ImageFont.FreeTypeFont) -> float:
    """Width of a line that is still in reading order."""
    return float(face.getlength(in_display_order(line)))


def wrap(text: str, face: ImageFont.FreeTypeFont, limit_px: float) -> list[str]:
    """Text in reading order as lines no wider than `limit_px`; a word that is wider than that is cut."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if wide_px(longer, face) <= limit_px:
            line = longer
            continue
        if line:
            lines.append(line)
        while wide_px(word, face) > limit_px and len(word) > 1:
            keep = next((k for k in range(len(word) - 1, 1, -1) if wide_px(word[:k], face) <= limit_px), 1)
            lines.append(word[:keep])
            word = word[keep:]
        line = word
    return [*lines, line] if line else lines


def write(
    draw: ImageDraw.ImageDraw, at: tuple[float, float], line: str, face: ImageFont.FreeTypeFont, ink: str
) -> None:
    """One line, in reading order, with its baseline's left end at `at`."""
    draw.text(at, in_display_order(line), font=face, fill=ink, anchor="ls")


@lru_cache(maxsize=2048)
def stamp(text: str, cap_px: float, halo_px: int) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """A short bold text as two coverage patches of one size, uint8: the letters, and the letters with a halo round them."""
    face = font(cap_px, bold=True)
    left, top, right, bottom = face.getbbox(text, stroke_width=halo_px, anchor="ls")
    size = (int(np.ceil(right - left)), int(np.ceil(bottom - top)))
    patches = []
    for stroke in (0, halo_px):
        image = Image.new("L", size, 0)
        ImageDraw.Draw(image).text((-left, -top), text, font=face, fill=255, stroke_width=stroke, anchor="ls")
        patches.append(np.asarray(image, dtype=np.uint8))
    return patches[0], patches[1]
