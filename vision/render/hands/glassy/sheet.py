"""The fine sheet on which one thing is laid down in layers, and its development into a small picture.

A layer is a map of optical density with a pigment: light from behind is weakened as in dyed gelatine, light
from the lamp or the room is thrown back by the share that the layer scatters.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.lent import Lent
from vision.types import FloatArray

Colour = tuple[float, float, float]

CLEAR_PX = 7
NOTHING = 0.004


@dataclass(frozen=True)
class Sheet:
    """Fine arrays (h, w) in the thing's own frame; ``x_mm`` and ``y_mm`` say where each fine pixel lies."""

    x_mm: FloatArray
    y_mm: FloatArray
    passing: FloatArray
    own: FloatArray
    body: FloatArray
    step: int
    fine_px: float
    turn: FloatArray
    middle_px: FloatArray
    below: bool
    lamp: FloatArray
    glow: float


def f32(values: object) -> FloatArray:
    """Anything array-like as float32."""
    return np.asarray(values, dtype=np.float32)


def open_sheet(reach_mm: float, below: bool, rng: np.random.Generator) -> Sheet:
    """An empty sheet that holds everything within ``reach_mm`` of the origin, turned at random."""
    step = 5 if reach_mm < 0.7 else 4 if reach_mm < 1.7 else 3
    half = int(np.ceil(reach_mm * PX_PER_MM)) + CLEAR_PX
    size = (2 * half + 1) * step
    fine_px = float(PX_PER_MM * step)
    angle = rng.uniform(0, 2 * np.pi)
    turn = f32([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    middle = f32(size / 2 - 0.5 + rng.uniform(-0.5, 0.5, 2) * step)
    along = (np.arange(size, dtype=np.float32) - middle[0]) / fine_px
    down = ((np.arange(size, dtype=np.float32) - middle[1]) / fine_px)[:, None]
    x_mm = f32(along * turn[0, 0] + down * turn[1, 0])
    y_mm = f32(along * turn[0, 1] + down * turn[1, 1])
    slant = rng.uniform(0, 2 * np.pi)
    lamp = f32([np.cos(slant) * 0.55, np.sin(slant) * 0.55, 0.83])
    glow = float(rng.uniform(0.06, 0.45)) if below else float(rng.uniform(0.75, 1.0))
    return Sheet(
        x_mm,
        y_mm,
        np.ones((size, size, 3), np.float32),
        np.zeros((size, size, 3), np.float32),
        np.zeros((size, size), np.float32),
        step,
        fine_px,
        turn,
        middle,
        below,
        lamp,
        glow,
    )


def to_px(sheet: Sheet, points_mm: FloatArray) -> FloatArray:
    """Points (n, 2) of the thing's frame in mm as fine pixels (x, y)."""
    return f32(points_mm @ sheet.turn.T * sheet.fine_px + sheet.middle_px)


def soften(sheet: Sheet, plane: FloatArray, blur_mm: float) -> FloatArray:
    """A plane (h, w) out of focus by ``blur_mm``; less than a third of a fine pixel is left alone."""
    sigma = blur_mm * sheet.fine_px
    if sigma < 0.33:
        return plane
    return f32(cv2.GaussianBlur(plane, (0, 0), sigma))


def relief(sheet: Sheet, height_mm: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """From a height map (h, w) in mm: share of light bent away, lamp shading, and wet gloss, each (h, w)."""
    scale = sheet.fine_px / 8
    across = cv2.Sobel(height_mm, cv2.CV_32F, 1, 0, ksize=3) * scale
    down = cv2.Sobel(height_mm, cv2.CV_32F, 0, 1, ksize=3) * scale
    steep = across * across + down * down
    upright = 1 / np.sqrt(1 + steep)
    facing = (sheet.lamp[2] - across * sheet.lamp[0] - down * sheet.lamp[1]) * upright
    halfway = sheet.lamp + f32([0, 0, 1])
    halfway = halfway / float(np.linalg.norm(halfway))
    mirror = (halfway[2] - across * halfway[0] - down * halfway[1]) * upright
    gloss = np.clip(mirror, 0, 1) ** 50
    return f32(steep / (1 + steep)), f32(np.clip(0.28 + 0.76 * facing, 0.08, 1.1)), f32(gloss)


def lay(
    sheet: Sheet, density: FloatArray, pigment: Colour, milk: float = 0.2, shade: FloatArray | float = 0.85
) -> None:
    """Lay one dyed layer: ``density`` (h, w), pigment linear RGB at density one, ``milk`` its cloudiness."""
    rows = np.flatnonzero(density.max(axis=1) > 0.001)
    columns = np.flatnonzero(density.max(axis=0) > 0.001)
    if not len(rows) or not len(columns):
        return
    part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    depth = density[part]
    # A lamp's light goes in and comes out again: it meets every layer twice.
    if not sheet.below:
        depth = depth * 1.7
    paint = np.clip(f32(pigment), 0.01, 0.97)
    thick = -np.log(paint) + milk
    lit = shade[part] if isinstance(shade, np.ndarray) else np.float32(shade)
    share = 1 - np.exp(-depth * (1.5 * milk + 0.55 * float(np.mean(-np.log(paint)))))
    glow = share * lit * sheet.glow
    for channel in range(3):
        sheet.passing[part][..., channel] *= np.exp(-depth * thick[channel])
        seen = sheet.own[part][..., channel]
        seen *= 1 - share
        seen += glow * paint[channel]


def brighten(sheet: Sheet, plane: FloatArray, amount: float) -> None:
    """Let gloss (h, w) shine on top of what is laid, as much as the room or the lamp gives."""
    sheet.own[...] += (plane * (amount * sheet.glow))[..., None]


def bend_away(sheet: Sheet, plane: FloatArray, strength: float) -> None:
    """Darken where a steep clear surface sends the light aside; red a little less than blue."""
    if not sheet.below:
        strength *= 0.5
    for channel, share in enumerate((0.95, 1.0, 1.06)):
        sheet.passing[..., channel] *= np.exp(-plane * (strength * share))


def cover_with(sheet: Sheet, cover: FloatArray) -> None:
    """Count a cover (h, w) as part of the body."""
    np.maximum(sheet.body, cover, out=sheet.body)


def shut_out(sheet: Sheet, cover: FloatArray, amount: float) -> None:
    """Under a lamp, keep the light of the ground from coming through a cover (h, w)."""
    if not sheet.below:
        sheet.passing[...] *= (1 - cover * amount)[..., None]


def _trim(plane: FloatArray, half: int, fill: float) -> FloatArray:
    """An odd square of ``half`` px round the middle, padded with ``fill``."""
    middle = plane.shape[0] // 2
    pad = max(0, half - middle)
    if pad:
        widths = [(pad, pad), (pad, pad)] + [(0, 0)] * (plane.ndim - 2)
        plane = f32(np.pad(plane, widths, constant_values=fill))
        middle += pad
    return np.ascontiguousarray(plane[middle - half : middle + half + 1, middle - half : middle + half + 1])


def develop(
    sheet: Sheet, length_mm: float, width_mm: float, curved: bool, rng: np.random.Generator, blur_mm: float = 0.0
) -> Lent:
    """Meniscus, colour fringes and reduction to 20 px a millimetre; the sheet is used up."""
    outline = soften(sheet, sheet.body, blur_mm)
    if rng.random() < 0.55:
        spread = min(rng.uniform(0.03, 0.11), 0.12 + 0.1 * width_mm)
        pull = float(rng.choice([-1.0, -1.0, 1.0]) * rng.uniform(0.02, 0.14)) * (1.0 if sheet.below else 0.6)
        halo = soften(sheet, outline, spread) * (1 - outline)
        sheet.passing[...] *= (1 + pull * halo)[..., None]
    fringe = int(rng.choice([0, 1, 1, 2]))
    way = int(rng.integers(0, 2))
    size = sheet.body.shape[0] // sheet.step
    planes = []
    for channel, shift in ((0, fringe), (1, 0), (2, -fringe)):
        for full in (sheet.passing[..., channel], sheet.own[..., channel]):
            moved = np.roll(full, shift, axis=way) if shift else full
            planes.append(cv2.resize(moved, (size, size), interpolation=cv2.INTER_AREA))
    passing = f32(np.clip(np.dstack(planes[0::2]), 0, 1.2))
    own = f32(np.clip(np.dstack(planes[1::2]), 0, 1))
    body = f32(np.clip(cv2.resize(outline, (size, size), interpolation=cv2.INTER_AREA), 0, 1))
    body[body < NOTHING] = 0
    empty = (np.abs(passing - 1).max(axis=2) < NOTHING) & (own.max(axis=2) < NOTHING) & (body == 0)
    passing[empty] = 1
    own[empty] = 0
    rows, columns = np.nonzero(~empty)
    middle = size // 2
    half = CLEAR_PX
    if len(rows):
        half += int(max(np.abs(rows - middle).max(), np.abs(columns - middle).max()))
    return Lent(
        _trim(passing, half, 1.0),
        _trim(own, half, 0.0),
        _trim(body, half, 0.0),
        float(length_mm),
        float(width_mm),
        bool(curved),
    )
