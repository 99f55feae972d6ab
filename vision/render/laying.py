"""Lays single patches into the scene's light: what passes through them, or what they throw back, and what is seen of them."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.camera import blurred, disc_kernel
from vision.render.patch import Patch
from vision.types import FloatArray

_STEP_MM = 1.2
"""A larger difference in height under one body is an edge, not a slope."""


@dataclass(frozen=True)
class Window:
    """Where a patch and the picture overlap."""

    scene: tuple[slice, slice]
    patch: tuple[slice, slice]
    left_px: int
    top_px: int


def window(patch: Patch, x: int, y: int, shape: tuple[int, ...]) -> Window | None:
    """The overlap of a patch anchored at pixel (x, y) with a picture of that shape; None if they do not meet."""
    h, w = patch.cover.shape
    left, top = x + patch.left_px, y + patch.top_px
    x0, y0, x1, y1 = max(left, 0), max(top, 0), min(left + w, shape[1]), min(top + h, shape[0])
    if x0 >= x1 or y0 >= y1:
        return None
    scene, own = (slice(y0, y1), slice(x0, x1)), (slice(y0 - top, y1 - top), slice(x0 - left, x1 - left))
    return Window(scene, own, x0, y0)


def out_of_focus(patch: Patch, radius_px: float) -> Patch:
    """The patch seen with a circle of confusion of that radius."""
    if radius_px < 0.35:
        return patch
    kernel = disc_kernel(radius_px)
    pad = kernel.shape[0] // 2

    def soft(a: FloatArray, value: float) -> FloatArray:
        wide = cv2.copyMakeBorder(a, pad, pad, pad, pad, cv2.BORDER_CONSTANT, value=[value] * 4)
        return np.asarray(cv2.filter2D(wide, -1, kernel, borderType=cv2.BORDER_REPLICATE), np.float32)

    cover = soft(patch.cover, 0)
    colour = soft(patch.reflectance * patch.cover[..., None], 0) / np.maximum(cover, 1e-3)[..., None]
    return dataclasses.replace(
        patch,
        transmission=soft(patch.transmission, 1),
        reflectance=colour.astype(np.float32),
        cover=cover,
        body=soft(patch.body, 0),
        height_mm=soft(patch.height_mm, 0),
        left_px=patch.left_px - pad,
        top_px=patch.top_px - pad,
    )


def afloat(patch: Patch, strength: float, reach_px: float) -> Patch:
    """The patch with the slope of the water round a floating body, which sends some light aside."""
    pad = int(3 * reach_px) + 1
    edge = cv2.BORDER_CONSTANT

    def wide(a: FloatArray, value: float) -> FloatArray:
        return np.asarray(cv2.copyMakeBorder(a, pad, pad, pad, pad, edge, value=[value] * 4), np.float32)

    cover = wide(patch.cover, 0)
    halo = blurred(wide(patch.body, 0), reach_px) * (1 - cover)
    return dataclasses.replace(
        patch,
        transmission=wide(patch.transmission, 1) * (1 - np.float32(strength) * halo)[..., None],
        reflectance=wide(patch.reflectance, 0),
        cover=cover,
        body=wide(patch.body, 0),
        height_mm=wide(patch.height_mm, 0),
        left_px=patch.left_px - pad,
        top_px=patch.top_px - pad,
    )


def hidden_behind(patch: Patch, w: Window, depth_mm: FloatArray) -> FloatArray:
    """Share of each pixel of the patch (full size) that produce standing higher than the body hides.

    The body lies on the plane fitted to the produce under it; whatever rises above its back is in front of it.
    """
    hidden = np.zeros_like(patch.cover)
    body, z = patch.body[w.patch], depth_mm[w.scene]
    under = body > 0.3
    if not under.any():
        return hidden
    yy, xx = np.nonzero(under)
    middle = len(xx) // 2
    order = np.argsort(np.hypot(xx - xx.mean(), yy - yy.mean()))
    level = float(np.median(z[yy[order[: middle + 1]], xx[order[: middle + 1]]]))
    # A step in height is no slope: what lies far below is bridged, what stands far above is in front.
    keep = np.flatnonzero(np.abs(z[yy, xx] - level) < _STEP_MM)
    keep = keep[:: max(1, len(keep) // 600)]
    plane = np.full_like(z, level)
    if len(keep) > 20:
        basis = np.stack([xx[keep] - xx.mean(), yy[keep] - yy.mean(), np.ones(len(keep))], 1)
        weight, *_ = np.linalg.lstsq(basis, z[yy[keep], xx[keep]].astype(np.float64), rcond=None)
        rows, columns = np.indices(z.shape)
        plane = weight[0] * (columns - xx.mean()) + weight[1] * (rows - yy.mean()) + weight[2]
    back = plane + patch.height_mm[w.patch] * 0.8 + 0.12
    hidden[w.patch] = np.clip((z - back) / 0.12 + 0.5, 0, 1)
    return hidden


def partly(patch: Patch, shown: FloatArray) -> Patch:
    """The patch of which only the share `shown` (h, w) is there."""
    return dataclasses.replace(
        patch,
        transmission=1 - (1 - patch.transmission) * shown[..., None],
        cover=patch.cover * shown,
        body=patch.body * shown,
    )


def lay_below(light: FloatArray, patch: Patch, w: Window, room_light: float) -> None:
    """Light from below passes through the patch; the room's light shows its own colour on top."""
    light[w.scene] *= patch.transmission[w.patch]
    if room_light > 0:
        light[w.scene] += np.float32(room_light) * patch.reflectance[w.patch] * patch.cover[w.patch][..., None]


def lay_above(
    light: FloatArray,
    patch: Patch,
    w: Window,
    lamp: NDArray[np.float32],
    to_lamp: tuple[float, float],
    px_per_mm: float,
) -> None:
    """Light from above: the ground seen through the body twice, plus what the body throws back, shaded by its roundness.

    `lamp` (h, w, 3) is the light that falls on the window; `to_lamp` the way to the lamp for a rise of 1.
    """
    height = blurred(patch.height_mm, max(0.04 * px_per_mm, 0.5))
    gy, gx = np.gradient(height * np.float32(px_per_mm))
    norm = np.sqrt(gx * gx + gy * gy + 1)
    length = float(np.sqrt(to_lamp[0] ** 2 + to_lamp[1] ** 2 + 1))
    facing = np.clip((1 - gx * to_lamp[0] - gy * to_lamp[1]) / norm / length, 0, None)
    # Half of the light comes from all round, as under soft lamps: a flank is never black, and steep flanks see less of it.
    shade = 0.62 * facing * length + 0.38 * (0.5 + 0.5 / norm)
    half = np.array([to_lamp[0], to_lamp[1], 1 + length]) / np.sqrt(
        to_lamp[0] ** 2 + to_lamp[1] ** 2 + (1 + length) ** 2
    )
    shine = np.clip((half[2] - gx * half[0] - gy * half[1]) / norm, 0, 1) ** 40 * patch.gloss * 0.6
    reach = max(0.12 * px_per_mm, 0.7)
    shadow = blurred(patch.cover, reach)
    move = np.array([[1, 0, -to_lamp[0] * reach], [0, 1, -to_lamp[1] * reach]], np.float64)
    size = (shadow.shape[1], shadow.shape[0])
    shadow = np.asarray(cv2.warpAffine(shadow, move, size, flags=cv2.INTER_LINEAR), np.float32)
    through = patch.transmission[w.patch] ** 2
    ground = light[w.scene] * (1 - np.float32(0.4) * shadow[w.patch] * (1 - through.mean(axis=2)))[..., None]
    own = patch.reflectance[w.patch] * shade[w.patch][..., None] * (1 - through)
    own += (shine[w.patch] * patch.cover[w.patch])[..., None]
    light[w.scene] = ground * through + lamp * own


def mean_lights(
    before: FloatArray, after: FloatArray, body: FloatArray, cover: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean light over the body after, and of a ring round it before; windows (h, w, 3) and maps (h, w)."""
    weight = body[..., None]
    own = (after * weight).sum(axis=(0, 1), dtype=np.float64) / max(float(body.sum(dtype=np.float64)), 1e-6)
    ring = cover < 0.02
    around = before[ring] if ring.any() else before.reshape(-1, 3)
    return own.astype(np.float32), around.mean(axis=0, dtype=np.float64).astype(np.float32)
