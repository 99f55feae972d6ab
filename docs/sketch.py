"""Plain technical drawing for the documents: lines, arrows, measures and words, drawn large and made small.

Colours are those of Okabe and Ito (2008), which people with any kind of colour vision tell apart; nothing is said by colour alone.
Letters come from the font that travels with the program, so a picture is the same on every machine.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from PIL import Image, ImageDraw

from vision.text import font, write

WIDE = 900
"""Pixels: what a page shows without making it smaller."""
CAP = 12.0
"""Height of a capital: 3 mm on a common screen, read from 60 cm without effort."""
TITLE_CAP = 14.0
_LARGER = 3
_LINE = 1.5

INK, SOFT, PAPER, SHADE = "#1a1a1a", "#6b6b6b", "#ffffff", "#ededea"
BLUE, SKY, ORANGE, RED = "#0072b2", "#bfe3f7", "#e69f00", "#d55e00"
LIGHT, STEEL, PIECE, STALK = "#ffe9b0", "#c4c8cc", "#cfd8c2", "#f2efdd"

Point = tuple[float, float]


class Sheet:
    """One drawing; places are pixels of the finished picture, x to the right and y down."""

    def __init__(self, high: int, wide: int = WIDE, paper: str = PAPER) -> None:
        self.wide, self.high = wide, high
        self._image = Image.new("RGB", (wide * _LARGER, high * _LARGER), paper)
        self._draw = ImageDraw.Draw(self._image)

    def finished(self) -> Image.Image:
        """The drawing at its own size."""
        return self._image.resize((self.wide, self.high), Image.Resampling.LANCZOS)

    def line(self, points: Sequence[Point], ink: str = INK, width: float = _LINE) -> None:
        """A line through the points."""
        self._draw.line([_large(p) for p in points], fill=ink, width=round(width * _LARGER), joint="curve")

    def dashes(self, a: Point, b: Point, ink: str = SOFT, width: float = _LINE, dash: float = 7) -> None:
        """A broken line."""
        length = math.dist(a, b)
        for k in range(math.ceil(length / (2 * dash))):
            start, end = 2 * k * dash / length, min(1.0, (2 * k + 1) * dash / length)
            self.line([_between(a, b, start), _between(a, b, end)], ink, width)

    def shape(self, points: Sequence[Point], fill: str | None, ink: str | None = INK, width: float = _LINE) -> None:
        """A filled outline."""
        if fill is not None:
            self._draw.polygon([_large(p) for p in points], fill=fill)
        if ink is not None:
            self.line([*points, points[0], points[1]], ink, width)

    def box(
        self,
        left: float,
        top: float,
        wide: float,
        high: float,
        fill: str | None,
        ink: str | None = INK,
        round_: float = 0,
    ) -> None:
        """A box, with round corners if asked."""
        corners = (*_large((left, top)), *_large((left + wide, top + high)))
        self._draw.rounded_rectangle(
            corners, radius=round_ * _LARGER, fill=fill, outline=ink, width=round(_LINE * _LARGER) if ink else 0
        )

    def disc(self, at: Point, radius: float, fill: str | None, ink: str | None = INK, flat: float = 1) -> None:
        """A disc; `flat` below 1 makes it lower than wide."""
        (x, y), (rx, ry) = at, (radius, radius * flat)
        corners = (*_large((x - rx, y - ry)), *_large((x + rx, y + ry)))
        self._draw.ellipse(corners, fill=fill, outline=ink, width=round(_LINE * _LARGER) if ink else 0)

    def arrow(self, a: Point, b: Point, ink: str = INK, width: float = _LINE, head: float = 9) -> None:
        """An arrow from `a` to `b`."""
        self.line([a, _between(a, b, 1 - 0.6 * head / max(math.dist(a, b), head))], ink, width)
        self._head(a, b, ink, head)

    def measure(self, a: Point, b: Point, words: str, at: Point, anchor: str = "middle", ink: str = BLUE) -> None:
        """A measure from `a` to `b` with arrow heads and its words at `at`."""
        self.line([a, b], ink)
        self._head(a, b, ink, 9)
        self._head(b, a, ink, 9)
        self.words(words, at, anchor=anchor, ink=ink, bold=True, halo=True)

    def words(
        self,
        text: str,
        at: Point,
        *,
        anchor: str = "start",
        ink: str = INK,
        bold: bool = False,
        cap: float = CAP,
        halo: bool = False,
    ) -> float:
        """Lines of text, the first one's baseline at `at`; how wide the widest is."""
        face = font(cap * _LARGER, bold)
        lines = text.split("\n")
        widths = [face.getlength(line) / _LARGER for line in lines]
        for k, (line, wide) in enumerate(zip(lines, widths, strict=True)):
            x = at[0] - {"start": 0, "middle": wide / 2, "end": wide}[anchor]
            y = at[1] + k * cap * 1.75
            if halo:
                self.box(x - 4, y - cap - 4, wide + 8, cap + 8, PAPER, None)
            write(self._draw, _large((x, y)), line, face, ink)
        return max(widths)

    def label(self, text: str, at: Point, to: Point, anchor: str = "start", bold: bool = False) -> None:
        """Words with a thin line that ends in a dot on what they name."""
        wide = self.words(text, at, anchor=anchor, bold=bold)
        gap = 8.0
        x = at[0] + {"start": -gap, "middle": 0, "end": gap}[anchor]
        y = at[1] - CAP / 2
        if anchor == "middle":
            below = to[1] > at[1]
            y = at[1] + (gap + (text.count("\n")) * CAP * 1.75 if below else -CAP - gap)
        elif (to[0] > x) == (anchor == "start"):
            # What is named lies on the far side of the words.
            x += wide + 2 * gap if anchor == "start" else -wide - 2 * gap
        self.line([(x, y), to], SOFT, 1)
        self.disc(to, 3, SOFT, None)

    def paste(
        self, picture: Image.Image, left: float, top: float, wide: float, high: float, as_pixels: bool = False
    ) -> None:
        """A picture in a box; its pixels as squares if asked."""
        size = (round(wide * _LARGER), round(high * _LARGER))
        how = Image.Resampling.NEAREST if as_pixels else Image.Resampling.LANCZOS
        self._image.paste(picture.resize(size, how), (round(left * _LARGER), round(top * _LARGER)))

    def _head(self, a: Point, b: Point, ink: str, head: float) -> None:
        turn = math.atan2(b[1] - a[1], b[0] - a[0])
        back = [
            (b[0] - head * math.cos(turn + side), b[1] - head * math.sin(turn + side))
            for side in (math.pi / 8, -math.pi / 8)
        ]
        self._draw.polygon([_large(p) for p in (b, *back)], fill=ink)


def lobed(at: Point, radius: float, lobes: int, depth: float, turn: float = 0, flat: float = 1) -> list[Point]:
    """A closed outline with so many soft lobes, as a floret's rim has."""
    angles = np.linspace(0, 2 * np.pi, 144, endpoint=False)
    reach = radius * (1 - depth * (1 - np.abs(np.sin(lobes * angles / 2 + turn))))
    return [
        (float(at[0] + r * math.cos(a)), float(at[1] + flat * r * math.sin(a)))
        for r, a in zip(reach, angles, strict=True)
    ]


def _large(point: Point) -> Point:
    return (point[0] * _LARGER, point[1] * _LARGER)


def _between(a: Point, b: Point, share: float) -> Point:
    return (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]))
