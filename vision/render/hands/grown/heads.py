"""Broccoli and cauliflower grown as bumps on bumps on bumps, on branching stalks, opened and laid on the lit panel."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from vision.render.hands.grown.camera import panel_light, top_light
from vision.render.hands.grown.fields import Numbers, Rng, blurred, colour, near, noise, one_of, ramp
from vision.render.hands.grown.ground import Ground
from vision.types import FloatArray

_RIND, _FACE = -1001.0, -1002.0
"""Who owns the rim and the face of a cut; stalks and buds have other numbers."""
_GOLDEN_RAD = np.pi * (3 - np.sqrt(5))


@dataclass(frozen=True)
class _Grown:
    """Buds as they grew: `at` (n, 3) x, y and height of each one's middle in px, `reach` (n,) radius, `head` (n,) which floret."""

    at: FloatArray
    reach: FloatArray
    head: FloatArray


def _bumps(
    rng: Rng, parents: FloatArray, reach: FloatArray, share: float, dome: float, gone: float, crowd: float = 1.6
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Children of each parent (n, 3) on its dome, set in a spiral: their places (m, 3), radii (m,) and parents' numbers (m,)."""
    count = max(int(crowd / share**2), 4)
    k = np.arange(count)[None]
    turn = _GOLDEN_RAD * k + rng.uniform(0, 2 * np.pi, (len(parents), 1)) + rng.normal(0, 0.12, (len(parents), count))
    far = np.sqrt((k + 0.3) / count) * (1 + rng.normal(0, 0.05, (len(parents), count)))
    off = reach[:, None] * far
    x, y = parents[:, :1] + off * np.cos(turn), parents[:, 1:2] + off * np.sin(turn)
    z = parents[:, 2:3] + dome * reach[:, None] * (np.sqrt(np.maximum(1.1 - far**2, 0)) - 0.35)
    size = reach[:, None] * share * np.clip(rng.normal(1, 0.12, (len(parents), count)), 0.7, 1.3) * (1.1 - 0.25 * far)
    kept = rng.random((len(parents), count)) >= gone
    owner = np.broadcast_to(np.arange(len(parents))[:, None], kept.shape)
    return (
        np.stack([x[kept], y[kept], z[kept]], 1).astype(np.float32),
        size[kept].astype(np.float32),
        owner[kept].astype(np.float32),
    )


@lru_cache(maxsize=400)
def _dome(reach: int) -> FloatArray:
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(np.float32)
    inside = 1 - (x**2 + y**2) / np.float32((reach + 0.5) ** 2)
    return np.where(inside > 0, reach * np.sqrt(np.maximum(inside, 0)), -1e4).astype(np.float32)


def _stalk(relief: FloatArray, stem: FloatArray, line: Numbers, half: Numbers, number: float) -> None:
    """A round stalk along `line` (k, 3) px with half widths (k,), joined into the relief as its highest points."""
    h, w = relief.shape
    for (x, y, z), r in zip(line, half, strict=True):
        reach = max(int(r), 2)
        _raise(relief, stem, _dome(reach) * np.float32(0.8), int(x), int(y), float(z), number, h, w)


def _raise(
    relief: FloatArray, owner: FloatArray, dome: FloatArray, x: int, y: int, z: float, number: float, h: int, w: int
) -> None:
    """Lays one dome into the relief where it stands highest, and its number where it does."""
    reach = dome.shape[0] // 2
    x0, x1, y0, y1 = max(x - reach, 0), min(x + reach + 1, w), max(y - reach, 0), min(y + reach + 1, h)
    if x0 >= x1 or y0 >= y1:
        return
    part = dome[y0 - y + reach : y1 - y + reach, x0 - x + reach : x1 - x + reach] + np.float32(z)
    here = relief[y0:y1, x0:x1]
    higher = part > here
    here[higher] = part[higher]
    owner[y0:y1, x0:x1][higher] = number


def _cut(
    rng: Rng, relief: FloatArray, owner: FloatArray, foot: FloatArray, way: float, reach: float, number: float
) -> None:
    """Cuts a stalk off across its foot, a little askew."""
    h, w = relief.shape
    x0, x1 = max(int(foot[0] - 2 * reach), 0), min(int(foot[0] + 2 * reach), w)
    y0, y1 = max(int(foot[1] - 2 * reach), 0), min(int(foot[1] + 2 * reach), h)
    if x0 >= x1 or y0 >= y1:
        return
    y, x = np.mgrid[y0:y1, x0:x1].astype(np.float32)
    askew = way + rng.normal(0, 0.25)
    past = (x - foot[0]) * np.cos(askew) + (y - foot[1]) * np.sin(askew)
    aside = ((y - foot[1]) * np.cos(askew) - (x - foot[0]) * np.sin(askew)) / (0.85 * reach)
    # The cut is seen a little from the end: a pale oval face with a darker rind.
    face = rng.uniform(0.1, 0.6) * reach * np.sqrt(np.maximum(1 - aside**2, 0))
    own = owner[y0:y1, x0:x1] == number
    owner[y0:y1, x0:x1][own & (past > -face)] = _RIND
    owner[y0:y1, x0:x1][own & (np.abs(past) < 0.82 * face) & (np.abs(aside) < 0.86)] = _FACE
    off = own & (past > face)
    relief[y0:y1, x0:x1][off] = 0
    owner[y0:y1, x0:x1][off] = 0


def _grow(rng: Rng, h: int, w: int, curd: bool, relief: FloatArray, owner: FloatArray) -> _Grown:
    """Florets in the picture until enough of it is covered. Stalks get negative numbers in `owner`, buds theirs from 1."""
    bud_px = rng.uniform(4.5, 8.5) if curd else rng.uniform(6, 10.5)
    fill = rng.uniform(0.3, 0.75) * h * w
    places, reaches, heads, covered = [], [], [], 0.0
    for number in range(60):
        reach = float(min(rng.uniform(90, 250), 0.42 * min(h, w)))
        x, y = rng.uniform(-0.05, 1.05) * w, rng.uniform(-0.05, 1.05) * h
        base, way = rng.uniform(20, 60), rng.uniform(0, 2 * np.pi)
        foot = np.array([x + 1.5 * reach * np.cos(way), y + 1.5 * reach * np.sin(way)])
        lead = np.linspace(0, 1, 40)[:, None]
        trunk = np.concatenate([foot + (np.array([x, y]) - foot) * lead, base * 0.5 * np.ones((40, 1))], 1)
        _stalk(relief, owner, trunk, np.linspace(0.26, 0.18, 40) * reach * rng.uniform(0.7, 1.1), -1.0 - number)
        _cut(rng, relief, owner, foot, way, 0.35 * reach, -1.0 - number)
        one = np.array([[x, y, base]], np.float32)
        tops, sizes, _ = _bumps(
            rng,
            one,
            np.array([reach], np.float32),
            rng.uniform(0.26, 0.38),
            rng.uniform(0.35, 0.8),
            float(rng.choice([0.0, 0.1, 0.35])),
            1.25,
        )
        for top, size in zip(tops, sizes, strict=True):
            root = trunk[int(rng.integers(24, 39)), :2]
            branch = np.concatenate(
                [root + (top[:2] - root) * lead[::2], np.linspace(base * 0.4, top[2] - 0.3 * size, 20)[:, None]], 1
            )
            _stalk(relief, owner, branch, np.linspace(0.25, 0.4, 20) * size, -1.0 - number)
        step = float(np.clip(2.7 * bud_px / sizes.mean(), 0.3, 0.6))
        small, size_small, _ = _bumps(rng, tops, sizes, step, 0.75, rng.uniform(0, 0.08))
        last = float(np.clip(bud_px / max(size_small.mean(), 1), 0.28, 0.7))
        tips, size_tips, _ = _bumps(rng, small, size_small, last, 0.85, rng.uniform(0, 0.06))
        seen = (np.abs(tips[:, 0] - w / 2) < w / 2 + 40) & (np.abs(tips[:, 1] - h / 2) < h / 2 + 40)
        tips, size_tips = tips[seen], size_tips[seen]
        # No bud lies thinner on the panel than it is tall.
        tips[:, 2] = np.maximum(tips[:, 2], 26)
        places.append(tips)
        reaches.append(size_tips)
        heads.append(np.full(len(tips), number, np.float32))
        covered += np.pi * reach**2
        if covered > fill:
            break
    grown = _Grown(np.concatenate(places), np.concatenate(reaches), np.concatenate(heads))
    wide = np.clip(np.round(grown.reach * 1.15), 3, 39).astype(int).tolist()
    for k, ((x, y, z), r) in enumerate(zip(grown.at.tolist(), wide, strict=True)):
        _raise(relief, owner, _dome(r), round(x), round(y), z, k + 1.0, h, w)
    return grown


def _tinted(rng: Rng, grown: _Grown, owner: FloatArray, relief: FloatArray, curd: bool) -> FloatArray:
    """(h, w, 3) what the produce sends back of each colour, bud by bud."""
    h, w = owner.shape
    green = one_of(
        rng, (colour(0.14, 0.24, 0.1), colour(0.2, 0.32, 0.08), colour(0.12, 0.2, 0.13), colour(0.28, 0.38, 0.13)), 0.2
    )
    cream = one_of(rng, (colour(0.86, 0.82, 0.64), colour(0.88, 0.86, 0.76), colour(0.82, 0.75, 0.54)), 0.03)
    flesh = near(rng, colour(0.78, 0.78, 0.6) if curd else colour(0.42, 0.52, 0.22), 0.12)
    base = cream if curd else green
    n = len(grown.reach)
    own = (
        base
        * np.exp(rng.normal(0, 0.06 if curd else 0.16, (n, 1)))
        * np.exp(rng.normal(0, 0.01 if curd else 0.03, (n, 3)))
    )
    odd = rng.random(n) < rng.uniform(0, 0.012 if curd else 0.04)
    own[odd] = own[odd] * (colour(0.6, 0.4, 0.25) if curd else colour(0.5, 0.35, 0.4)) + (0 if curd else 0.02)
    if not curd:
        opening = rng.random(n) < rng.uniform(-0.01, 0.025)
        own[opening] = near(rng, colour(0.5, 0.48, 0.08), 0.1)
    table = np.concatenate([flesh[None], own]).astype(np.float32)
    number = np.maximum(owner, 0).astype(np.int32)
    tint = np.clip(table[number], 0.01, 0.95)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    at = np.concatenate([np.zeros((1, 3), np.float32), grown.at])[number]
    reach = np.concatenate([np.ones(1, np.float32), grown.reach])[number] * np.float32(1.15)
    dx, dy = (x - at[..., 0]) / reach, (y - at[..., 1]) / reach
    bud = owner > 0
    if curd:
        grain = noise(rng, h, w, 2.4) * np.float32(0.05) + noise(rng, h, w, 6.0) * np.float32(0.04)
        tint *= (1 + grain)[..., None]
        blot = ramp(noise(rng, h, w, rng.uniform(25, 60)), rng.uniform(1.3, 2.6), 3.0) * ramp(
            noise(rng, h, w, 7.0), -1.0, 1.0
        )
        tint *= 1 - (blot * np.float32(rng.uniform(0.3, 0.9)))[..., None] * (
            1 - near(rng, colour(0.55, 0.33, 0.14), 0.15)
        )
    else:
        # Each bud is shut by four leaves; their seams meet on its tip.
        first = rng.uniform(0, np.pi, n + 1).astype(np.float32)[number]
        way = np.arctan2(dy, dx)
        seam = (
            np.exp(-((np.sin(2 * (way + first)) * np.hypot(dx, dy) / 0.22) ** 2))
            * bud
            * ramp(noise(rng, h, w, 5.0), -1.0, 0.8)
        )
        tip = np.exp(-((dx**2 + dy**2) / 0.12)) * bud
        tint *= (1 - np.float32(rng.uniform(0.06, 0.3)) * seam + np.float32(rng.uniform(-0.1, 0.5)) * tip)[..., None]
        tint *= (1 + np.float32(0.07) * noise(rng, h, w, 2.6))[..., None]
    stalk = owner < 0
    tint[owner == _FACE] *= colour(1.2, 1.15, 1.25)
    tint[owner == _RIND] *= np.float32(0.88)
    streak = noise(rng, h, w, 3.0, 9.0) * np.float32(0.03) + noise(rng, h, w, 30.0) * np.float32(0.06)
    tint[stalk] *= (1 + streak)[stalk, None]
    return np.clip(tint, 0.005, 0.95)


def heads(rng: Rng, h: int, w: int, *, curd: bool) -> Ground:
    """Opened florets of cauliflower (`curd`) or broccoli, lit by the panel from below and by the room from above."""
    panel = panel_light(rng, h, w)
    relief, owner = np.zeros((h, w), np.float32), np.zeros((h, w), np.float32)
    grown = _grow(rng, h, w, curd, relief, owner)
    tint = _tinted(rng, grown, owner, relief, curd)
    cover = blurred((owner != 0).astype(np.float32), 0.6)
    top = top_light(rng, 0.45, 1.0) if not curd else top_light(rng, 0.45, 0.85)
    smooth = blurred(relief, 0.8)
    slope_x = np.asarray(cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8), np.float32)
    slope_y = np.asarray(cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8), np.float32)
    way, lean = rng.uniform(0, 2 * np.pi), rng.uniform(0.15, 0.7)
    light_x, light_y, up = lean * np.cos(way), lean * np.sin(way), np.sqrt(1 - lean**2)
    steep = 1 / np.sqrt(1 + slope_x**2 + slope_y**2)
    facing = np.maximum((np.float32(up) - np.float32(light_x) * slope_x - np.float32(light_y) * slope_y) * steep, 0)
    # Pale curd scatters light into its own gaps; green buds do not.
    fine = 0.03 if curd else 0.07
    closed = sum(
        np.maximum(blurred(relief, s) - relief, 0) * np.float32(k)
        for s, k in ((4.0, fine), (14.0, 0.03), (45.0, 0.012))
    )
    opened = np.exp(-np.asarray(closed, np.float32))
    gone = (1 - blurred(cover, 16.0))[..., None]
    lit = ((0.42 + 0.62 * facing) if curd else (0.25 + 0.9 * facing)) * opened * steep ** np.float32(0.25)
    if curd:
        lit = 0.45 * lit + 0.55 * blurred(lit, 2.5)
    shine = np.float32(rng.uniform(0, 0.35)) * ramp(facing, 0.97, 1.0) * opened * ramp(noise(rng, h, w, 5.0), 0.2, 1.6)
    # Thin tissue glows from below, its own colour deepened by the way through it; light from bare panel nearby leaks in.
    depth = np.maximum(blurred(relief, 3.0), 4.0) / np.float32(rng.uniform(25, 50) if curd else rng.uniform(12, 28))
    glow = panel * np.exp(-depth[..., None] * (1.25 - tint))
    leak = blurred(panel * (1 - cover[..., None]), 20.0) * np.float32(rng.uniform(0.3, 0.7))
    produce = (
        tint * (top * lit[..., None] + leak * gone * (0.5 + 0.5 * opened[..., None]))
        + glow * np.float32(0.55)
        + shine[..., None] * top
    )
    shade = 1 - np.float32(rng.uniform(0.08, 0.25)) * blurred(cover, 22.0)
    light = panel * shade[..., None] * (1 - cover[..., None]) + produce * cover[..., None]
    tints = (
        (near(rng, colour(0.75, 0.7, 0.48), 0.1), colour(0.5, 0.4, 0.2))
        if curd
        else (colour(0.14, 0.22, 0.07), colour(0.4, 0.48, 0.2))
    )
    return Ground(
        light.astype(np.float32),
        relief,
        opened,
        top,
        owner != 0,
        "panel",
        None,
        (*tints, near(rng, colour(0.3, 0.34, 0.14), 0.2)),
    )
