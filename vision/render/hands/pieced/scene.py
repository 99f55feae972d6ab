"""The picture while it is being put together, in linear light, and what is laid into it.

Whatever is laid down turns the light below it into `light * passing + own`, so bodies may be as translucent as they like.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.pieced.animals import Animal
from vision.render.hands.pieced.textures import Plane
from vision.types import FloatArray

Polyline = tuple[NDArray[np.float64], float]
"""Points (n, 2) x, y and a thickness, both in the pixels of what it is drawn into."""


@dataclass(frozen=True)
class Lamp:
    """Where light comes from: from below or above, and in the picture's plane along (`x`, `y`), a unit vector."""

    below: bool
    x: float
    y: float
    lit: float
    """Light that falls onto what is seen from above, as a share of a white panel's."""

    @property
    def angle_rad(self) -> float:
        return float(np.arctan2(self.y, self.x))


@dataclass(frozen=True)
class Sprite:
    """Something to lay down: `passing` and `own` (h, w, 3) float32 as the module says; `body` (h, w) its cover without limbs."""

    passing: FloatArray
    own: FloatArray
    body: FloatArray


@dataclass(frozen=True)
class Laid:
    """An animal in the picture: `seen` (h, w) is what is still seen of its body, its first pixel at (`left_px`, `top_px`)."""

    animal: Animal
    left_px: int
    top_px: int
    seen: FloatArray
    whole: float
    """Sum of the body's cover were nothing hidden."""
    surface: str


@dataclass(frozen=True)
class Relief:
    """Heights of produce and how it is lit: `height` (h, w) px above the panel, 0 beside produce; `shade` (h, w) about 0.3 to 1."""

    height: FloatArray
    shade: FloatArray


@dataclass(frozen=True)
class Cover:
    """What may lie over part of an animal: which bit of plant, of what size, over how many of them."""

    bit: str
    least_mm: float
    most_mm: float
    share: float


@dataclass(frozen=True)
class Ground:
    """What animals are laid onto. `welcome` and `produce` are (h / 4, w / 4) bool: where they may fall, and where produce lies."""

    bare: str
    welcome: NDArray[np.bool_] | None = None
    produce: NDArray[np.bool_] | None = None
    relief: Relief | None = None
    cover: Cover | None = None


@dataclass(frozen=True)
class Scene:
    """`light` (h, w, 3) float32, linear, changed in place; `laid` grows with every animal."""

    kind: str
    lamp: Lamp
    light: FloatArray
    laid: list[Laid]

    @property
    def shape(self) -> tuple[int, int]:
        return int(self.light.shape[0]), int(self.light.shape[1])

    def count(self, rng: np.random.Generator, least: int, most: int) -> int:
        """How many of something: between the two on 2000 x 1500 px, as many to the area on other sizes."""
        share = self.light.shape[0] * self.light.shape[1] / (2000 * 1500)
        return round(float(rng.uniform(least, most) * share))

    def point(self, rng: np.random.Generator) -> tuple[int, int]:
        """Any pixel (x, y)."""
        return int(rng.integers(0, self.light.shape[1])), int(rng.integers(0, self.light.shape[0]))

    def box(self, left: int, top: int, wide: int, high: int) -> tuple[slice, slice] | None:
        """The part of a box that lies in the picture, as slices of it; None where nothing does."""
        h, w = self.shape
        rows, columns = slice(max(0, top), min(h, top + high)), slice(max(0, left), min(w, left + wide))
        return (rows, columns) if rows.start < rows.stop and columns.start < columns.stop else None

    def lay(self, sprite: Sprite, x_px: int, y_px: int, hidden: FloatArray | None = None, gain: float = 1.0) -> None:
        """Put a sprite with its middle at a pixel; `hidden` (h, w) 0..1 of it stays unseen; `gain` on its own light."""
        high, wide = sprite.body.shape
        left, top = x_px - wide // 2, y_px - high // 2
        box = self.box(left, top, wide, high)
        if box is None:
            return
        own_box = _within(box, left, top)
        passing, own = sprite.passing[own_box], sprite.own[own_box] * np.float32(gain)
        if hidden is not None:
            shown = 1 - hidden[own_box][..., None]
            passing, own = 1 - shown * (1 - passing), own * shown
        self.light[box] = self.light[box] * passing + own
        self._hide(box, np.clip(passing.mean(axis=2) * 1.05, 0, 1))

    def _hide(self, box: tuple[slice, slice], passing: FloatArray) -> None:
        """What lies under something new is seen by what passes through it."""
        for one in self.laid:
            shared = _shared(one, box)
            if shared is not None:
                one.seen[_within(shared, one.left_px, one.top_px)] *= passing[
                    _within(shared, box[1].start, box[0].start)
                ]

    def bend(self, box: tuple[slice, slice], dx: FloatArray, dy: FloatArray, share: FloatArray) -> FloatArray:
        """Light of a box as a lens shows it: each pixel what lies at (`dx`, `dy`) in the box. Bodies are seen bent by `share`, too."""
        for one in self.laid:
            shared = _shared(one, box)
            if shared is None:
                continue
            plane = np.zeros(dx.shape, np.float32)
            inner, own = _within(shared, box[1].start, box[0].start), _within(shared, one.left_px, one.top_px)
            plane[inner] = one.seen[own]
            plane += share * (cv2.remap(plane, dx, dy, cv2.INTER_LINEAR) - plane)
            one.seen[own] = plane[inner]
        bent = cv2.remap(self.light[box], dx, dy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
        return np.asarray(bent, np.float32)


def _within(box: tuple[slice, slice], left: int, top: int) -> tuple[slice, slice]:
    """The same box counted from another corner."""
    rows, columns = box
    return slice(rows.start - top, rows.stop - top), slice(columns.start - left, columns.stop - left)


def _shared(one: Laid, box: tuple[slice, slice]) -> tuple[slice, slice] | None:
    high, wide = one.seen.shape
    rows = slice(max(box[0].start, one.top_px), min(box[0].stop, one.top_px + high))
    columns = slice(max(box[1].start, one.left_px), min(box[1].stop, one.left_px + wide))
    return (rows, columns) if rows.start < rows.stop and columns.start < columns.stop else None


def shrunk(picture: Plane, zoom: int) -> FloatArray:
    """A finely drawn picture at the shot's own pixels."""
    size = picture.shape[1] // zoom, picture.shape[0] // zoom
    return np.asarray(cv2.resize(picture.astype(np.float32), size, interpolation=cv2.INTER_AREA), np.float32)


@dataclass(frozen=True)
class Shadow:
    """A thing's soft shadow: how dark, how far off and how blurred."""

    depth: float
    off_px: float
    blur_px: float


def sprite_of(
    lamp: Lamp, colour: Plane, cover: Plane, opacity: Plane, through: Plane, body: Plane,
    zoom: int, shadow: Shadow,
) -> Sprite:  # fmt: skip
    """A thing drawn `zoom` times finer: its light `colour` (h, w, 3), its outline `cover`, how `opacity` hides what lies below and how
    the rest comes `through` (h, w, 3)."""
    outline = cover[..., None]
    own = shrunk(colour * (cover * opacity)[..., None], zoom)
    passing = shrunk(1 - outline + outline * (1 - opacity)[..., None] * through, zoom)
    small = shrunk(cover, zoom)
    moved = np.array([[1, 0, -lamp.x * shadow.off_px], [0, 1, -lamp.y * shadow.off_px]], np.float32)
    dark = cv2.GaussianBlur(cv2.warpAffine(small, moved, small.shape[::-1]), (0, 0), shadow.blur_px)
    passing = passing * (1 - shadow.depth * dark * (1 - small))[..., None]
    return Sprite(np.asarray(passing, np.float32), own, shrunk(body, zoom))


def strokes(shape: tuple[int, ...], lines: list[Polyline]) -> FloatArray:
    """(h, w) float32 cover 0..1 of lines."""
    drawn = np.zeros(shape[:2], np.uint8)
    for points, thick in lines:
        corners = np.round(np.asarray(points) * 16).astype(np.int32)
        cv2.polylines(drawn, [corners], False, 255, max(1, round(thick)), cv2.LINE_AA, 4)
    return np.asarray(drawn / 255, np.float32)
