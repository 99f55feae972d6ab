"""One head of a floret: where its buds or grains sit, how each is lit and coloured. Looks and colours: common practice, no source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.layered.colour import Rng, srgb, varied
from vision.render.hands.layered.curves import Numbers, Points
from vision.render.hands.layered.noise import clouds
from vision.render.hands.layered.sheet import Light
from vision.render.hands.layered.stamps import SMALLEST_MM, STEP_MM, STEPS, TURNS, Buds, put, stamp
from vision.types import FloatArray

_BROWNED, _OLIVE = srgb(150, 106, 58), srgb(196, 196, 150)
_BLUEISH, _YELLOWED, _BROWN = srgb(84, 112, 104), srgb(182, 176, 66), srgb(112, 80, 42)
_APART, _APART_WHITE = 0.74, 0.68
_OUTSIDE_PX = 30


@dataclass(frozen=True)
class Look:
    """What all florets of a picture share: clouds (h, w) of blue, yellow and brown, and from where each shows."""

    white: bool
    light: Light
    bud: FloatArray
    stalk: FloatArray
    tint: FloatArray
    blue: FloatArray
    yellow: FloatArray
    brown: FloatArray
    blue_from: float
    yellow_from: float
    brown_from: float


def picture_look(rng: Rng, shape: tuple[int, ...], light: Light, white: bool) -> Look:
    """Broccoli, or cauliflower where `white`."""
    warm = rng.normal(0, 0.04)
    if white:
        bud, stalk = varied(rng, srgb(248, 235, 202), 0.04, 0.012), varied(rng, srgb(222, 222, 188), 0.05, 0.015)
    else:
        bud, stalk = varied(rng, srgb(84, 114, 62), 0.2, 0.06), varied(rng, srgb(146, 176, 104), 0.1)
    return Look(
        white=white,
        light=light,
        bud=bud,
        stalk=stalk,
        tint=np.array([1 + warm, 1, 1 - warm], np.float32) * np.float32(light.dimmed(0.8)),
        blue=clouds(rng, shape, 300),
        yellow=clouds(rng, shape, 380),
        brown=clouds(rng, shape, 240, 4),
        blue_from=rng.uniform(0.6, 1.6),
        yellow_from=rng.uniform(1.3, 3.0),
        brown_from=rng.uniform(1.1, 2.4),
    )


def lay_head(
    rng: Rng,
    scene: FloatArray,
    cover: FloatArray,
    look: Look,
    centre: Points,
    radius: float,
    bud_mm: float,
    base: FloatArray,
) -> Buds:
    """Lays a head about `centre` (2,), `radius` in px, of buds about `bud_mm` wide and a colour; `cover` (h, w) grows by it."""
    x, y, far, lit = _places(rng, look, radius, bud_mm)
    count = len(x)
    size = (bud_mm * rng.lognormal(0, 0.14, count) - SMALLEST_MM) / STEP_MM + rng.uniform(-0.4, 0.4, count)
    size = np.clip(size, 0, STEPS - 1).round().astype(int)
    stretch = np.clip((far / radius * 2.2 + rng.normal(-0.4, 0.5, count)).round(), 0, 2).astype(int)
    if look.white:
        stretch = rng.integers(0, 2, count)
    turn = ((np.arctan2(y, x) + rng.normal(0, 0.3, count)) / (2 * np.pi) * TURNS).round().astype(int) % TURNS
    x, y = centre[0] + x, centre[1] + y
    luck = rng.random(count)
    colour = _colours(rng, look, base, (x, y), far / radius, luck)
    colour = (colour * lit[:, None] * look.tint).astype(np.float32)
    wet = np.where(luck > 0.96, 0.25, 0.0) if look.white else np.where(rng.random(count) > 0.93, 0.55, 0.0)
    height, width = cover.shape
    for j in range(count):
        if -_OUTSIDE_PX < x[j] < width + _OUTSIDE_PX and -_OUTSIDE_PX < y[j] < height + _OUTSIDE_PX:
            one = stamp(look.white, int(size[j]), int(stretch[j]), int(turn[j]))
            put(scene, int(x[j]), int(y[j]), one, colour[j], wet[j], cover)
    at_x, at_y, steps = (np.asarray(v, np.float32) for v in (x, y, size))
    return Buds(look.white, at_x, at_y, steps, colour)


def _places(rng: Rng, look: Look, radius: float, bud_mm: float) -> tuple[Numbers, Numbers, Numbers, Numbers]:
    """Places about 0 in px in the order of laying, how far out each is, and its light."""
    apart = bud_mm * PX_PER_MM * (_APART_WHITE if look.white else _APART)
    reach = int(radius / apart) + 2
    i, j = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    x = (i + 0.5 * (j % 2)) * apart + rng.normal(0, 0.16 * apart, i.shape)
    y = j * apart * 0.866 + rng.normal(0, 0.16 * apart, i.shape)
    round_it = np.arctan2(y, x)
    edge = 0.09 * np.cos(3 * round_it + rng.uniform(0, 6)) + 0.06 * np.cos(7 * round_it + rng.uniform(0, 6))
    held = np.hypot(x, y) < radius * (1 + edge)
    x, y = x[held], y[held]
    far = np.hypot(x, y)
    high = np.sqrt(np.clip(1 - (far / (radius * 1.15)) ** 2, 0.05, 1))
    facing = (x * look.light.x + y * look.light.y) / radius
    if look.white:
        lit, order = _knobbed(rng, look.light, (x, y), radius, 0.72 + 0.3 * high + 0.16 * facing)
    else:
        lit = 0.42 + 0.5 * high + 0.34 * facing
        order = np.argsort(-far + rng.normal(0, 0.12 * radius, far.shape))
    lit = np.clip(lit, 0.28, 1.2)
    return x[order], y[order], far[order], lit[order]


def _knobbed(
    rng: Rng, light: Light, at: tuple[Numbers, Numbers], radius: float, lit: Numbers
) -> tuple[Numbers, NDArray[np.int64]]:
    """Light on several knobs with furrows between them, and the order of laying: the tops of the knobs last."""
    x, y = at
    knobs = max(3, int((radius / PX_PER_MM) ** 2 / 2.2))
    middle = rng.uniform(-1, 1, (knobs, 2)) * radius * 0.85
    away = np.hypot(x[:, None] - middle[None, :, 0], y[:, None] - middle[None, :, 1])
    nearest, ranked = away.argmin(1), np.sort(away, 1)
    furrow = np.clip((ranked[:, 1] - ranked[:, 0]) / (0.35 * radius), 0, 1)
    off_x, off_y = x - middle[nearest, 0], y - middle[nearest, 1]
    lit = (lit + 0.3 * (off_x * light.x + off_y * light.y) / (0.5 * radius)) * (0.6 + 0.4 * np.sqrt(furrow))
    return lit, np.argsort(-ranked[:, 0] + rng.normal(0, 3, len(x)), kind="stable")


def _colours(
    rng: Rng, look: Look, base: FloatArray, at: tuple[Numbers, Numbers], far: Numbers, luck: Numbers
) -> NDArray[Any]:
    """Colours (n, 3) by where the picture is blueish, yellow or browned, and by each one's luck 0..1."""
    count = len(luck)
    height, width = look.brown.shape
    column, row = (np.clip(v, 0, side - 1).astype(int) for v, side in zip(at, (width, height), strict=True))
    browned, yellow = look.brown[row, column] - look.brown_from, look.yellow[row, column]
    colour = np.repeat(base[None], count, 0)

    def towards(colour: NDArray[Any], other: FloatArray, share: NDArray[Any]) -> NDArray[Any]:
        return np.asarray(colour + (other - colour) * np.clip(share, 0, 1)[:, None])

    if look.white:
        share = np.where((browned > 0) & (far > 0.35), np.minimum(0.75, browned * 0.8) * luck, 0)
        colour = towards(colour, _BROWNED, share)
        colour = towards(colour, _OLIVE, 0.25 * np.clip(yellow - 0.4, 0, 1))
        return np.asarray(colour * (1 + rng.normal(0, 0.015, (count, 3))) * np.exp(rng.normal(0, 0.05, (count, 1))))
    blue = np.minimum(0.6, np.maximum(0, look.blue[row, column] - look.blue_from + 0.8) * 0.5)
    colour = towards(colour, _BLUEISH, blue * (0.5 + 0.5 * luck))
    share = np.where(yellow > look.yellow_from, 0.3 + 0.5 * luck, np.where(luck > 0.985, 0.5, 0))
    colour = towards(colour, _YELLOWED, share)
    share = np.where(browned > 0, np.minimum(0.8, browned) * (0.4 + 0.6 * luck), 0)
    colour = towards(colour, _BROWN, np.where(luck < 0.008, 0.7, share))
    return np.asarray(colour * (1 + rng.normal(0, 0.05, (count, 3))) * np.exp(rng.normal(0, 0.16, (count, 1))))
