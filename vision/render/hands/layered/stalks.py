"""Stalks and branches of florets: nested grey tubes moved towards the light, drawn at twice the size, blurred, reduced and tinted."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.layered.colour import Rng
from vision.render.hands.layered.curves import Numbers, Points, line_through, normals, tube
from vision.render.hands.layered.laying import moved
from vision.render.hands.layered.noise import grain
from vision.render.hands.layered.sheet import Light
from vision.types import FloatArray

_POINTS, _FOLD, _MARGIN_PX, _SHORTEST_PX = 40, 2, 16, 6
_TUBES, _STREAKS = 7, 9
_SHADOW, _SHADOW_FAR_PX = 0.3, 5


def limb(
    rng: Rng,
    scene: FloatArray,
    cover: FloatArray,
    ends_px: tuple[Points, Points],
    widths_px: tuple[float, float],
    colour: NDArray[Any],
    light: Light,
    bend: float = 0.12,
) -> None:
    """Lays a stalk between two points (2,) that tapers from one width to the other; `cover` (h, w) grows by it."""
    start, end = ends_px
    along = end - start
    if np.hypot(*along) < _SHORTEST_PX:
        return
    aside = np.array([-along[1], along[0]]) * rng.normal(0, bend)
    line = line_through([start, (start + end) / 2 + aside, end], _POINTS)
    half = np.linspace(*widths_px, _POINTS) / 2 * (1 + 0.04 * rng.normal(0, 1, _POINTS).cumsum() / 3)
    reach = half.max() + _MARGIN_PX
    low = np.maximum(np.floor(line.min(0) - reach).astype(int), 0)
    high = np.minimum(np.ceil(line.max(0) + reach).astype(int), scene.shape[1::-1])
    if (high - low < 8).any():
        return
    grey, mask = _drawn(rng, line - low, half, high - low, light)
    here = (slice(low[1], high[1]), slice(low[0], high[0]))
    shadow = cv2.blur(cv2.blur(moved(mask, _SHADOW_FAR_PX, _SHADOW_FAR_PX), (11, 11)), (9, 9))
    below = scene[here]
    below *= ((1 - np.float32(_SHADOW) * shadow) * (1 - mask))[..., None]
    for channel in range(3):
        below[..., channel] += mask * grey * np.float32(colour[channel])
    cover[here] = np.maximum(cover[here], mask)


def _drawn(
    rng: Rng, line: Points, half: Numbers, size: NDArray[np.int64], light: Light
) -> tuple[FloatArray, FloatArray]:
    """Light about 1 and coverage 0..1, both of a window's `size` (width, height)."""
    width, height = (int(v) for v in size)
    mask = np.zeros((height * _FOLD, width * _FOLD), np.uint8)
    grey = np.full_like(mask, 84)

    def corners(points: Points) -> NDArray[np.int32]:
        return np.round((points * _FOLD + (_FOLD - 1) / 2) * 16).astype(np.int32)

    cv2.fillPoly(mask, [corners(tube(line, half))], 255, cv2.LINE_AA, 4)
    towards, across = np.array([light.x, light.y]), normals(line)
    for up in np.linspace(0, 1, _TUBES):
        inner = tube(line + towards * (half * up * 0.38)[:, None], half * (1 - up) ** 0.6 + 0.5)
        cv2.fillPoly(grey, [corners(inner)], int(92 + 66 * up), cv2.LINE_AA, 4)
    for off in rng.uniform(-0.9, 0.9, _STREAKS):
        first, last = np.sort(rng.integers(0, _POINTS, 2))
        streak = corners((line + across * (half * off)[:, None])[first : last + 1])
        cv2.polylines(grey, [streak], False, int(rng.uniform(85, 165)), int(rng.integers(1, 4)), cv2.LINE_AA, 4)
    grey = np.asarray(cv2.GaussianBlur(grey, (0, 0), 2.2), np.uint8)
    small_grey, small_mask = (
        np.asarray(cv2.resize(large, (width, height), interpolation=cv2.INTER_AREA), np.float32)
        for large in (grey, mask)
    )
    uneven = 1 + np.float32(0.05) * grain(rng, height, width, 24, 3)
    return np.asarray(small_grey / 128 * uneven, np.float32), np.asarray(small_mask / 255, np.float32)
