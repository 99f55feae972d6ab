"""Light on a height field: slopes, cast shadow, ambient occlusion, each in millimetres so that every resolution looks alike.

Lambert's cosine law for the direct light, a horizon march for its shadow, and blurred-height differences for the share of the
sky a point sees. The ground in the open has illumination 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray

_SKY_SHARE = 0.55
_NEAR_PX_PER_MM = 15.0
_MIDDLE_PX_PER_MM = 8.0
_FAR_PX_PER_MM = 4.0
_COMPASS = 8


@dataclass(frozen=True)
class Lighting:
    """All (h, w) float32: `shade` illumination (ground in the open: 1), `direct` share of the lamp seen 0..1, `sky` share of
    the sky seen 0..1, `glint` cosine of the angle between the surface and the mirror direction 0..1."""

    shade: FloatArray
    direct: FloatArray
    sky: FloatArray
    glint: FloatArray


def light_up(
    height_mm: FloatArray, bump_mm: FloatArray, px_per_mm: float, light_direction: tuple[float, float]
) -> Lighting:
    """Illumination of `height_mm` (h, w) float32 with fine relief `bump_mm` added for the slopes only.

    `light_direction`: x and y of the way towards the lamp for a rise of 1 along z.
    """
    to_lamp = np.array([light_direction[0], light_direction[1], 1.0], dtype=np.float32)
    to_lamp /= np.float32(np.linalg.norm(to_lamp))
    slope_x, slope_y = _slopes(height_mm + bump_mm, px_per_mm)
    inverse = 1.0 / np.sqrt(1.0 + slope_x**2 + slope_y**2)
    facing = (to_lamp[2] - slope_x * to_lamp[0] - slope_y * to_lamp[1]) * inverse
    half_way = to_lamp + np.array([0.0, 0.0, 1.0], dtype=np.float32)
    half_way /= np.float32(np.linalg.norm(half_way))
    glint = np.clip((half_way[2] - slope_x * half_way[0] - slope_y * half_way[1]) * inverse, 0.0, 1.0)
    direct = _lamp_seen(height_mm, px_per_mm, to_lamp)
    sky = _sky_seen(height_mm, inverse, px_per_mm)
    wrapped = np.maximum(facing + 0.12, 0.0) / (to_lamp[2] + 0.12)
    shade = _SKY_SHARE * sky * (0.5 + 0.5 * inverse) + (1.0 - _SKY_SHARE) * direct * wrapped
    return Lighting(np.clip(shade, 0.0, 1.2), direct, sky, glint)


def _slopes(height_mm: FloatArray, px_per_mm: float) -> tuple[FloatArray, FloatArray]:
    """Slope along x and y: the gentler of the two one-sided differences, so that an edge does not tilt its neighbours."""
    slopes = []
    for axis in (1, 0):
        step = np.diff(height_mm, axis=axis) * np.float32(px_per_mm)
        pad = ((0, 0), (1, 1)) if axis == 1 else ((1, 1), (0, 0))
        step = np.pad(step, pad, mode="edge")
        before, after = (step[:, :-1], step[:, 1:]) if axis == 1 else (step[:-1], step[1:])
        slopes.append(np.where(np.abs(before) < np.abs(after), before, after))
    return slopes[0], slopes[1]


def _resized(picture: NDArray[np.floating[Any]], size: tuple[int, int], method: int) -> FloatArray:
    return np.asarray(cv2.resize(picture, size, interpolation=method), dtype=np.float32)


def _coarse(height_mm: FloatArray, px_per_mm: float, wanted: float) -> tuple[FloatArray, float]:
    share = min(1.0, wanted / px_per_mm)
    size = (max(2, round(height_mm.shape[1] * share)), max(2, round(height_mm.shape[0] * share)))
    return _resized(height_mm, size, cv2.INTER_AREA), px_per_mm * share


def _moved(picture: FloatArray, x_px: float, y_px: float) -> FloatArray:
    """What lies `x_px`, `y_px` further on. Beyond the picture it is taken as mirrored, so that a piece cut by the edge goes on."""
    move = np.array([[1, 0, x_px], [0, 1, y_px]], dtype=np.float32)
    size = (picture.shape[1], picture.shape[0])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(picture, move, size, flags=flags, borderMode=cv2.BORDER_REFLECT), dtype=np.float32)


def _receivers(
    height_mm: FloatArray, px_per_mm: float, wanted: float
) -> tuple[FloatArray, tuple[FloatArray, ...], float]:
    """Coarse relief that casts, the two coarse surfaces that receive (bare ground; produce without the ground beside it), scale."""
    casting, scale = _coarse(height_mm, px_per_mm, wanted)
    share, _ = _coarse((height_mm > 0).astype(np.float32), px_per_mm, wanted)
    spread = cv2.GaussianBlur(casting, (0, 0), 1.0) / np.maximum(cv2.GaussianBlur(share, (0, 0), 1.0), 1e-3)
    produce = np.where(share > 0.99, casting, spread)
    return casting, (np.zeros_like(casting), np.asarray(produce, dtype=np.float32)), scale


def _chosen(parts: list[FloatArray], height_mm: FloatArray) -> FloatArray:
    """At full size, the last of `parts` where produce lies and the first on the ground."""
    size = (height_mm.shape[1], height_mm.shape[0])
    fine = [_resized(np.asarray(cv2.GaussianBlur(p, (5, 5), 1.0)), size, cv2.INTER_LINEAR) for p in parts]
    return np.where(height_mm > 0, fine[1], fine[0])


def _lamp_seen(height_mm: FloatArray, px_per_mm: float, to_lamp: FloatArray) -> FloatArray:
    """Share of a broad lamp that is not hidden, by walking towards it and asking how far the relief rises over the ray."""
    flat = float(np.hypot(to_lamp[0], to_lamp[1]))
    seen = np.ones_like(height_mm)
    if flat < 1e-3:
        return seen
    way = to_lamp[:2] / flat
    rise = float(to_lamp[2]) / flat
    reach = max(6.0, 1.5 * float(height_mm.max()) / rise)
    for wanted, first, last in (
        (_NEAR_PX_PER_MM, 0.1, 1.2),
        (_MIDDLE_PX_PER_MM, 1.0, 5.0),
        (_FAR_PX_PER_MM, 4.5, reach),
    ):
        casting, receiving, scale = _receivers(height_mm, px_per_mm, wanted)
        # Nearer than two pixels the steps of a slanting outline would throw shadows of their own.
        first = max(first, 2.0 / scale)
        if first >= last:
            continue
        lit = [np.ones_like(casting) for _ in receiving]
        for walk in np.geomspace(first, last, int(np.ceil(np.log(last / first) / 0.25)) + 1):
            # The lamp's width blurs what is far away.
            ahead = _moved(_blurred(casting, 0.12 * walk * scale), way[0] * walk * scale, way[1] * walk * scale)
            ahead -= np.float32(walk * rise)
            for part, surface in zip(lit, receiving, strict=True):
                np.minimum(part, 0.45 - (ahead - surface) / np.float32(0.1 + 1.1 * walk), out=part)
        seen = np.minimum(seen, _chosen(lit, height_mm))
    return np.maximum(seen, 0.0)


def _blurred(picture: FloatArray, sigma_px: float) -> FloatArray:
    """A blur of about `sigma_px`; wide ones by a running sum, whose cost does not grow with the width."""
    if sigma_px < 0.5:
        return picture
    if sigma_px < 1.5:
        return np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma_px), dtype=np.float32)
    # A triangle of half-width n has the variance n (n + 2) / 6.
    half = round(np.sqrt(6.0 * sigma_px**2 + 1.0) - 1.0)
    return np.asarray(cv2.stackBlur(picture, (2 * half + 1, 2 * half + 1)), dtype=np.float32)


def _sky_seen(height_mm: FloatArray, level: FloatArray, px_per_mm: float) -> FloatArray:
    """Share of the sky a point sees: the horizon in eight directions, and close by how far the mean height stands over it.

    `level` (h, w): upward part of the surface's normal; on a steep flank the mean height round a point says little.
    """
    size = (height_mm.shape[1], height_mm.shape[0])
    casting, receiving, scale = _receivers(height_mm, px_per_mm, _FAR_PX_PER_MM)
    layers = [(walk, _blurred(casting, 0.3 * walk * scale)) for walk in (0.9, 1.6, 2.9, 5.2, 9.4, 17.0)]
    hidden = [np.zeros_like(casting) for _ in receiving]
    for angle in np.arange(_COMPASS) * (2.0 * np.pi / _COMPASS) + 0.2:
        sine_square = [np.zeros_like(casting) for _ in receiving]
        for walk, layer in layers:
            ahead = _moved(layer, np.cos(angle) * walk * scale, np.sin(angle) * walk * scale)
            for part, surface in zip(sine_square, receiving, strict=True):
                over = np.maximum(ahead - surface, 0.0)
                over *= over
                np.maximum(part, over / (over + np.float32(walk * walk)), out=part)
        for total, part in zip(hidden, sine_square, strict=True):
            total += part / _COMPASS
    sky = 1.0 - 0.97 * _chosen(hidden, height_mm)
    for radius_mm, weight in ((0.3, 0.55), (1.0, 0.75)):
        near, scale = _coarse(height_mm, px_per_mm, min(_NEAR_PX_PER_MM, 8.0 / radius_mm))
        round_it = _blurred(near, radius_mm * scale)
        over = np.clip((_resized(round_it, size, cv2.INTER_LINEAR) - height_mm) / np.float32(radius_mm), 0.0, 1.5)
        sky /= 1.0 + np.float32(weight) * over * level * (height_mm > 0)
    return sky


def rounded_joints(height_mm: FloatArray, smooth: FloatArray, px_per_mm: float) -> FloatArray:
    """Height with the creases rounded out where `smooth` (h, w) is 1: tissue grows together where stems part.

    Steps much higher than a crease (one stem passing over another) stay.
    """
    scale = min(1.0, _MIDDLE_PX_PER_MM / px_per_mm)
    size = (height_mm.shape[1], height_mm.shape[0])
    small = (max(2, round(size[0] * scale)), max(2, round(size[1] * scale)))
    weight = _resized(smooth, small, cv2.INTER_AREA)
    lifted = _resized(height_mm * smooth, small, cv2.INTER_AREA)
    sigma = 0.85 * px_per_mm * scale
    mean = _blurred(lifted, sigma) / np.maximum(_blurred(weight, sigma), 1e-3)
    change = _resized(mean, size, cv2.INTER_LINEAR) - height_mm
    rounded = height_mm + smooth * change * np.exp(-((change / np.float32(1.2)) ** 2))
    box = (2 * round(0.18 * px_per_mm) + 1,) * 2
    mean = cv2.blur(cv2.blur(rounded * smooth, box), box) / np.maximum(cv2.blur(cv2.blur(smooth, box), box), 1e-3)
    change = mean - rounded
    return np.asarray(rounded + smooth * change * (np.abs(change) < 0.4), dtype=np.float32)
