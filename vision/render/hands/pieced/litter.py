"""What is mistaken for animals: grit, soil, bits of plants, loose buds, seeds, slivers, fibres, hairs and dust.

Sizes and colours are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.pieced.scene import Lamp, Polyline, Scene, Shadow, Sprite, sprite_of, strokes
from vision.render.hands.pieced.textures import cloud, coloured, linear, pick, rise, texture, tinge
from vision.types import FloatArray

_Palette = tuple[tuple[int, int, int], tuple[int, int, int], tuple[int, int, int]]
_PLANT: list[_Palette] = [
    ((58, 84, 30), (104, 132, 56), (152, 170, 92)), ((96, 110, 48), (150, 158, 82), (196, 196, 128)),
    ((62, 44, 26), (112, 84, 50), (158, 128, 84)), ((136, 110, 66), (190, 166, 112), (226, 208, 160)),
    ((180, 176, 140), (214, 208, 172), (238, 232, 206)), ((44, 34, 24), (78, 56, 36), (112, 86, 56)),
]  # fmt: skip
_STONE: list[_Palette] = [
    ((40, 36, 32), (80, 74, 66), (120, 112, 100)), ((96, 88, 78), (146, 136, 120), (196, 188, 172)),
    ((24, 22, 22), (46, 42, 40), (78, 72, 68)), ((110, 74, 46), (160, 116, 78), (204, 168, 128)),
    ((168, 164, 156), (204, 200, 192), (236, 234, 228)),
]  # fmt: skip


@dataclass(frozen=True)
class _Sort:
    """How one sort of bit looks. `half_px` is half its length where that does not follow the size asked for; `slim` its width against
    its length; `opacity` a range; `dense` how strongly it colours what comes through."""

    outline: str
    slim: tuple[float, float]
    palettes: list[_Palette]
    grain: str
    opacity: tuple[float, float]
    dense: float
    half_px: tuple[float, float] | None = None
    longer: float = 1.0
    thin: bool = False
    hairs: int = 0


_BROWN, _DRY = [_PLANT[2], _PLANT[5]], [_PLANT[3], _PLANT[4], _PLANT[1]]
SORTS = {
    "grit": _Sort("angular", (0.55, 1), _STONE, "gravel", (0.5, 0.95), 1.6),
    "soil": _Sort("ragged", (0.45, 1), _BROWN, "gravel", (0.75, 0.95), 2.5),
    "plant": _Sort("ragged", (0.3, 0.9), [*_PLANT, _PLANT[0]], "grass", (0.35, 0.8), 2.2, thin=True, hairs=2),
    "strip": _Sort("strip", (0.08, 0.22), _PLANT, "grass", (0.35, 0.85), 2.0, longer=1.3, thin=True, hairs=1),
    "bud": _Sort("smooth", (0.55, 0.75), _PLANT[:3], "immunohistochemistry", (0.6, 0.9), 2.2, (9, 20), hairs=1),
    "seed": _Sort("smooth", (0.4, 0.8), [*_BROWN, _PLANT[3]], "moon", (0.75, 0.95), 2.5, (6, 16)),
    "sliver": _Sort("strip", (0.12, 0.32), _DRY, "chelsea", (0.3, 0.7), 1.6, (5, 14), thin=True),
}
_ANY, _HOW_OFTEN = list(SORTS), [0.23, 0.17, 0.22, 0.13, 0.09, 0.07, 0.09]
_WAVES = {"smooth": 0.09, "ragged": 0.3, "strip": 0.09}


def bit(lamp: Lamp, rng: np.random.Generator, sort: str | None = None, size_mm: float | None = None) -> Sprite:
    """A piece of dirt or plant, of any sort and size unless said."""
    what = SORTS[pick(rng, _ANY, _HOW_OFTEN) if sort is None else sort]
    size = float(np.clip(rng.lognormal(np.log(0.75), 0.6), 0.2, 5)) if size_mm is None else size_mm
    zoom = 3 if size < 2.5 else 2
    half = size * PX_PER_MM / 2 if what.half_px is None else rng.uniform(*what.half_px)
    half = min(half, 16.0) if what.outline == "angular" else half * what.longer
    angle = rng.uniform(0, 2 * np.pi)
    cover = _outline(what.outline, half, max(1.2, half * rng.uniform(*what.slim)), angle, zoom, rng)
    if what is SORTS["soil"]:  # crumbs at its rim
        ragged = texture("gravel", cover.shape, rng, zoom * 0.45) + cloud(cover.shape, rng, 3 * zoom, 2)
        cover = cover * rise(-1.6, -0.6, ragged + 1.2 * (cv2.GaussianBlur(cover, (0, 0), 2 * zoom) - 0.5))
    return _dressed(what, cover, half, angle, zoom, lamp, rng)


def _dressed(
    what: _Sort, cover: FloatArray, half: float, angle: float, zoom: int, lamp: Lamp, rng: np.random.Generator
) -> Sprite:
    """The outline given grain, colour, roundness and light."""
    shape = cover.shape
    grain = texture(what.grain, shape, rng, zoom * rng.uniform(0.35, 0.9), angle, 2.5 if what.thin else 1)
    grain = 0.8 * grain + 0.5 * cloud(shape, rng, max(4, half * 0.5) * zoom, 2)
    palette = pick(rng, what.palettes)
    colours = [linear(np.clip(np.array(c) * rng.uniform(0.85, 1.1) + rng.normal(0, 5, 3), 5, 250)) for c in palette]
    base = np.clip(coloured(grain, colours) * (1 + 0.7 * tinge(shape, rng)), 0.004, 1)
    inward = cv2.distanceTransform((cover > 0.5).astype(np.uint8), cv2.DIST_L2, 3)
    deepest = max(float(inward.max()), 1.0)
    share = np.clip(inward / deepest, 0, 1)
    raised = np.sqrt(share * (2 - share))
    dome = cv2.GaussianBlur(raised * deepest, (0, 0), zoom)
    gx, gy = cv2.Sobel(dome, -1, 1, 0, scale=0.125), cv2.Sobel(dome, -1, 0, 1, scale=0.125)
    facing = np.clip(0.75 - 0.45 * (gx * lamp.x + gy * lamp.y), 0.25, 1.25)
    light = base * ((0.7 + 0.3 * facing if lamp.below else 0.25 + 0.85 * facing) * lamp.lit)[..., None]
    depth = np.full_like(raised, 0.6) if what.thin else 0.4 + 0.6 * raised
    through = np.exp(-what.dense * depth[..., None] * (1 - base)) * (1 - 0.25 * rise(0.35, 0, share))[..., None]
    opacity = np.clip(rng.uniform(*what.opacity) + 0.08 * grain, 0.05, 1) * (0.8 if lamp.below else 1)
    if what.hairs:
        cover = np.maximum(cover, 0.7 * strokes(shape, _stalks(what, shape, half * zoom, angle, zoom, rng)))
    shadow = Shadow(
        rng.uniform(0.04, 0.15) if lamp.below else rng.uniform(0.2, 0.4), rng.uniform(1, 3), rng.uniform(1.2, 3)
    )
    return sprite_of(lamp, np.asarray(light, np.float32), cover, opacity, through, cover, zoom, shadow)


def _outline(style: str, a: float, b: float, angle: float, zoom: int, rng: np.random.Generator) -> FloatArray:
    """(n, n) fine cover of an irregular shape with half axes `a`, `b` px."""
    side = (2 * int(np.ceil(max(a, b) * 1.5 + 8)) + 1) * zoom
    if style == "angular":
        corners = int(rng.integers(5, 9))
        turn = (
            np.linspace(0, 2 * np.pi, corners, endpoint=False) * 0.95
            + np.sort(rng.uniform(0, 2 * np.pi, corners)) * 0.35
        )
        radius = rng.uniform(0.72, 1.08, corners)
    else:
        turn, radius = np.linspace(0, 2 * np.pi, 72, endpoint=False), np.ones(72)
        for wave in range(2, 9):
            radius += rng.normal(0, _WAVES[style] / wave) * np.cos(wave * turn + rng.uniform(0, 6.3))
        if style == "ragged":
            radius += rng.normal(0, 0.06, 72)
        radius = np.clip(radius, 0.35, 1.4)
    points = np.stack([a * radius * np.cos(turn), b * radius * np.sin(turn)], axis=1)
    if style in ("ragged", "strip"):  # bent along its length
        points[:, 1] += rng.normal(0, 0.5) * b * (points[:, 0] / a) ** 2
    c, s = np.cos(angle), np.sin(angle)
    points = (points @ np.array([[c, s], [-s, c]]) + rng.uniform(-0.5, 0.5, 2)) * zoom + side / 2
    drawn = np.zeros((side, side), np.uint8)
    cv2.fillPoly(drawn, [np.round(points * 16).astype(np.int32)], (255,), cv2.LINE_AA, 4)
    return np.asarray(drawn / 255, np.float32)


def _stalks(
    what: _Sort, shape: tuple[int, ...], half: float, angle: float, zoom: int, rng: np.random.Generator
) -> list[Polyline]:
    """Torn vessels and stalks that stick out at the ends: they read as legs."""
    stalks: list[Polyline] = []
    for _ in range(int(rng.integers(0, what.hairs + 1))):
        way = angle + pick(rng, (0.0, np.pi)) + rng.normal(0, 0.5)
        points = [np.full(2, shape[0] / 2) + half * 0.7 * _unit(way)]
        for turn in rng.normal(0, 0.25, 6):
            way += turn
            points.append(points[-1] + half * 0.12 * _unit(way))
        stalks.append((np.array(points), zoom * rng.uniform(0.6, 1.6)))
    return stalks


def _unit(angle: float) -> NDArray[np.float64]:
    return np.array([np.cos(angle), np.sin(angle)])


_HAIRS = [(40, 30, 24), (84, 60, 40), (130, 120, 110)]
_FIBRES = [(225, 225, 225), (180, 186, 196), (60, 80, 140), (150, 50, 50), (90, 90, 90), (200, 190, 160)]


def fibre(lamp: Lamp, rng: np.random.Generator) -> Sprite:
    """A hair or a fibre of cloth."""
    zoom, hair = 2, rng.random() < 0.4
    count = int(rng.uniform(30, 330) / 4) + 4
    turns = rng.normal(0, 0.02 if hair else 0.07, count) + rng.normal(0, 0.015 if hair else 0.03)
    way = rng.uniform(0, 6.3) + np.cumsum(turns)
    points = np.cumsum(np.stack([np.cos(way), np.sin(way)], axis=1) * 4, axis=0)
    points -= (points.min(axis=0) + points.max(axis=0)) / 2
    wide, high = (2 * np.ceil(np.abs(points).max(axis=0) + 8).astype(int) + 1).tolist()
    line = points * zoom + np.array([wide, high]) * zoom / 2, rng.uniform(0.9, 1.9) * zoom
    cover = strokes((high * zoom, wide * zoom), [line])
    cover = cover * np.clip(0.92 + 0.12 * texture("grass", cover.shape, rng, 3 * zoom), 0.6, 1)
    colour = linear(pick(rng, _HAIRS if hair else _FIBRES)) * np.float32(lamp.lit)
    cover = np.asarray(cover * rng.uniform(*((0.5, 0.9) if hair else (0.25, 0.7))), np.float32)
    light = np.asarray(np.broadcast_to(colour, (*cover.shape, 3)))
    through = np.full(light.shape, 0.62, np.float32)
    return sprite_of(lamp, light, cover, np.full_like(cover, 0.6), through, cover, zoom, Shadow(0.12, 2, 1.5))


def dust(scene: Scene, rng: np.random.Generator, count: int) -> None:
    """Dark specks of a pixel or two."""
    h, w = scene.shape
    square = np.arange(-3, 4)[:, None] ** 2 + np.arange(-3, 4)[None] ** 2
    for _ in range(count):
        x, y = int(rng.integers(3, w - 4)), int(rng.integers(3, h - 4))
        speck = rng.uniform(0.1, 0.6) * np.exp(-square / rng.uniform(0.4, 1.6) ** 2)
        scene.light[y - 3 : y + 4, x - 3 : x + 4] *= (1 - speck)[..., None].astype(np.float32)


def scatter(
    scene: Scene,
    rng: np.random.Generator,
    count: int,
    make: Callable[[], Sprite],
    where: NDArray[np.bool_] | None = None,
) -> None:
    """Lay so many things anywhere, or where `where` (h / 4, w / 4) says; what finds no place is left away."""
    for _ in range(count):
        for _ in range(20):
            x, y = scene.point(rng)
            if where is None or where[y // 4, x // 4]:
                scene.lay(make(), x, y)
                break
