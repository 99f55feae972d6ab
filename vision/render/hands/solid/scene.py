"""A drawn scene before any insect, and what all scenes are made with: the panel's light, silt and loose things."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.solid import bits, rings
from vision.render.hands.solid.draws import Rng, anywhere, blurred, enlarged, log_uniform, smooth_noise
from vision.render.hands.solid.stamps import Light, lay
from vision.types import FloatArray, MaskArray


@dataclass(frozen=True)
class Produce:
    """Produce in a scene: where it is (h, w), the light on it, and its height in pixels (h, w) where it has one."""

    there: MaskArray
    light: Light
    height_px: FloatArray | None


@dataclass(frozen=True)
class Scene:
    """`picture` (h, w, 3) linear light, which insects are laid into; `ground` is the name of what lies under all."""

    picture: FloatArray
    ground: str
    light: Light
    produce: Produce | None = None


_BITS: dict[str, Callable[[Rng, float], Any]] = {
    "grit": bits.grit,
    "soil": bits.soil,
    "flake": bits.flake,
    "bud": bits.bud,
    "sliver": bits.sliver,
    "fibre": bits.fibre,
}


def panel(rng: Rng, height_px: int, width_px: int, level: float) -> tuple[FloatArray, NDArray[Any]]:
    """The lit panel (h, w, 3), linear light about `level`: slope, falling off to the corners, blotches; and its tint (3,)."""
    rows, columns = height_px // 8 + 1, width_px // 8 + 1
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, columns), indexing="ij")
    off2 = (x - rng.normal(0, 0.15)) ** 2 + (y - rng.normal(0, 0.15)) ** 2
    even = 1 - rng.uniform(0.04, 0.24) * off2 / 2
    even = even * (1 + rng.normal(0, 0.05) * x + rng.normal(0, 0.05) * y)
    even = even * (1 + 0.018 * smooth_noise(rng, (rows, columns), 70, 2))
    warm = rng.normal(0, 0.05)
    tint = np.array([1 + warm, 1 + rng.normal(0, 0.012), 1 - warm], np.float32)
    return enlarged((even * level).astype(np.float32), height_px, width_px)[..., None] * tint, tint


def silt(picture: FloatArray, rng: Rng, count: int, dark: float) -> None:
    """Very small specks all over, in place."""
    height_px, width_px = picture.shape[:2]
    specks = np.zeros((height_px, width_px), np.float32)
    at = (rng.integers(0, height_px, count), rng.integers(0, width_px, count))
    np.add.at(specks, at, rng.gamma(1.2, 1, count).astype(np.float32))
    specks = blurred(specks, 0.9) * np.float32(2.2 * dark)
    rows, columns = np.nonzero(specks > 2e-3)
    tone = np.array([0.8, 0.9, 1.05], np.float32)
    picture[rows, columns] *= np.exp(-specks[rows, columns][:, None] * tone)


def scatter(
    picture: FloatArray,
    rng: Rng,
    count: int,
    mix: Mapping[str, float],
    light: Light,
    where: MaskArray | None = None,
    blur_px: float = 1.2,
) -> None:
    """Lays `count` loose things into the picture, kinds by the weights of `mix`, where `where` (h, w) allows it."""
    names = list(mix)
    weights = np.array(list(mix.values()))
    for name in rng.choice(names, count, p=weights / weights.sum()):
        x, y = next(((x, y) for x, y in _places(rng, picture) if where is None or where[y, x]), (-1, -1))
        if x < 0:
            continue
        blur = abs(rng.normal(0, blur_px * 0.5))
        if name == "bubble":
            _bubbles(picture, rng, x, y, light, min(blur, 0.8))
        elif name == "drop":
            lay(picture, rings.drop(rng, log_uniform(rng, 0.3, 2.6)), x, y, _through(light), min(blur, 1))
        else:
            lay(picture, _BITS[name](rng, light.hiding), x, y, light, blur)


def drops(
    picture: FloatArray, rng: Rng, count: int, low_mm: float, high_mm: float, light: Light, gain: float = 1.0
) -> None:
    """Drops lying all over, radii `low_mm` to `high_mm`; `gain` is how bright the lamp is mirrored in them."""
    clear = _through(replace(light, above=light.above * gain))
    for _ in range(count):
        x, y = anywhere(rng, picture)
        lay(picture, rings.drop(rng, log_uniform(rng, low_mm, high_mm)), x, y, clear, 0.4)


def _places(rng: Rng, picture: FloatArray) -> list[tuple[int, int]]:
    return [anywhere(rng, picture) for _ in range(12)]


def _through(light: Light) -> Light:
    """The same light for what is clear: water throws no shadow and dims nothing behind it."""
    return replace(light, below=1.0, shadow=0.0)


def _bubbles(picture: FloatArray, rng: Rng, x: int, y: int, light: Light, blur_px: float) -> None:
    """A bubble, at times with smaller ones beside it."""
    lay(picture, rings.bubble(rng, log_uniform(rng, 0.12, 1.1)), x, y, _through(light), blur_px)
    for _ in range(rng.integers(0, 4) if rng.random() < 0.25 else 0):
        beside = rings.bubble(rng, rng.uniform(0.1, 0.45))
        lay(picture, beside, x + int(rng.normal(0, 18)), y + int(rng.normal(0, 18)), _through(light), blur_px)
