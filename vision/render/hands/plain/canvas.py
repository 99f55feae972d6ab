"""The sheet everything is drawn on: colours, whose body each pixel shows, and where produce lies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.plain.outlines import Outline, bent, moved

PAD_PX = 48
"""Drawn round the picture and cut off in the end, so that a body at the edge is whole before it is cut."""
_FINE_AREA_PX, _MIDDLE_AREA_PX = 40_000, 250_000


@dataclass(frozen=True)
class Ink:
    """How a shape is filled: sRGB 0..1 `colour` (3,), `opacity` 0..1, and how it is graded.

    `dome` above 0 makes the middle lighter than the edge, below 0 darker; `mottle` is the strength of soft spots;
    `soft_px` blurs the edge.
    """

    colour: tuple[float, float, float]
    opacity: float = 1.0
    dome: float = 0.0
    mottle: float = 0.0
    soft_px: float = 0.0


@dataclass(frozen=True)
class Part:
    """One filled outline (n, 2) in mm; `body` tells what counts as the body from limbs, wings and markings."""

    outline: Outline
    ink: Ink
    body: bool = False


@dataclass(frozen=True)
class Figure:
    """A thing to lay down: parts in the order of drawing, centred on the origin, its long axis along x.

    `bend_rad` is by how much the direction turns from its rear to its front.
    """

    kind: str
    length_mm: float
    width_mm: float
    parts: tuple[Part, ...]
    bend_rad: float = 0.0


@dataclass(frozen=True)
class Canvas:
    """`pixels` (h, w, 3) sRGB 0..1 without the fall-off of the light, `labels` (h, w) whose body, `produce` (h, w) 0, 1, or 2 for discs."""

    pixels: NDArray[np.float32]
    labels: NDArray[np.int16]
    produce: NDArray[np.uint8]
    rng: np.random.Generator

    def fill(self, outline_px: Outline, ink: Ink, label: int | None = 0, *, produce: bool = False) -> None:
        """Fill an outline (n, 2) px; None for `label` leaves whose body it is as it was."""
        margin = 2 + int(2 * ink.soft_px)
        low = np.maximum(np.floor(outline_px.min(axis=0)).astype(int) - margin, 0)
        high = np.minimum(np.ceil(outline_px.max(axis=0)).astype(int) + margin + 1, self.labels.shape[::-1])
        if (high <= low).any():
            return
        w, h = (int(side) for side in high - low)
        cover = _coverage(outline_px - low, w, h)
        if ink.soft_px > 0:
            cover = np.asarray(cv2.GaussianBlur(cover, (0, 0), ink.soft_px), np.float32)
        window = slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))
        colour: NDArray[Any] = np.asarray(ink.colour, np.float32)
        if ink.dome or ink.mottle:
            shade = np.ones((h, w), np.float32)
            if ink.dome:
                shade += np.float32(ink.dome) * (_roundness(cover) - np.float32(0.6))
            if ink.mottle:
                shade += np.float32(ink.mottle) * spots(self.rng, h, w, 5)
            colour = colour * shade[..., None]
        self.pixels[window] += (cover * np.float32(ink.opacity))[..., None] * (colour - self.pixels[window])
        if label is not None and (label > 0 or ink.opacity > 0.5):
            self.labels[window][cover > 0.5] = label
        if produce:
            self.produce[window][cover > 0.5] = 1

    def lay(
        self, figure: Figure, x_px: float, y_px: float, angle_deg: float, label: int = 0, shadow: float = 0.0
    ) -> None:
        """Draw a figure with its centre there; `label` above 0 marks its body; `shadow` 0..1 darkens what is round it."""
        curvature = figure.bend_rad / figure.length_mm
        outlines = [moved(bent(p.outline, curvature) * PX_PER_MM, x_px, y_px, angle_deg) for p in figure.parts]
        if shadow > 0:
            for part, outline in zip(figure.parts, outlines, strict=True):
                if part.body or label == 0:
                    self.fill(outline + 1.2, Ink((0.05, 0.05, 0.05), shadow * part.ink.opacity, soft_px=2.0), None)
        for part, outline in zip(figure.parts, outlines, strict=True):
            own = 0 if label == 0 else (label if part.body else None)
            self.fill(outline, part.ink, own)


def spots(rng: np.random.Generator, h: int, w: int, grain_px: int) -> NDArray[np.float32]:
    """Smooth noise (h, w) of mean about 0 and spread about 1, its spots `grain_px` wide."""
    coarse = rng.standard_normal((h // grain_px + 3, w // grain_px + 3), dtype=np.float32)
    wide = cv2.resize(coarse, (coarse.shape[1] * grain_px, coarse.shape[0] * grain_px), interpolation=cv2.INTER_CUBIC)
    return np.asarray(wide[grain_px : grain_px + h, grain_px : grain_px + w], np.float32)


def _coverage(outline: Outline, w: int, h: int) -> NDArray[np.float32]:
    """How much of each pixel (h, w) lies inside: counted on a finer grid, a coarser one for big shapes."""
    fine = 4 if w * h < _FINE_AREA_PX else (2 if w * h < _MIDDLE_AREA_PX else 1)
    corners = np.rint(((outline + 0.5) * fine - 0.5) * 16).astype(np.int32)
    mask = np.zeros((h * fine, w * fine), np.uint8)
    cv2.fillPoly(mask, [corners], 255, lineType=cv2.LINE_AA if fine == 1 else cv2.LINE_8, shift=4)
    small = mask if fine == 1 else cv2.resize(mask, (w, h), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32) / np.float32(255)


def _roundness(cover: NDArray[np.float32]) -> NDArray[np.float32]:
    """0 at the edge, 1 along the middle, rising as a round back does."""
    deep = cv2.distanceTransform((cover > 0.3).astype(np.uint8), cv2.DIST_L2, 3)
    far = np.float32(1) - np.asarray(deep, np.float32) / max(float(deep.max()), 1e-3)
    return np.sqrt(np.float32(1) - far * far)
