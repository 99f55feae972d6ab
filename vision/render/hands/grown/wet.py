"""Rinse water in a white tray, and wet cloth."""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.hands.grown.camera import panel_light, top_light
from vision.render.hands.grown.fields import Rng, bent_line, blurred, colour, levels, near, noise, one_of, ramp, turned
from vision.render.hands.grown.ground import Ground
from vision.types import FloatArray

GREENS = (
    colour(0.3, 0.42, 0.12),
    colour(0.42, 0.45, 0.2),
    colour(0.18, 0.25, 0.08),
    colour(0.55, 0.5, 0.3),
    colour(0.35, 0.22, 0.1),
)


def water(rng: Rng, h: int, w: int) -> Ground:
    """Shallow water over a lit white tray: ripples, murk, shine from above, sometimes the tray's wall."""
    light = panel_light(rng, h, w)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    # The water goes on past the picture, so that its edge does not show.
    room = 40
    swell = np.zeros((h + 2 * room, w + 2 * room), np.float32)
    for grain in rng.uniform(50, 260, 3):
        swell += noise(rng, h + 2 * room, w + 2 * room, grain, grain * rng.uniform(0.6, 1.8)) * np.float32(grain / 150)
    # Curved water gathers the light from below into soft bright lines.
    bend = np.asarray(cv2.Laplacian(blurred(swell, 6.0), cv2.CV_32F, ksize=5), np.float32)[room:-room, room:-room]
    bend /= np.float32(bend.std() + 1e-6)
    light *= (1 + np.float32(rng.uniform(0, 0.03)) * np.clip(bend, -1.5, 4))[..., None]
    murk = 1 - np.float32(rng.uniform(0, 0.05)) * np.maximum(noise(rng, h, w, rng.uniform(80, 300)), 0)
    stain = near(rng, colour(0.9, 0.94, 0.84), 0.04)
    light *= 1 - (1 - stain) * (1 - murk[..., None] + np.float32(rng.uniform(0, 0.5)) * np.float32(0.5))
    light *= (1 + 0.006 * noise(rng, h, w, 3.0))[..., None]
    top = top_light(rng, 0.08, 0.4)
    slope = np.asarray(cv2.Sobel(blurred(swell, 10.0), cv2.CV_32F, 1, 0), np.float32)[room:-room, room:-room]
    shine = ramp(slope / np.float32(slope.std() + 1e-6), rng.uniform(2.2, 3), 4.5)
    light += shine[..., None] * top * np.float32(rng.uniform(0, 0.5))
    if rng.random() < 0.3:
        way = rng.choice([0, np.pi / 2, np.pi, -np.pi / 2]) + rng.normal(0, 0.08)
        reach = max(abs(np.cos(way)) * w, abs(np.sin(way)) * h) * rng.uniform(0.4, 0.48)
        off = (x - w / 2) * np.float32(np.cos(way)) + (y - h / 2) * np.float32(np.sin(way)) - np.float32(reach)
        wall = ramp(off, 0, 26) * np.float32(rng.uniform(0.1, 0.3)) + np.exp(-((off / 6) ** 2)) * np.float32(
            rng.uniform(0.1, 0.3)
        )
        light *= (1 - wall)[..., None]
    flat = np.zeros((h, w), np.float32)
    return Ground(light, flat, flat + 1, top, np.zeros((h, w), bool), "water", None, GREENS)


def cloth(rng: Rng, h: int, w: int) -> Ground:
    """Wet woven cloth on the panel, threads crossing at any angle; light comes through the gaps and through thin threads."""
    dark = rng.random() < 0.22
    panel = panel_light(rng, h, w)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    sag = (noise(rng, h, w, 170.0), noise(rng, h, w, 210.0))
    pitch, way = rng.uniform(5.0, 14.0), rng.uniform(0, np.pi)
    skew = np.pi / 2 + rng.normal(0, 0.06)
    sway = np.float32(rng.uniform(0.5, 3.5))
    across, sheds = [], []
    for turn, wave in ((way, sag[0]), (way + skew, sag[1])):
        run = (x * np.float32(np.cos(turn)) + y * np.float32(np.sin(turn)) + sway * wave) / np.float32(pitch)
        count = np.floor(run).astype(np.int32)
        count -= count.min()
        fat = np.clip(rng.normal(1, 0.13, int(count.max()) + 1), 0.5, 1.5).astype(np.float32)
        centre = rng.normal(0, 0.07, len(fat)).astype(np.float32)
        part = (run - np.floor(run) - 0.5 - centre[count]) / (np.float32(0.46) * fat[count])
        across.append(np.sqrt(np.maximum(1 - part**2, 0)))
        sheds.append((count, fat))
    over = ((sheds[0][0] + sheds[1][0]) & 1).astype(np.float32)
    warp, weft = across[0] * (0.45 + 0.55 * over), across[1] * (1 - 0.55 * over)
    rise = np.maximum(warp, weft)
    thick = across[0] * sheds[0][1][sheds[0][0]] + across[1] * sheds[1][1][sheds[1][0]]
    tint = (
        one_of(rng, (colour(0.05, 0.06, 0.1), colour(0.08, 0.04, 0.04), colour(0.06, 0.07, 0.06)), 0.2)
        if dark
        else near(rng, colour(0.88, 0.88, 0.86), 0.04)
    )
    fuzz = noise(rng, h, w, 2.2) * np.float32(0.06)
    wetness = ramp(noise(rng, h, w, rng.uniform(90, 260)), -1.2, 1.0) * np.float32(rng.uniform(0.1, 0.5))
    swallow = np.float32(rng.uniform(0.8, 1.6) if dark else rng.uniform(0.4, 1.0)) * (1 - 0.5 * wetness)
    through = np.exp(-(thick * (1 + 2 * fuzz) * swallow)[..., None] * (1.35 - tint))
    # Dark cloth lies double, so less comes through its gaps.
    glow = blurred(panel, 3.0) * np.float32(rng.uniform(0.15, 0.5) if dark else 1.0)
    light = glow * through
    top = top_light(rng, 0.5, 1.0) if dark else top_light(rng, 0.2, 0.5)
    slope_x = np.asarray(cv2.Sobel(blurred(rise, 0.8), cv2.CV_32F, 1, 0), np.float32)
    slope_y = np.asarray(cv2.Sobel(blurred(rise, 0.8), cv2.CV_32F, 0, 1), np.float32)
    lean = rng.uniform(0, 2 * np.pi)
    shade = 0.55 + 0.45 * rise + np.float32(0.12 * np.cos(lean)) * slope_x + np.float32(0.12 * np.sin(lean)) * slope_y
    light += (shade * (1 - 0.35 * wetness) * (1 + fuzz))[..., None] * tint * top * (1 - levels(through))[..., None]
    # Folds and creases: long soft changes of level.
    fold = noise(rng, h, w, rng.uniform(60, 200), rng.uniform(150, 500))
    light *= (1 + np.float32(rng.uniform(0.01, 0.06)) * fold)[..., None]
    _loose_threads(rng, light, pitch, tint, top)
    _stains(rng, light)
    flat = np.zeros((h, w), np.float32)
    return Ground(light, flat, flat + 1, top, np.zeros((h, w), bool), "cloth", None, GREENS)


def _loose_threads(rng: Rng, light: FloatArray, pitch: float, tint: FloatArray, top: FloatArray) -> None:
    """Thicker threads and slubs that lie across the weave."""
    h, w = light.shape[:2]
    for _ in range(int(rng.integers(0, 5))):
        line = turned(bent_line(rng, rng.uniform(0.2, 0.9) * w, rng.normal(0, 0.7), 0.3, 60), rng.uniform(0, np.pi))
        line = line + np.array([rng.uniform(0, w), rng.uniform(0, h)], np.float32)
        trace = np.zeros((h, w), np.uint8)
        cv2.polylines(
            trace,
            [np.round(line * 16).astype(np.int32)],
            False,
            255,
            max(round(pitch * rng.uniform(0.15, 0.5)), 1),
            cv2.LINE_AA,
            4,
        )
        top_row, left = max(int(line[:, 1].min()) - 12, 0), max(int(line[:, 0].min()) - 12, 0)
        box = (
            slice(top_row, max(int(line[:, 1].max()) + 12, top_row + 1)),
            slice(left, max(int(line[:, 0].max()) + 12, left + 1)),
        )
        share = blurred(trace[box].astype(np.float32) / 255, 0.8) if trace[box].size else None
        if share is None:
            continue
        # Twisted strands take up more and less light in turn.
        share = share * (0.7 + 0.45 * noise(rng, share.shape[0], share.shape[1], 4.0))
        round_it = np.roll(share, (2, 2), (0, 1))
        light[box] *= (1 - 0.25 * share - 0.12 * round_it)[..., None]
        light[box] += (0.2 * share)[..., None] * tint * top


def _stains(rng: Rng, light: FloatArray) -> None:
    """Soft tinted marks of juice and soil."""
    h, w = light.shape[:2]
    y, x = np.mgrid[-1:1:64j, -1:1:64j].astype(np.float32)
    for _ in range(int(rng.integers(0, 7))):
        reach = int(rng.uniform(8, 70))
        blot = ramp(1 - np.hypot(x, y) + 0.25 * noise(rng, 64, 64, 18.0), 0.1, 0.7)
        blot = np.asarray(cv2.resize(blot, (2 * reach, 2 * reach)), np.float32)
        top, left = int(rng.integers(0, h)), int(rng.integers(0, w))
        here = light[top : top + 2 * reach, left : left + 2 * reach]
        here *= 1 - blot[: here.shape[0], : here.shape[1], None] * (1 - one_of(rng, GREENS, 0.2)) * np.float32(
            rng.uniform(0.05, 0.3)
        )
