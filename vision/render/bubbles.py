"""Bubbles and drops: clear things that bend light, seen as a dark ring with a bright middle.

Ray optics of a sphere of gas in water (Snell and Fresnel, textbook): a ray at relative radius rho is turned by
2 (asin(n rho) - asin(rho)) while n rho < 1, and is mirrored beyond; it shows the panel only as far as the panel reaches sideways.
"""

from __future__ import annotations

import numpy as np

from vision.render.canvas import Canvas, open_canvas
from vision.render.outlines import rough_ring
from vision.render.patch import BodyWish, Patch
from vision.render.tissue import between
from vision.types import FloatArray

WATER_INDEX = 1.333


def ring_light(rho: FloatArray, reach_deg: float, index: float = WATER_INDEX) -> FloatArray:
    """Light through a sphere at relative radius `rho`, against the panel's own; `reach_deg`: how far sideways the panel shines."""
    inside = np.clip(rho, 0, 0.9999)
    bent = np.where(
        inside * index < 1,
        2 * (np.arcsin(np.clip(inside * index, 0, 1)) - np.arcsin(inside)),
        np.pi - 2 * np.arcsin(inside),
    )
    # The panel's light falls off softly towards its edge.
    seen = 1 / (1 + np.exp((np.rad2deg(bent) - reach_deg) / (0.12 * reach_deg)))
    cos_in = np.sqrt(1 - inside**2)
    cos_out = np.sqrt(np.clip(1 - (inside * index) ** 2, 0, 1))
    across = ((index * cos_in - cos_out) / (index * cos_in + cos_out)) ** 2
    along = ((cos_in - index * cos_out) / (cos_in + index * cos_out)) ** 2
    fresnel = np.where(inside * index < 1, (1 - (across + along) / 2) ** 2, 0.9)
    return (seen * fresnel).astype(np.float32)


def _one(
    canvas: Canvas, rng: np.random.Generator, x: float, y: float, radius: float, reach: float, dome: bool
) -> FloatArray:
    """Light factor of one bubble over the canvas."""
    squash = rng.uniform(0.94, 1.0) if radius > 0.6 else 1.0
    rho = np.hypot(canvas.x_mm - np.float32(x), (canvas.y_mm - np.float32(y)) / np.float32(squash)) / np.float32(radius)
    cover = np.clip((1 - rho) * radius * canvas.per_mm + 0.5, 0, 1)
    if dome:
        # A thin film on the surface: clear inside, with a slim double rim where the water climbs it.
        light = (
            1
            - rng.uniform(0.02, 0.1)
            - rng.uniform(0.3, 0.75) * np.exp(-(((rho - 0.94) / rng.uniform(0.03, 0.07)) ** 2))
        )
        light += rng.uniform(0.05, 0.3) * np.exp(-(((rho - 0.83) / 0.06) ** 2))
    else:
        light = ring_light(rho, reach) * 0.97 + 0.03
        # The light of the room glints on the top.
    lamp = rng.uniform(0.3, 0.6), rng.uniform(0, 2 * np.pi)
    gx, gy = x + radius * lamp[0] * np.cos(lamp[1]), y + radius * lamp[0] * np.sin(lamp[1])
    glint = np.exp(-(((canvas.x_mm - gx) ** 2 + (canvas.y_mm - gy) ** 2) / (0.08 * radius) ** 2))
    light = light + rng.uniform(0, 0.5) * glint
    # Past the rim the surface is drawn up: a faint halo.
    halo = np.exp(-((rho - 1) / 0.25)) * (rho > 1) * (rng.uniform(-0.02, 0.12) if dome else rng.uniform(0, 0.02))
    return np.asarray(cover * light + (1 - cover) * (1 - halo), np.float32)


def draw_bubble(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """One bubble, or a cluster of them."""
    radius = between(rng, 0.08, 1.3) if wish.length_mm is None else wish.length_mm / 2
    spots = [(0.0, 0.0, radius)]
    if wish.length_mm is None and rng.random() < 0.22:
        for _ in range(int(rng.integers(1, 9))):
            x, y, r = spots[int(rng.integers(len(spots)))]
            size, a = radius * rng.uniform(0.3, 1.1), rng.uniform(0, 2 * np.pi)
            gap = (r + size) * rng.uniform(0.93, 1.05)
            spot = (x + gap * float(np.cos(a)), y + gap * float(np.sin(a)), float(size))
            if all(np.hypot(spot[0] - ox, spot[1] - oy) > 0.9 * (size + orad) for ox, oy, orad in spots):
                spots.append(spot)
    reach = max(np.hypot(x, y) + 1.5 * r for x, y, r in spots)
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, (-reach, -reach, reach, reach))
    panel_reach = rng.uniform(30, 75)
    dome = bool(rng.random() < 0.35)
    light = np.ones_like(canvas.x_mm)
    cover = np.zeros_like(canvas.x_mm)
    for x, y, r in spots:
        light *= _one(canvas, rng, x, y, r, panel_reach, dome)
        d = np.hypot(canvas.x_mm - np.float32(x), canvas.y_mm - np.float32(y))
        np.maximum(cover, np.clip((r - d) * canvas.per_mm + 0.5, 0, 1), out=cover)
    canvas.density[:] = -np.log(np.clip(light, 0.01, 2))[..., None]
    canvas.body[:] = cover
    length = 2 * max(r for *_, r in spots)
    return canvas.patch(
        length_mm=length, width_mm=length, form="cluster" if len(spots) > 1 else ("dome" if dome else "ball")
    )


def draw_drop(wish: BodyWish, rng: np.random.Generator) -> Patch:
    """A drop of water on a dry surface: a flat lens with an irregular rim; by light from above a glint and a dark lower edge."""
    size = between(rng, 0.15, 2.2) if wish.length_mm is None else wish.length_mm
    ring = rough_ring(rng, 90, 0.05, rng.uniform(1.0, 1.5), rng.uniform(0, 180))
    a = np.arctan2(ring[:, 1], ring[:, 0])
    order = np.argsort(a)
    reach = size * 0.95
    canvas = open_canvas(wish.px_per_mm, wish.sub_px, (-reach, -reach, reach, reach))
    around = np.arctan2(canvas.y_mm, canvas.x_mm)
    rim = np.interp(around, a[order], np.hypot(*ring.T)[order], period=2 * np.pi) * size / 2
    rho = np.hypot(canvas.x_mm, canvas.y_mm) / rim
    cover = np.clip((1 - rho) * size / 2 * canvas.per_mm + 0.5, 0, 1).astype(np.float32)
    light, glint_at = _through_drop(canvas, rng, rho, wish.to_lamp)
    glint_at = glint_at * size * 0.24
    far = np.hypot(canvas.x_mm - glint_at[0], canvas.y_mm - glint_at[1]) / (rng.uniform(0.03, 0.07) * size)
    glint = np.exp(-(far**4)) + 0.15 * np.exp(-((far / 2.5) ** 2))
    canvas.density[:] = (cover * -np.log(np.clip(light, 0.05, 2)).astype(np.float32))[..., None]
    canvas.body[:] = cover
    canvas.cover[:] = (glint * cover * 0.9).astype(np.float32)
    canvas.albedo[:] = canvas.cover[..., None] * 1.4
    dome = np.sqrt(np.clip(1 - rho**2, 0, 1)) * size * 0.25
    canvas.height_mm[:] = dome
    return canvas.patch(length_mm=size, width_mm=size, gloss=1.0)


def _through_drop(
    canvas: Canvas, rng: np.random.Generator, rho: FloatArray, to_lamp: tuple[float, float] | None
) -> tuple[FloatArray, FloatArray]:
    """Light factor of a drop over its own relative radius, and the side its glint is on."""
    if to_lamp is None:
        a = rng.uniform(0, 2 * np.pi)
        edge = np.exp(-(((rho - rng.uniform(0.9, 0.97)) / rng.uniform(0.04, 0.12)) ** 2))
        light = 1 + rng.uniform(0, 0.12) * (rho < 0.7) - rng.uniform(0.25, 0.85) * edge
        return light.astype(np.float32), np.array([np.cos(a), np.sin(a)], np.float32)
    # From above the drop is a lens: it is darker towards the lamp and gathers light on its far side.
    way = np.array(to_lamp, np.float32) / np.float32(np.hypot(*to_lamp) + 1e-6)
    along = (canvas.x_mm * way[0] + canvas.y_mm * way[1]) / np.maximum(np.hypot(canvas.x_mm, canvas.y_mm), 1e-4) * rho
    light = 1 - rng.uniform(0.02, 0.12) - rng.uniform(0.08, 0.28) * along * np.clip(rho, 0, 1) ** 2
    return light.astype(np.float32), way
