"""Small pieces that lie strewn on the panel: scale leaves of asparagus, and scrapings of mushroom gills.

Densities are natural-log absorbance for red, green, blue; values by eye (common practice, no source). Scale leaves are 5 to 15 mm
long; gill fragments 2 to 15 mm by 0.3 to 1 mm, with crumbs and spores.
"""

from __future__ import annotations

import numpy as np

from vision.render.layers_pile import Sheet, along_ridges, grid_over, ridges, sheet, soft_step, streaks

SCALE_MM, GILL_MM, GILL_WIDE_MM = (5.0, 15.0), (2.0, 15.0), (0.3, 1.0)
_PURPLE, _GREEN, _STRAW = (0.72, 1.1, 0.98), (0.85, 0.52, 1.45), (0.22, 0.3, 0.66)
_GILL = (0.5, 0.75, 1.15)


def draw_scale(rng: np.random.Generator, px_per_mm: float, *, heated: bool, wild: bool) -> Sheet:
    """One scale leaf, its torn base at the left and its tip at the right."""
    length = float(rng.uniform(*SCALE_MM))
    width = min(length * float(rng.uniform(0.38, 0.75)), 9.0)
    grid = grid_over(length, width + 1.2, px_per_mm)
    shape, along, across = grid.shape, grid.along + np.float32(length / 2), grid.across
    share = np.clip(along / np.float32(length), 0.0, 1.0)
    power = float(rng.uniform(0.55, 1.0))
    shoulder = np.clip((share + float(rng.uniform(0.08, 0.25))) / 0.3, 0.0, 1.0) ** 0.5
    half = np.float32(width / 2) * (1.0 - share) ** power * shoulder
    lean = np.float32(rng.normal(0.0, 0.05)) * along**2 / np.float32(length)
    off = across - lean
    fringe = 0.1 * streaks(rng, shape, 3.0 * px_per_mm, 2.5 * px_per_mm) + 0.035 * streaks(
        rng, shape, px_per_mm, 0.3 * px_per_mm
    )
    fringe = fringe + np.float32(rng.uniform(0.0, 0.05)) * np.minimum(
        streaks(rng, shape, 2.0 * px_per_mm, 0.2 * px_per_mm), 0.5
    )
    torn = 0.35 * streaks(rng, (shape[0], 1), 1.8 * px_per_mm, 1.0) + 0.06 * streaks(
        rng, (shape[0], 1), 0.4 * px_per_mm, 1.0
    )
    inside = np.minimum(
        half - np.abs(off) + fringe * np.minimum(half, 1.0), along - 0.5 - np.clip(np.abs(torn), 0.0, 1.5)
    )
    u = off / np.maximum(half, 0.15)
    profile, per_mm = ridges(rng, width + 2.0, float(rng.uniform(0.35, 0.8)), px_per_mm)
    ribs = along_ridges(profile, per_mm, np.clip(u, -1.1, 1.1) * np.float32(width / 2) + np.float32(width / 2 + 1.0))
    purple, green, straw = (
        np.array(c) * np.exp(rng.normal(0, 0.3 if wild else 0.08, 3)) for c in (_PURPLE, _GREEN, _STRAW)
    )
    dry = float(rng.beta(0.9, 1.2))
    flushed = 1.0 / (
        1.0
        + np.exp(
            -(share - np.float32(rng.uniform(0.15, 0.9)) + 0.06 * streaks(rng, shape, px_per_mm, 3 * px_per_mm)) * 9.0
        )
    )
    core = (green + (purple - green) * flushed[..., None]) * (1.0 - dry) + straw * dry * 1.6
    thin = np.clip((np.abs(u) - 0.45) / 0.5, 0.0, 1.0) ** 1.3
    density = core + (straw * 0.8 - core) * thin[..., None] * np.float32(0.85)
    if heated:
        density = density * np.array([0.8, 0.85, 1.05])
    grain = 0.07 * streaks(rng, shape, 0.08 * px_per_mm, 0.2 * px_per_mm) + 0.08 * streaks(
        rng, shape, px_per_mm, 4.0 * px_per_mm
    )
    amount = (1.25 - 0.45 * share) * (1.0 + float(rng.uniform(0.4, 0.9)) * ribs * (1.0 - 0.5 * thin)) + grain
    amount = amount * np.float32(np.exp(rng.normal(0, 0.6 if wild else 0.25)))
    if rng.random() < 0.4:
        # One margin has rolled in and lies double.
        roll = np.clip((u * float(rng.choice([-1.0, 1.0])) - float(rng.uniform(0.35, 0.75))) * half * 8.0, 0.0, 1.0)
        amount = amount * (1.0 + 0.9 * roll)
    rim = np.exp(-((inside / 0.1) ** 2))
    density = density * np.maximum(amount, 0.1)[..., None] + (0.12 * rim)[..., None]
    return sheet(density.astype(np.float32), soft_step(inside, px_per_mm), grid, haze_mm=0.08)


def draw_gills(rng: np.random.Generator, px_per_mm: float, *, heated: bool, wild: bool) -> Sheet:
    """A fragment of one gill, or a few that hang together side by side."""
    many = int(rng.choice([1, 2, 3, 5], p=[0.72, 0.14, 0.09, 0.05]))
    length = float(np.exp(rng.uniform(*np.log(GILL_MM))))
    wide = np.minimum(rng.uniform(*GILL_WIDE_MM, many) * (1.0 if many == 1 else 0.75), 0.3 * length + 0.1)
    pitch = float(wide.max()) * float(rng.uniform(0.9, 1.2))
    bow = float(rng.normal(0.0, 0.09)) * length
    box = wide.max() + pitch * (many - 1) + abs(bow) + 0.6 * min(1.0, length / 4)
    grid = grid_over(length, box, px_per_mm)
    shape, along, across = grid.shape, grid.along + np.float32(length / 2), grid.across
    tone = float(np.exp(np.clip(rng.normal(0.0, 0.6 if wild else 0.22), -1.5, 0.9))) * (0.9 if heated else 1.0)
    hue = np.array(_GILL) * np.exp(rng.normal(0, 0.2 if wild else 0.03, 3)) * tone
    density, bare = np.zeros((*shape, 3), np.float32), np.ones(shape, np.float32)
    for k, own in enumerate(wide):
        start, end = (rng.uniform(0.0, 0.25 if many > 1 else 0.02) * length for _ in range(2))
        t = along / np.float32(length) * 2.0 - 1.0
        wave = 0.16 * min(1.0, length / 6) * streaks(rng, (1, shape[1]), 1.0, 4.0 * px_per_mm)
        middle = bow * (t * t - 0.5) + (k - (many - 1) / 2) * pitch + wave
        q = across - middle
        edge = own * (
            0.14 * streaks(rng, shape, 0.6 * px_per_mm, 2.0 * px_per_mm)
            + 0.04 * streaks(rng, shape, 9.0 * px_per_mm, 0.25 * px_per_mm)
        )
        ends = np.minimum(along - start, length - end - along)
        round_end = np.sqrt(np.clip(ends / own, 0.0, 1.0))
        inside = np.minimum(
            own / 2 * round_end + edge - np.abs(q), ends + 0.1 * streaks(rng, (shape[0], 1), 0.2 * px_per_mm, 1.0)
        )
        # A gill leans: one side lies flat and thin, the other shows its edge.
        slant = np.clip(0.75 + float(rng.normal(0.0, 0.6)) * q / own, 0.3, 1.6)
        amount = slant * (
            1.0
            + 0.14 * streaks(rng, shape, 0.12 * px_per_mm, 0.9 * px_per_mm)
            + 0.12 * streaks(rng, shape, 0.09 * px_per_mm, 0.09 * px_per_mm)
        )
        amount = amount + 0.3 * np.exp(-((inside / 0.07) ** 2))
        cover = soft_step(inside, px_per_mm)
        density += cover[..., None] * hue * np.maximum(amount, 0.1)[..., None]
        bare *= 1.0 - cover
    passing = np.asarray(density / np.maximum(1.0 - bare, 0.02)[..., None], np.float32)
    return sheet(passing, 1.0 - bare, grid)


def draw_crumb(rng: np.random.Generator, px_per_mm: float, *, wild: bool) -> Sheet:
    """A lump of gill tissue, 0.15 to 1.2 mm across."""
    size = float(np.exp(rng.uniform(np.log(0.15), np.log(1.2))))
    grid = grid_over(1.5 * size, 1.5 * size, px_per_mm)
    x, y = grid.along, grid.across
    turn = np.arctan2(y, x)
    radius = sum(np.cos(turn * k + rng.uniform(0, 6.3)) * rng.normal(0, 0.16 / k) for k in (1, 2, 3, 5)) + 1.0
    inside = size / 2 * np.clip(radius, 0.4, 1.45) - np.hypot(x, y * np.float32(rng.uniform(1.0, 1.8)))
    hue = np.array(_GILL) * np.exp(rng.normal(0, 0.25 if wild else 0.08, 3)) * float(np.exp(rng.normal(0.1, 0.4)))
    amount = np.clip(0.5 + inside / (0.5 * size), 0.3, 1.6) * (
        1.0 + 0.2 * streaks(rng, inside.shape, 0.1 * px_per_mm, 0.1 * px_per_mm)
    )
    return sheet(np.asarray(hue * np.maximum(amount, 0.1)[..., None], np.float32), soft_step(inside, px_per_mm), grid)
