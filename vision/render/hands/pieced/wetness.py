"""Bubbles in water, and drops that lie on what is wet. Sizes are common practice, no source."""

from __future__ import annotations

import numpy as np

from vision.render.hands.pieced.scene import Lamp, Scene, Sprite, shrunk
from vision.render.hands.pieced.textures import Plane, rise
from vision.types import FloatArray


def bubble(lamp: Lamp, rng: np.random.Generator, radius_px: float | None = None) -> Sprite:
    """A bubble: a dark ring round a clear middle, with the lamp mirrored twice."""
    zoom = 2
    radius = float(np.clip(rng.lognormal(np.log(9), 0.6), 3, 60)) if radius_px is None else radius_px
    side = (2 * int(np.ceil(radius + 6)) + 1) * zoom
    y, x = (np.mgrid[0:side, 0:side].astype(np.float32) - (side - 1) / 2) / (zoom * radius)
    oval = rng.uniform(0.9, 1.1)
    out = np.hypot(x * oval, y / oval)
    thick = float(np.clip(2.0 / radius, 0.05, 0.35))
    ring = np.exp(-(((out - 0.9) / thick) ** 2))
    inner = np.exp(-(((out - 0.65) / (thick * 1.4)) ** 2))
    turned = np.arctan2(y, x) - lamp.angle_rad
    clear = 1 - rng.uniform(0.25, 0.6) * ring * (0.7 + 0.3 * np.cos(turned)) + 0.08 * inner - 0.05 * (out < 0.9)
    glint = _glint(x, y, lamp, 0.42, 0.02) + 0.4 * _glint(x, y, lamp, -0.55, 0.015)
    own = np.repeat((glint * rng.uniform(0.15, 0.6))[..., None], 3, axis=2)
    through = shrunk(np.repeat(clear[..., None], 3, axis=2), zoom)
    return Sprite(through, shrunk(own, zoom), np.zeros(through.shape[:2], np.float32))


def _glint(x: Plane, y: Plane, lamp: Lamp, off: float, wide: float) -> FloatArray:
    return np.asarray(np.exp(-((x - off * lamp.x) ** 2 + (y - off * lamp.y) ** 2) / wide), np.float32)


def drops(scene: Scene, rng: np.random.Generator, count: int, middle_px: float, spread: float, rim: float) -> None:
    """Lay so many drops anywhere; half of them are wider than `middle_px`."""
    most = 0.15 * min(scene.shape)
    for _ in range(count):
        x, y = scene.point(rng)
        radius = min(float(np.clip(rng.lognormal(np.log(middle_px), spread), 5, 90)), most)
        _drop(scene, x, y, radius, rng, rim)


def _drop(scene: Scene, x: int, y: int, radius: float, rng: np.random.Generator, rim: float) -> None:
    """A drop magnifies what lies below it, and has a rim, a glint and a shadow."""
    reach = int(radius * 1.4 + 8)
    waves = rng.uniform(0, 6, 3)
    box = scene.box(x - reach, y - reach, 2 * reach + 1, 2 * reach + 1)
    if box is None:
        return
    lamp, (rows, columns) = scene.lamp, box
    yy, xx = np.mgrid[box].astype(np.float32)
    dx, dy = xx - x, yy - y
    angle = np.arctan2(dy, dx)
    wavy = sum(high * np.cos(k * angle + at) for high, k, at in zip((0.09, 0.06, 0.03), (2, 3, 5), waves, strict=True))
    out = np.hypot(dx, dy) / (radius * (1 + wavy))
    nearer = np.where(out < 1, 0.78 + 0.22 * out**3, 1).astype(np.float32)
    cover = rise(1.0, 1 - 2.2 / radius, out)
    from_x = (dx * nearer + (x - columns.start)).astype(np.float32)
    from_y = (dy * nearer + (y - rows.start)).astype(np.float32)
    bent = scene.bend(box, from_x, from_y, cover)
    towards = np.cos(angle - lamp.angle_rad)
    ring = np.exp(-(((out - 0.95) / max(0.05, 2.2 / radius)) ** 2))
    bent = bent * (1 - rim * ring * (0.6 + 0.4 * towards))[..., None]
    shine = 0.22 * ring * np.clip(-towards, 0, 1) * rise(1, 0.8, out)
    shine += 0.6 * _glint(dx / radius, dy / radius, lamp, 0.4, 0.006 if lamp.below else 0.012)
    shadow = 0.0 if lamp.below else 0.18 * np.exp(-(((out - 1.08) / 0.1) ** 2)) * np.clip(0.5 - 0.5 * towards, 0, 1)
    beside = (1 - cover) * (1 - shadow)
    scene.light[box] = scene.light[box] * beside[..., None] + (bent + shine[..., None]) * cover[..., None]
