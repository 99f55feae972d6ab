"""A heap of domes and stalks seen from above: what is highest at every pixel, and what it is."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.solid.draws import offsets
from vision.types import FloatArray

BUD, STALK, FLESH, CURD = range(4)
"""What an element is: a bud, a stalk, plain flesh, a grain of curd."""


@dataclass(frozen=True)
class Element:
    """One dome or stalk: middle, first axis, half axes in pixels, what it is, and its colour (3,) in linear light."""

    x_px: float
    y_px: float
    cos: float
    sin: float
    along_px: float
    across_px: float
    sort: int
    colour: NDArray[Any]


def element(
    place: NDArray[Any], angle_rad: float, along_px: float, across_px: float, sort: int, colour: NDArray[Any]
) -> Element:
    """An element whose middle lies at `place` (2,), its first axis at `angle_rad`."""
    cos, sin = float(np.cos(angle_rad)), float(np.sin(angle_rad))
    return Element(float(place[0]), float(place[1]), cos, sin, along_px, across_px, sort, colour)


@dataclass(frozen=True)
class Relief:
    """`height_px` (h, w) and the number of the element on top (h, w), -1 where there is none."""

    height_px: FloatArray
    top: NDArray[np.int32]
    elements: list[Element] = field(default_factory=list)

    def dome(self, it: Element, base_px: float, rise_px: float) -> None:
        """Half an ellipsoid that rises `rise_px` from `base_px`."""
        rows, columns = self.height_px.shape
        if (
            0 <= it.x_px < columns
            and 0 <= it.y_px < rows
            and self.height_px[int(it.y_px), int(it.x_px)] > base_px + rise_px
        ):
            return  # what lies there hides it
        box = self._box((it.x_px, it.y_px), (it.x_px, it.y_px), max(it.along_px, it.across_px))
        if box is None:
            return
        x, y = offsets(it.x_px, it.y_px, box)
        cos, sin = np.float32(it.cos), np.float32(it.sin)
        along, across = (
            (x * cos + y * sin) * np.float32(1 / it.along_px),
            (y * cos - x * sin) * np.float32(1 / it.across_px),
        )
        inside = 1 - along * along - across * across
        self._raise(box, inside, np.float32(base_px) + np.float32(rise_px) * np.sqrt(np.maximum(inside, 0)), it)

    def stalk(
        self,
        start: NDArray[Any],
        end: NDArray[Any],
        radii_px: tuple[float, float],
        base_px: tuple[float, float],
        colour: NDArray[Any],
        flat: float = 0.8,
    ) -> None:
        """A tapered rod from `start` to `end`, each with its radius and the height of its axis."""
        wide = max(radii_px)
        box = self._box(np.minimum(start, end), np.maximum(start, end), wide)
        if box is None:
            return
        length = max(1e-6, float(np.hypot(*(end - start))))
        cos, sin = (np.float32(v) for v in (end - start) / length)
        x, y = offsets(start[0], start[1], box)
        along, across = x * cos + y * sin, y * cos - x * sin
        share = np.clip(along / np.float32(length), 0, 1)
        radius = radii_px[0] + (radii_px[1] - radii_px[0]) * share
        past = np.maximum(np.maximum(-along, along - np.float32(length)), 0)
        inside = radius * radius - across * across - past * past * 9
        base = base_px[0] + (base_px[1] - base_px[0]) * share
        middle = (start + end) / 2
        it = Element(middle[0], middle[1], float(cos), float(sin), length / 2, wide, STALK, colour)
        self._raise(box, inside, base + np.float32(flat) * np.sqrt(np.maximum(inside, 0)), it)

    def covered(self) -> float:
        """Share of the picture that something covers, about."""
        return float((self.top[::8, ::8] >= 0).mean())

    def _box(self, low: Any, high: Any, reach: float) -> tuple[slice, slice] | None:
        rows, columns = self.height_px.shape
        left, top = (max(0, int(v - reach)) for v in low)
        right, bottom = (min(side, int(v + reach) + 2) for v, side in zip(high, (columns, rows), strict=True))
        return (slice(top, bottom), slice(left, right)) if right > left and bottom > top else None

    def _raise(self, box: tuple[slice, slice], inside: FloatArray, height: FloatArray, it: Element) -> None:
        up = (inside > 0) & (height > self.height_px[box])
        if not up.any():
            return
        self.height_px[box][up] = height[up]
        self.top[box][up] = len(self.elements)
        self.elements.append(it)


def empty_relief(height_px: int, width_px: int) -> Relief:
    """A relief with nothing on it."""
    return Relief(np.zeros((height_px, width_px), np.float32), np.full((height_px, width_px), -1, np.int32))
