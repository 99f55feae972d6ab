"""A small sheet on which a thing is drawn as overlapping translucent layers, large, and then reduced by area.

A layer is an outline filled with a colour and an opacity; rounded ones are shaded by the slope of a height that grows from the rim.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.layered.colour import WHITE, Rng
from vision.render.hands.layered.curves import Points, ellipse, line_through, tube
from vision.render.hands.layered.noise import grain
from vision.types import FloatArray

Window = tuple[slice, slice]
_MARGIN_PX = 4
_SUBPIXEL_BITS = 4


@dataclass(frozen=True)
class Light:
    """Where the light comes from: `below` the ground or from above, and towards (`x`, `y`) in the picture."""

    below: bool
    x: float
    y: float
    wet: bool
    """Things lie in water or on wet tissue, and are clearer there."""

    def dimmed(self, share: float) -> float:
        """What a thing keeps of its light: `share` where the light comes from below, else all."""
        return share if self.below else 1.0


@dataclass(frozen=True)
class Layers:
    """A reduced sheet, (n, n) float32 with its middle pixel at half of n: `colour` (n, n, 3) times `alpha`, and the trunk in it."""

    colour: FloatArray
    alpha: FloatArray
    body: FloatArray

    @property
    def half_px(self) -> int:
        return int(self.alpha.shape[0]) // 2


@dataclass(frozen=True)
class Sheet:
    """Drawn on in place, `fold` samples to a pixel; local units are mm, +x is ahead. Arrays as in Layers, unreduced."""

    fold: int
    cos: float
    sin: float
    origin: tuple[float, float]
    """Of the local units, in samples, x and y."""
    light: Light
    colour: FloatArray
    alpha: FloatArray
    body: FloatArray

    @property
    def per_mm(self) -> float:
        """Samples per millimetre."""
        return PX_PER_MM * self.fold

    @property
    def clip(self) -> FloatArray:
        """The trunk as drawn so far, 0..1, to hold marks on it."""
        return self.body.copy()

    def samples(self, points: ArrayLike) -> Points:
        """Local points (n, 2) in samples."""
        p = np.asarray(points, float)
        x = self.origin[0] + self.per_mm * (self.cos * p[:, 0] - self.sin * p[:, 1])
        y = self.origin[1] + self.per_mm * (self.sin * p[:, 0] + self.cos * p[:, 1])
        return np.stack([x, y], 1)

    def mask(self, outline: ArrayLike, pad: int = 2) -> tuple[FloatArray, Window]:
        """How much of each sample an outline covers, 0..1, inside its window of the sheet; an empty one outside it."""
        at = self.samples(outline)
        side = self.alpha.shape[0]
        x0, y0 = np.clip(np.floor(at.min(0)).astype(int) - pad, 0, side)
        x1, y1 = np.clip(np.ceil(at.max(0)).astype(int) + pad + 1, 0, side)
        filled = np.zeros((y1 - y0, x1 - x0), np.uint8)
        if filled.size:
            corners = np.round((at - [x0, y0]) * 2**_SUBPIXEL_BITS).astype(np.int32)
            cv2.fillPoly(filled, [corners], 255, cv2.LINE_AA, _SUBPIXEL_BITS)
        return np.asarray(filled / 255, np.float32), (slice(y0, y1), slice(x0, x1))

    def over(self, window: Window, colour: NDArray[Any], alpha: NDArray[Any]) -> None:
        """Lays a colour, (3,) or (h, w, 3), of an opacity (h, w) over what is there."""
        self.colour[window] += alpha[..., None] * (colour - self.colour[window])
        self.alpha[window] += alpha * (1 - self.alpha[window])

    def fill(
        self,
        outline: ArrayLike,
        colour: NDArray[Any],
        alpha: float = 1.0,
        soft_mm: float = 0.0,
        clip: FloatArray | None = None,
        body: bool = False,
    ) -> None:
        """A flat layer; `soft_mm` blurs its rim, `clip` holds it on the trunk, `body` makes it part of that."""
        mask, window = self.mask(outline, pad=2 + int(3 * soft_mm * self.per_mm))
        if not mask.size:
            return
        if soft_mm > 0:
            mask = np.asarray(cv2.GaussianBlur(mask, (0, 0), max(0.3, soft_mm * self.per_mm)), np.float32)
        if body:
            self.body[window] = np.maximum(self.body[window], mask)
        if clip is not None:
            mask = mask * clip[window]
        self.over(window, colour, np.clip(mask * np.float32(alpha), 0, 1))

    def dome(
        self,
        outline: ArrayLike,
        colour: NDArray[Any],
        alpha: float = 1.0,
        *,
        thick: float = 0.0,
        shading: float = 0.35,
        uneven: FloatArray | None = None,
        rim: float = 0.0,
        rim_colour: NDArray[Any] | None = None,
        gloss: float = 0.0,
    ) -> None:
        """A rounded layer of the trunk, shaded by its slope; its opacity grows inwards where `thick` is above 0.

        `uneven` (the sheet's shape, about 1) varies its light; `rim` darkens the rim, `gloss` lights the side towards the light.
        """
        mask, window = self.mask(outline)
        if not mask.size:
            return
        inwards, reach, height = domed(mask)
        facing = self.towards_light(height, reach)
        shade = np.clip(0.86 + 0.14 * height + np.float32(shading) * facing, 0.15, 1.7)
        if uneven is not None:
            shade = shade * uneven[window]
        layer = np.asarray(colour, np.float32) * shade[..., None]
        opacity = mask * np.float32(alpha)
        if thick > 0:
            opacity *= 0.3 + 0.7 * (1 - np.exp(-np.float32(thick) * height)) / np.float32(1 - math.exp(-thick))
        if rim > 0:
            edge = np.float32(rim) * mask * np.exp(-((inwards / max(1.2, 0.16 * reach)) ** 2))
            share = np.clip(edge, 0, 1)[..., None]
            layer = layer * (1 - share) + np.float32(0.45) * share * (colour if rim_colour is None else rim_colour)
            opacity = np.maximum(opacity, edge)
        self.body[window] = np.maximum(self.body[window], mask)
        self.over(window, layer, np.clip(opacity, 0, 1))
        if gloss > 0:
            lit = np.clip(facing, 0, None) * height
            lit = np.clip((lit / (lit.max() + 1e-6) - 0.72) / 0.28, 0, 1) ** 2
            self.over(window, WHITE, lit * mask * np.float32(gloss))

    def towards_light(self, height: FloatArray, reach: float) -> FloatArray:
        """How far a height's slope faces the light: below 0 on the side away from it."""
        rise_x, rise_y = slopes(height, reach)
        return np.asarray(-(rise_x * self.light.x + rise_y * self.light.y), np.float32)

    def stroke(
        self,
        points: ArrayLike,
        from_mm: float,
        to_mm: float | None,
        colour: NDArray[Any],
        alpha: float = 1.0,
        clip: FloatArray | None = None,
        soft_mm: float = 0.0,
        count: int = 24,
    ) -> None:
        """A tapering line through points; one thinner than a sample is drawn a sample wide and fainter."""
        given = np.asarray(points, float)
        line = given if len(given) >= count else line_through(given, count)
        half = np.linspace(from_mm, from_mm if to_mm is None else to_mm, len(line)) / 2
        thinnest = 0.55 / self.per_mm
        share = float(np.clip(half.mean() / thinnest, 0.25, 1))
        self.fill(tube(line, np.maximum(half, thinnest)), colour, alpha * share, soft_mm, clip)

    def dot(
        self, x: float, y: float, radius_mm: float, colour: NDArray[Any], alpha: float = 1.0, soft: float = 0
    ) -> None:
        """A round layer."""
        self.fill(ellipse(x, y, radius_mm, radius_mm, count=20), colour, alpha, soft)

    def grained(self, rng: Rng, largest_mm: float, strength: float, octaves: int = 3) -> FloatArray:
        """Uneven light for `dome`: the sheet's shape, about 1."""
        side = self.alpha.shape[0]
        return np.asarray(1 + strength * grain(rng, side, side, largest_mm * self.per_mm, octaves), np.float32)

    def reduced(self) -> Layers:
        """The sheet at the picture's scale."""
        side = self.alpha.shape[0] // self.fold

        def small(large: FloatArray) -> FloatArray:
            return np.asarray(cv2.resize(large, (side, side), interpolation=cv2.INTER_AREA), np.float32)

        return Layers(small(self.colour), small(self.alpha), small(self.body))


@dataclass(frozen=True)
class Pose:
    """How a thing lies: turned by `angle_rad`, clockwise as seen, its origin off the sheet's middle pixel by parts of a pixel."""

    light: Light
    angle_rad: float = 0.0
    dx_px: float = 0.0
    dy_px: float = 0.0

    def sheet(self, half_mm: float, fold: int = 3) -> Sheet:
        """An empty sheet that reaches `half_mm` from its middle."""
        half_px = math.ceil(half_mm * PX_PER_MM) + _MARGIN_PX
        side = (2 * half_px + 1) * fold
        middle = (fold - 1) / 2.0
        origin = (fold * (half_px + self.dx_px) + middle, fold * (half_px + self.dy_px) + middle)
        flat = (np.zeros((side, side), np.float32) for _ in range(2))
        cos, sin = math.cos(self.angle_rad), math.sin(self.angle_rad)
        return Sheet(fold, cos, sin, origin, self.light, np.zeros((side, side, 3), np.float32), *flat)


def any_way(rng: Rng, light: Light) -> Pose:
    """A pose turned at random."""
    return Pose(light, float(rng.uniform(0, 2 * math.pi)))


def domed(mask: FloatArray) -> tuple[FloatArray, float, FloatArray]:
    """Distance inwards from the rim of a mask (h, w) and its largest, in samples, and a rounded height 0..1 that grows with it."""
    inside = (mask > 0.5).astype(np.uint8)
    inwards = np.asarray(cv2.distanceTransform(inside, cv2.DIST_L2, 5), np.float32)
    reach = max(float(inwards.max()), 1.0)
    height = np.sqrt(np.clip(1 - (1 - np.clip(inwards / reach, 0, 1)) ** 2, 0, 1))
    return inwards, reach, np.asarray(cv2.GaussianBlur(height, (0, 0), max(0.6, 0.16 * reach)), np.float32)


def slopes(height: FloatArray, reach: float) -> tuple[FloatArray, FloatArray]:
    """How a height rises along x and along y, over `reach` samples."""
    x, y = (cv2.Sobel(height, cv2.CV_32F, *way, ksize=3, scale=0.125) * np.float32(reach) for way in ((1, 0), (0, 1)))
    return np.asarray(x, np.float32), np.asarray(y, np.float32)
