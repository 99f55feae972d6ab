"""Bubbles and drops: rims darker on one side, brighter on the other, with glints. Sizes and looks: common practice, no source."""

from __future__ import annotations

import math

import numpy as np

from vision.render.hands.layered.colour import WHITE, Rng, any_size, srgb
from vision.render.hands.layered.curves import blob, closed, ellipse, polar
from vision.render.hands.layered.sheet import Light, Pose, Sheet, any_way, domed, slopes

_HALO, _BUBBLE_RIM, _DARK_SIDE, _DROP_RIM = srgb(140, 140, 138), srgb(52, 52, 54), srgb(70, 72, 72), srgb(90, 90, 88)


def bubble(rng: Rng, light: Light) -> Sheet:
    """A bubble of 0.12-1.6 mm radius: dark ring, bright ring within, two glints."""
    radius, flat = any_size(rng, 0.12, 1.6, 0.35, 0.55), rng.uniform(0.94, 1)
    sheet = Pose(light).sheet(radius * 1.5)
    sheet.fill(ellipse(0, 0, radius * 1.12, radius * 1.12 * flat), _HALO, 0.25, 0.08 * radius)
    mask, window = sheet.mask(ellipse(0, 0, radius, radius * flat))
    inwards, reach, _ = domed(mask)
    depth = inwards / reach
    ring = np.exp(-(((depth - 0.13) / rng.uniform(0.08, 0.16)) ** 2)) * mask
    sheet.over(window, _BUBBLE_RIM, (ring * rng.uniform(0.5, 0.9)).astype(np.float32))
    inner = np.exp(-(((depth - 0.42) / 0.12) ** 2)) * mask
    sheet.over(window, WHITE, (inner * 0.35).astype(np.float32))
    towards = math.atan2(light.y, light.x)
    for way, alpha in ((towards, 0.95), (towards + math.pi, 0.5)):
        x, y = polar(0.55 * radius, way)
        sheet.fill(ellipse(x, y, 0.14 * radius, 0.22 * radius, way), 1.1 * WHITE, alpha, 0.04 * radius)
    sheet.dot(0, 0, 0.22 * radius, WHITE, 0.4, 0.08 * radius)
    return sheet


def drop(rng: Rng, light: Light) -> Sheet:
    """A clear drop of 0.4-4.5 mm radius."""
    radius = any_size(rng, 0.4, 4.5, 1.4, 0.5)
    sheet = Pose(light).sheet(radius * 1.7, fold=2)
    outline = blob(rng, radius, 0.12, 4, rng.uniform(1, 1.3), 60)
    mask, window = sheet.mask(outline)
    _, reach, height = domed(mask)
    steep = np.hypot(*slopes(height, reach))
    facing = sheet.towards_light(height, reach)
    strength = np.float32(rng.uniform(0.3, 0.7)) * mask
    sheet.over(window, _DARK_SIDE, np.clip(0.15 * steep - 0.5 * facing, 0, 1) * strength)
    sheet.over(window, WHITE, np.clip(0.45 * facing, 0, 1) * strength)
    sheet.stroke(closed(outline), 0.05, None, _DROP_RIM, 0.45)
    x, y = polar(0.45 * radius, math.atan2(light.y, light.x))
    sheet.fill(ellipse(x, y, 0.13 * radius, 0.08 * radius, rng.uniform(0, 3)), 1.2 * WHITE, 0.95, 0.02 * radius)
    return sheet


def glint(rng: Rng, light: Light) -> Sheet:
    """A spot of light on a wet surface."""
    sheet = any_way(rng, light).sheet(0.5)
    outline = blob(rng, rng.uniform(0.05, 0.16), 0.3, 4, rng.uniform(1, 3))
    sheet.fill(outline, 1.1 * WHITE, rng.uniform(0.6, 1), 0.015)
    return sheet
