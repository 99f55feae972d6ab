"""Split scallion leaves lying flat on the panel: sheets with veins from white to green, torn, one over another.

Sizes and colours: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.solid.draws import Rng, blurred, enlarged, how_many, shifted, smooth_noise
from vision.render.hands.solid.lines import unit
from vision.render.hands.solid.scene import Produce, Scene, drops, panel, scatter, silt
from vision.render.hands.solid.stamps import Light
from vision.types import FloatArray

_MIX = {"grit": 1.2, "soil": 1.2, "flake": 1.5, "sliver": 1.0, "fibre": 1.5, "bubble": 1.0}
_GREEN_DEPTH, _WHITE_DEPTH = np.array([1.25, 0.52, 1.9], np.float32), np.array([0.16, 0.15, 0.26], np.float32)
_GREEN_ALBEDO, _WHITE_ALBEDO = np.array([0.15, 0.30, 0.07], np.float32), np.array([0.62, 0.63, 0.50], np.float32)


@dataclass(frozen=True)
class _Sheet:
    """A leaf laid out flat, (across, along): what it takes from the light and throws back (w, l, 3), and where it is (w, l)."""

    taken: FloatArray
    back: FloatArray
    there: FloatArray


@dataclass(frozen=True)
class _Lying:
    """Where a sheet lies: its middle (2,) in pixels, its heading, and how it bends and wavers."""

    middle: NDArray[Any]
    angle_rad: float
    bend: float
    waver_px: float
    wave_px: float
    phase_rad: float

    def off_px(self, along: NDArray[Any]) -> NDArray[Any]:
        """How far the straightened sheet lies beside its own middle line."""
        return np.asarray(self.bend * along * along + self.waver_px * np.sin(along / self.wave_px + self.phase_rad))


def scallion(rng: Rng, height_px: int, width_px: int) -> Scene:
    """Leaves side by side and over each other, lit mostly from below."""
    picture, tint = panel(rng, height_px, width_px, rng.uniform(0.62, 0.86))
    from_below = rng.random() < 0.65
    light = Light(1.0, tint * 0.3, 0.12, 1.8) if from_below else Light(0.3, tint * 0.8, 0.35, 3.0)
    silt(picture, rng, how_many(rng, 300, 301, picture), 0.6)
    covered = np.zeros((height_px, width_px), np.float32)
    across_px = 0.56 * float(np.hypot(height_px, width_px))
    count = max(2, round(int(rng.integers(4, 8)) * across_px / 1400))
    heading = rng.uniform(0, np.pi)
    beside = np.linspace(-across_px / 2, across_px / 2, count) + rng.normal(0, 60, count)
    for k in rng.permutation(count):
        sheet = _sheet(rng, int(rng.uniform(190, 420)), int(rng.uniform(1.15, 1.8) * across_px), light.below < 1)
        turn = heading + rng.normal(0, 0.13)
        middle = np.array([width_px / 2, height_px / 2]) + unit(turn + np.pi / 2) * beside[k]
        middle = middle + unit(turn) * rng.normal(0, 0.14) * across_px
        waver = (rng.uniform(2, 9), rng.uniform(130, 330), rng.uniform(0, 6))
        _lay_sheet(picture, covered, sheet, _Lying(middle, turn, rng.normal(0, 5e-5), *waver), light)
    drops(picture, rng, how_many(rng, 8, 40, picture), 0.25, 2.6, light)
    scatter(picture, rng, how_many(rng, 45, 100, picture), _MIX, light, blur_px=0.7)
    brighter = replace(light, above=light.above * 1.5)
    return Scene(picture, "panel", brighter, Produce(covered > 0.5, brighter, None))


def _sheet(rng: Rng, wide: int, long: int, from_above: bool) -> _Sheet:
    cells = enlarged(rng.standard_normal((wide, long // 14), dtype=np.float32), wide, long)
    blotches = enlarged(smooth_noise(rng, (wide // 4 + 2, long // 8 + 2), 26, 3), wide, long, smooth=True)
    along = np.linspace(0, 1, long, dtype=np.float32)[None]
    turning, steep = rng.uniform(-0.2, 0.75), rng.uniform(5, 12)
    green = 1 / (1 + np.exp(-(along - np.float32(turning)) * np.float32(steep) - 0.22 * blotches))
    veins = _veins(rng, wide, long) * (0.35 + 0.65 * green) * np.float32(rng.uniform(0.5, 0.85))
    thick = np.clip(1 + veins + 0.13 * cells + 0.10 * blotches, 0.3, 3)
    rows = np.arange(wide, dtype=np.float32)
    border = np.minimum(rows, wide - 1 - rows)[:, None]
    thick = (thick * (1 - 0.4 * np.exp(-border / 10)))[..., None]
    green = green[..., None]
    depth = thick * (green * _GREEN_DEPTH * np.float32(rng.uniform(0.7, 1.2)) + (1 - green) * _WHITE_DEPTH)
    wax = np.clip(blotches * 0.6 + 0.35 * cells + np.float32(rng.uniform(-0.8, 0.3)), 0, 1.2) * rng.uniform(0.02, 0.12)
    albedo = (green * _GREEN_ALBEDO + (1 - green) * _WHITE_ALBEDO) * (1.21 - 0.16 * thick) + wax[..., None]
    if rng.random() < 0.6:
        # A flap folded over doubles the thickness.
        first, last = sorted(rng.uniform(0, wide, 2))
        depth[int(first) : int(min(last, first + 60))] *= 1.6
    there = _torn(rng, wide, long)
    passed = np.exp(-depth) * (0.55 if from_above else 1)
    uneven = 1 + 0.12 * enlarged(smooth_noise(rng, (wide // 4 + 2, long // 8 + 2), 50, 2), wide, long)
    back = albedo * (there * uneven * (0.62 if from_above else 0.45))[..., None]
    taken = there[..., None] * (1 - passed)
    return _Sheet(taken.astype(np.float32), back.astype(np.float32), there)


def _veins(rng: Rng, wide: int, long: int) -> FloatArray:
    """(w, l) thickness of the long veins, every few a strong one, and of the small ones across."""
    rows = np.arange(wide, dtype=np.float32)
    pitch, every = rng.uniform(8, 15), int(rng.integers(2, 5))
    at = np.cumsum(pitch * rng.uniform(0.75, 1.25, int(wide / pitch) + 2)) - pitch + rng.uniform(3, 10)
    profile = np.zeros(wide, np.float32)
    for number, place in enumerate(at):
        strong = number % every == 0
        height = (0.9 if strong else 0.45) * rng.uniform(0.7, 1.2)
        profile += np.float32(height) * np.exp(-(((rows - np.float32(place)) / (1.9 if strong else 1.2)) ** 2))
    cross = np.zeros((wide, long), np.float32)
    for _ in range(rng.integers(10, 50)):
        x, y = int(rng.integers(0, long)), int(rng.integers(0, wide))
        cv2.line(cross, (x, y), (x + int(rng.normal(0, 5)), y + int(pitch)), (0.5,), 1, cv2.LINE_AA)
    return np.asarray(profile[:, None] + cross, np.float32)


def _torn(rng: Rng, wide: int, long: int) -> FloatArray:
    """(w, l) 0..1: the sheet with torn ends, ragged edges and tears."""
    rows, columns = np.arange(wide, dtype=np.float32), np.arange(long)
    there = np.ones((wide, long), np.float32)
    end = np.cumsum(rng.normal(0, 2.2, wide)) + smooth_noise(rng, (1, wide), 9, 3)[0] * 3 + rows * rng.normal(0, 0.5)
    end = end - end.min() + rng.uniform(0, 60)
    there[(columns[None] < end[:, None]) | ((long - 1 - columns)[None] < end[::-1, None])] = 0
    ragged = smooth_noise(rng, (1, long), 400, 3)[0] * 4 + smooth_noise(rng, (1, long), 14, 2)[0] * 0.5 + 9
    there[(rows[:, None] < ragged[None]) | (wide - 1 - rows[:, None] < ragged[None, ::-1])] = 0
    for _ in range(rng.integers(0, 4)):
        x, y = rng.uniform(0, long), rng.uniform(0.2, 0.8) * wide
        length, half = rng.uniform(60, 360), rng.uniform(2, 14)
        tear = np.array(
            [[x, y], [x + length * 0.4, y - half], [x + length, y + rng.normal(0, 4)], [x + length * 0.55, y + half]]
        )
        cv2.fillPoly(there, [tear.astype(np.int32).reshape(-1, 1, 2)], (0.0,), cv2.LINE_AA)
    return there


def _lay_sheet(picture: FloatArray, covered: FloatArray, sheet: _Sheet, lying: _Lying, light: Light) -> None:
    """Bends a sheet into its place and lays it over the picture and over what is covered, both in place."""
    box = _reach(sheet, lying, covered.shape)
    if box is None:
        return
    taken, back, there = _bent(sheet, lying, box)
    soft = blurred(there, 2.0)
    part = picture[box]
    if light.below < 1:
        part *= (1 - 0.25 * shifted(blurred(soft, 4), 4, 5) * (1 - there))[..., None]
    part *= (1 - taken) * (1 - 0.3 * np.abs(there - soft))[..., None]
    part += back * light.above.astype(np.float32)
    covered[box] = np.maximum(covered[box], there)


def _reach(sheet: _Sheet, lying: _Lying, shape: tuple[int, ...]) -> tuple[slice, slice] | None:
    """The box of the picture that the bent sheet touches; None where that is next to nothing."""
    wide, long = sheet.there.shape
    along = np.linspace(-long / 2, long / 2, 30)
    across = np.stack([-lying.off_px(along) + side for side in (-wide / 2, wide / 2)])
    cos, sin = unit(lying.angle_rad)
    x, y = lying.middle[0] + along * cos - across * sin, lying.middle[1] + along * sin + across * cos
    left, right = (int(np.clip(v, 0, shape[1])) for v in (x.min() - 8, x.max() + 8))
    top, bottom = (int(np.clip(v, 0, shape[0])) for v in (y.min() - 8, y.max() + 8))
    return None if right - left < 20 or bottom - top < 20 else (slice(top, bottom), slice(left, right))


def _bent(sheet: _Sheet, lying: _Lying, box: tuple[slice, slice]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The sheet's three arrays as they lie in the box."""
    wide, long = sheet.there.shape
    x = np.arange(box[1].start, box[1].stop, dtype=np.float32)[None] - np.float32(lying.middle[0])
    y = np.arange(box[0].start, box[0].stop, dtype=np.float32)[:, None] - np.float32(lying.middle[1])
    cos, sin = (np.float32(v) for v in unit(lying.angle_rad))
    along, across = x * cos + y * sin, y * cos - x * sin
    across = (across + lying.off_px(along) + wide / 2).astype(np.float32)
    along = (along + long / 2).astype(np.float32)
    taken, back, there = (
        np.asarray(cv2.remap(plane, along, across, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT), np.float32)
        for plane in (sheet.taken, sheet.back, sheet.there)
    )
    return taken, back, there
