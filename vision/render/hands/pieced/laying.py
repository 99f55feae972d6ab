"""Animals laid where and in the colour that comes up, half sunk between buds where there are buds, some under a bit of plant."""

from __future__ import annotations

import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.pieced.animals import Animal, some_animal
from vision.render.hands.pieced.embodied import embodied
from vision.render.hands.pieced.litter import bit
from vision.render.hands.pieced.scene import Cover, Ground, Laid, Relief, Scene, Sprite
from vision.render.hands.pieced.textures import pick, rise
from vision.render.hands.seen import Body
from vision.types import FloatArray

_TRIES = 60
_APART_PX = 60


def lay_animals(scene: Scene, ground: Ground, count: int, rng: np.random.Generator) -> None:
    """Lay so many animals of kinds that such a shot has; they stand in `scene.laid` then."""
    for _ in range(count):
        animal = some_animal(scene.kind, rng)
        sprite = embodied(animal, scene.lamp, PX_PER_MM, rng)
        x, y = _place(scene, ground, animal, sprite, rng)
        _lay(scene, ground, animal, sprite, x, y, rng)
    if ground.cover is not None:
        _cover_some(scene, ground.cover, rng)


def _place(scene: Scene, ground: Ground, animal: Animal, sprite: Sprite, rng: np.random.Generator) -> tuple[int, int]:
    """A pixel where the whole of it lies in the picture, welcome and apart from the others if there is such a one."""
    margins = [min(side // 2 + 4, whole // 2 - 1) for side, whole in zip(sprite.body.shape, scene.shape, strict=True)]
    for _ in range(_TRIES):
        y, x = (int(rng.integers(m, whole - m)) for m, whole in zip(margins, scene.shape, strict=True))
        welcome = ground.welcome is None or ground.welcome[y // 4, x // 4]
        if welcome and all(_apart(one, animal, x, y) for one in scene.laid):
            break
    return x, y


def _apart(one: Laid, animal: Animal, x: int, y: int) -> bool:
    high, wide = one.seen.shape
    away = np.hypot(x - one.left_px - wide // 2, y - one.top_px - high // 2)
    return bool(away > _APART_PX + PX_PER_MM / 2 * (animal.length_mm + one.animal.length_mm))


def _lay(
    scene: Scene, ground: Ground, animal: Animal, sprite: Sprite, x: int, y: int, rng: np.random.Generator
) -> None:
    high, wide = sprite.body.shape
    box = scene.box(x - wide // 2, y - high // 2, wide, high)
    assert box is not None, "its middle lies in the picture"
    rows, columns = box
    own = (
        slice(rows.start - y + high // 2, rows.stop - y + high // 2),
        slice(columns.start - x + wide // 2, columns.stop - x + wide // 2),
    )
    hidden, gain = None, 1.0
    if ground.relief is not None:
        hidden = np.zeros(sprite.body.shape, np.float32)
        hidden[own], gain = _sunk(ground.relief, sprite.body[own], box, rng)
    scene.lay(sprite, x, y, hidden, gain)
    seen = sprite.body[own] if hidden is None else sprite.body[own] * (1 - hidden[own])
    surface = ground.bare
    if ground.produce is not None and ground.produce[y // 4, x // 4]:
        surface = "produce"
    scene.laid.append(Laid(animal, columns.start, rows.start, seen.copy(), float(sprite.body.sum()), surface))


def _sunk(
    relief: Relief, body: FloatArray, box: tuple[slice, slice], rng: np.random.Generator
) -> tuple[FloatArray, float]:
    """How far produce that stands higher hides an animal (h, w), and the share of light where it lies: most lie on top, a fifth between."""
    height, under = relief.height[box], body > 0.5
    quantile = 90 if rng.random() < 0.8 else 62
    if not under.any():
        return np.zeros_like(body), 1.0
    level = np.percentile(height[under], quantile) + 3
    gain = float(np.clip(0.55 + 0.6 * relief.shade[box][under].mean(), 0.75, 1.15))
    return rise(0, 2.5, height - level - 7 * (1 - body)), gain


def _cover_some(scene: Scene, cover: Cover, rng: np.random.Generator) -> None:
    """Lay a bit over one end of some."""
    for one in scene.laid:
        if rng.random() < cover.share:
            x, y = _middle(one)
            way = one.animal.heading_rad + pick(rng, (0.0, np.pi)) + rng.normal(0, 0.4)
            off = 0.525 * one.animal.length_mm * PX_PER_MM
            over = bit(scene.lamp, rng, cover.bit, rng.uniform(cover.least_mm, cover.most_mm))
            scene.lay(over, int(x + np.cos(way) * off), int(y + np.sin(way) * off))


def _middle(one: Laid) -> tuple[float, float]:
    """Centre of area of what is seen of it; of its box where nothing is."""
    high, wide = one.seen.shape
    total = float(one.seen.sum(dtype=np.float64))
    if total < 1e-3:
        return one.left_px + (wide - 1) / 2, one.top_px + (high - 1) / 2
    x = float(one.seen.sum(axis=0, dtype=np.float64) @ np.arange(wide)) / total
    y = float(one.seen.sum(axis=1, dtype=np.float64) @ np.arange(high)) / total
    return one.left_px + x, one.top_px + y


def body_of(one: Laid) -> Body:
    """Its place and size for the truth."""
    animal, (x, y) = one.animal, _middle(one)
    return Body(
        kind=animal.kind, x_px=x, y_px=y, length_mm=animal.length_mm, width_mm=animal.width_mm * sum(animal.flanks) / 2,
        angle_deg=float(np.degrees(animal.heading_rad)) % 360, curved=animal.curved,
        visible=float(np.clip(one.seen.sum(dtype=np.float64) / max(one.whole, 1e-6), 0, 1)),
    )  # fmt: skip
