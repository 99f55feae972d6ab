"""A pile of small solids seen from above: of each pixel how high it stands, and which solid is uppermost there."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.pieced.textures import linear
from vision.types import FloatArray

_NOWHERE = -1e6


@dataclass(frozen=True)
class Solid:
    """Heights (h, w) px over its foot, far below 0 beside it; `inward` 0 at its rim .. 1 in its middle; `grain` a texture on it."""

    height: FloatArray
    inward: FloatArray
    grain: FloatArray


def solid(height: FloatArray, inside: NDArray[np.bool_], inward: FloatArray, grain: FloatArray) -> Solid:
    """The heights where it is `inside`, nothing beside."""
    heights = np.where(inside, height, _NOWHERE).astype(np.float32)
    return Solid(heights, np.clip(inward, 0, 1).astype(np.float32), grain)


@dataclass(frozen=True)
class Pile:
    """Planes (h, w): height px over the panel, 0 on it; the uppermost solid's number, inwardness and grain. Number 0 is the panel."""

    height: FloatArray
    number: NDArray[np.int32]
    inward: FloatArray
    grain: FloatArray
    colours: list[NDArray[np.float64]] = field(default_factory=lambda: [np.zeros(3)])
    """sRGB 0..255 of each solid."""
    bud: list[bool] = field(default_factory=lambda: [False])

    def put(
        self, thing: Solid, x_px: float, y_px: float, foot_px: float, colour: NDArray[np.float64], bud: bool
    ) -> None:
        """Set a solid down with its middle at a place, its foot so high."""
        number = len(self.colours)
        self.colours.append(colour)
        self.bud.append(bud)
        high, wide = thing.height.shape
        left, top = int(x_px) - wide // 2, int(y_px) - high // 2
        rows = slice(max(0, top), min(self.height.shape[0], top + high))
        columns = slice(max(0, left), min(self.height.shape[1], left + wide))
        if rows.start >= rows.stop or columns.start >= columns.stop:
            return
        own = slice(rows.start - top, rows.stop - top), slice(columns.start - left, columns.stop - left)
        height = thing.height[own] + np.float32(foot_px)
        above = height > self.height[rows, columns]
        np.copyto(self.height[rows, columns], height, where=above)
        np.copyto(self.number[rows, columns], number, where=above)
        np.copyto(self.inward[rows, columns], thing.inward[own], where=above)
        np.copyto(self.grain[rows, columns], thing.grain[own], where=above)

    def covered(self) -> float:
        """Share of the picture, 0..1."""
        return float((self.height[::8, ::8] > 0).mean())

    def light(self) -> FloatArray:
        """(n, 3) float32 linear colour of each solid."""
        return linear(np.clip(np.array(self.colours), 5, 250))


def empty_pile(shape: tuple[int, int]) -> Pile:
    """The bare panel."""
    planes = [np.zeros(shape, np.float32) for _ in range(3)]
    return Pile(planes[0], np.zeros(shape, np.int32), planes[1], planes[2])
