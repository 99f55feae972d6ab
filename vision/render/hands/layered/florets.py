"""Opened florets of broccoli or cauliflower on the panel: pieces of stalks that branch to heads. Sizes: common practice, no source."""

from __future__ import annotations

import math

import cv2
import numpy as np

from vision.render.hands.layered.clutter import how_many, scatter
from vision.render.hands.layered.colour import Rng, varied
from vision.render.hands.layered.curves import Points, polar
from vision.render.hands.layered.drops import glint
from vision.render.hands.layered.heads import Look, lay_head, picture_look
from vision.render.hands.layered.laying import lay, px, share_of_standard, windows
from vision.render.hands.layered.sheet import Light
from vision.render.hands.layered.stalks import limb
from vision.render.hands.layered.stamps import Buds
from vision.types import FloatArray

_BESIDE = {
    "plant": 3, "bud": 3, "drop": 2, "bubble": 0.6, "fibre": 1, "grit": 1, "stalk": 1.5, "film": 1, "root": 1, "seed": 0.4,
}  # fmt: skip
_ON_THEM = {
    "plant": 2, "drop": 1.2, "fibre": 1.5, "grit": 1.2, "soil": 0.6, "stalk": 0.5, "root": 1, "film": 0.6, "hair": 0.4,
    "seed": 0.3,
}  # fmt: skip
_MOST_PIECES = 60
_MOST_BUDS, _MOST_GRAINS = 9000, 12500
"""For a standard picture."""

Head = tuple[Points, float]
"""Middle (2,) and radius, px."""


def lay_florets(rng: Rng, scene: FloatArray, light: Light, white: bool) -> tuple[FloatArray, Buds]:
    """Lays them and what lies beside and on them; gives how much of each pixel (h, w) they cover, and their buds."""
    beside = _BESIDE | {"bud": 0.3} if white else _BESIDE
    scatter(rng, scene, light, how_many(rng, scene, 25, 60), beside, 0.2)
    # Planes of single channels: small windows of them are changed faster.
    planes = np.ascontiguousarray(scene.transpose(2, 0, 1)).transpose(1, 2, 0)
    cover, buds = _pieces(rng, planes, picture_look(rng, scene.shape, light, white))
    scene[:] = planes
    inner = np.asarray(cv2.erode((cover > 0.5).astype(np.uint8), np.ones((5, 5), np.uint8)), np.float32)
    scatter(rng, scene, light, how_many(rng, scene, 12, 34), _ON_THEM, 0.35, inner)
    for _ in range(how_many(rng, scene, 10, 60)):
        x, y = int(rng.integers(scene.shape[1])), int(rng.integers(scene.shape[0]))
        if inner[y, x]:
            lay(scene, glint(rng, light).reduced(), x, y)
    return cover, buds


def _pieces(rng: Rng, scene: FloatArray, look: Look) -> tuple[FloatArray, Buds]:
    """Pieces until they cover their share of the picture."""
    cover = np.zeros(scene.shape[:2], np.float32)
    goal = rng.uniform(0.42, 0.74)
    most = (_MOST_GRAINS if look.white else _MOST_BUDS) * max(share_of_standard(scene), 0.1)
    laid: list[Buds] = []
    for _ in range(_MOST_PIECES):
        if (cover[::8, ::8] > 0.5).mean() >= goal or sum(len(buds.size) for buds in laid) >= most:
            break
        laid += _piece(rng, scene, cover, look)
    nothing = np.zeros(0, np.float32)
    laid.append(Buds(look.white, nothing, nothing, nothing, np.zeros((0, 3), np.float32)))
    x, y, size = (np.concatenate([getattr(buds, name) for buds in laid]) for name in ("x_px", "y_px", "size"))
    return cover, Buds(look.white, x, y, size, np.concatenate([buds.colour for buds in laid]))


def _piece(rng: Rng, scene: FloatArray, cover: FloatArray, look: Look) -> list[Buds]:
    """One piece: a stalk, branches from its root, and a head at the end of each, the far ones first."""
    at = _free_place(rng, cover)
    reach, way = px(rng.uniform(5, 13)), rng.uniform(0, 2 * np.pi)
    root = at - polar(reach * rng.uniform(0.5, 1.0), way)
    base = varied(rng, look.bud, 0.06, 0.012) if look.white else varied(rng, look.bud, 0.18, 0.04)
    bud_mm = rng.uniform(0.82, 1.4) if look.white else rng.uniform(0.85, 1.6)
    heads = _heads(rng, cover, root, reach, way, look.white)
    if not heads:
        return []
    dim = np.float32(look.light.dimmed(0.8))
    colour = varied(rng, look.stalk, 0.08, 0.02)
    start = root - polar(reach * rng.uniform(0.2, 0.9), way)
    widths = (rng.uniform(50, 110), rng.uniform(45, 90))
    limb(rng, scene, cover, (start, root), widths, colour * dim, look.light)
    for middle, _ in heads:
        ends, widths = (root + rng.normal(0, 12, 2), middle), (rng.uniform(26, 56), rng.uniform(16, 36))
        limb(rng, scene, cover, ends, widths, varied(rng, colour, 0.07, 0.015) * dim, look.light, 0.1)
    far = [float(np.hypot(*(middle - root))) + rng.normal(0, 60) for middle, _ in heads]
    laid = []
    for i in np.argsort(far)[::-1]:
        middle, radius = heads[i]
        _ground_of_head(rng, scene, middle, radius, base * np.float32(0.4 if look.white else 0.12))
        laid.append(lay_head(rng, scene, cover, look, middle, radius, bud_mm * rng.uniform(0.9, 1.1), base))
    return laid


def _free_place(rng: Rng, cover: FloatArray) -> Points:
    """A place (2,), px, where nothing lies yet if some tries find one."""
    height, width = cover.shape
    for _ in range(8):
        x, y = rng.uniform(40, width - 40), rng.uniform(40, height - 40)
        if cover[int(y), int(x)] < 0.5:
            break
    return np.array([x, y])


def _heads(rng: Rng, cover: FloatArray, root: Points, reach: float, way: float, white: bool) -> list[Head]:
    """Heads about the root that reach into the picture and mostly where nothing lies."""
    height, width = cover.shape
    spread = rng.uniform(0.7, 1.4)
    heads = []
    for _ in range(int(np.clip(rng.poisson(reach / px(1) * 0.75) + 1, 2, 12))):
        middle = root + polar(reach * rng.uniform(0.6, 1.9), way + rng.uniform(-spread, spread))
        radius = px(rng.uniform(2.0, 4.6)) * (1.1 if white else 1)
        both = windows(cover.shape, int(middle[0]), int(middle[1]), 2 * int(radius * 0.7) + 1)
        inside = -radius < middle[0] < width + radius and -radius < middle[1] < height + radius
        if both is None or not inside:
            continue
        if cover[both[0]][::6, ::6].mean() > 0.6 and rng.random() < 0.85:
            continue
        heads.append((middle, radius))
    return heads


def _ground_of_head(rng: Rng, scene: FloatArray, middle: Points, radius: float, colour: FloatArray) -> None:
    """The soft shadow below a head, and the dark that shows between its buds."""
    half = int(radius * 1.35)
    both = windows(scene.shape, math.floor(middle[0]), math.floor(middle[1]), 2 * half + 1)
    if both is None:
        return
    here, own = both
    y, x = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float32)
    shadow = np.clip((1.3 - np.hypot(x - 6, y - 6) / radius) / 0.45, 0, 1)
    round_it = np.arctan2(y, x)
    edge = 0.9 + 0.05 * np.cos(5 * round_it + rng.uniform(0, 6)) + 0.04 * np.cos(9 * round_it + rng.uniform(0, 6))
    inside = np.clip((edge * radius - np.hypot(x, y)) / 3, 0, 1).astype(np.float32)[own][..., None]
    scene[here] *= (1 - 0.5 * shadow[own])[..., None].astype(np.float32)
    scene[here] += inside * (colour - scene[here])
