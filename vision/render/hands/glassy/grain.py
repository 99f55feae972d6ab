"""Textures: clouds, wrinkles that follow a form, rings, cells and small blots."""

from collections.abc import Sequence

import cv2
import numpy as np

from vision.render.hands.glassy.form import Form, place
from vision.render.hands.glassy.sheet import Sheet, f32, soften, to_px
from vision.types import FloatArray


def clouds(sheet: Sheet, grain_mm: float, rng: np.random.Generator) -> FloatArray:
    """Smooth noise (h, w), about standard normal, with blotches of ``grain_mm``."""
    size = sheet.body.shape[0]
    count = int(np.clip(size / (grain_mm * sheet.fine_px), 3, size))
    seed = rng.normal(size=(count, count)).astype(np.float32)
    return f32(cv2.resize(seed, (size, size), interpolation=cv2.INTER_CUBIC))


def folds(form: Form, over: int, round_: int, rng: np.random.Generator) -> FloatArray:
    """Noise (h, w) that follows a form, with ``over`` blotches along it and ``round_`` across it."""
    seed = rng.normal(size=(max(round_, 2), max(over, 2))).astype(np.float32)
    along = f32(form.along * (seed.shape[1] - 1))
    across = f32((form.across + 1) / 2 * (seed.shape[0] - 1))
    return f32(cv2.remap(seed, along, across, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT))


def rings(form: Form, places: FloatArray, sharp: float, bow: float = 0.0) -> FloatArray:
    """Lines (h, w) 0..1 across a form at ``places`` (n,) 0..1 along it, ``sharp`` their half width in shares of it."""
    grid = np.linspace(0, 1, 600)
    line = np.zeros(600)
    for spot in places:
        line = np.maximum(line, np.exp(-(((grid - spot) / sharp) ** 2)))
    at = np.clip(form.along + bow * form.across * form.across, 0, 1)
    return f32(line[(at * 599).astype(np.int64)] * (form.cover > 0))


def bands(form: Form, places: FloatArray, wide: float) -> FloatArray:
    """Stripes (h, w) 0..1 along a form at ``places`` (n,) -1..1 across it, ``wide`` their half width in half widths."""
    out = np.zeros_like(form.across)
    for spot in places:
        np.maximum(out, np.exp(-(((form.across - spot) / wide) ** 2)), out=out)
    return f32(out * form.cover)


def stretch(form: Form, start: float, end: float, soft: float = 0.02) -> FloatArray:
    """The part (h, w) 0..1 of a form between two places along it."""
    rise = np.clip((form.along - start) / soft + 0.5, 0, 1)
    fall = np.clip((end - form.along) / soft + 0.5, 0, 1)
    return f32(rise * fall * form.cover)


def cells(sheet: Sheet, size_mm: float, rng: np.random.Generator, long: float = 1.0) -> tuple[FloatArray, FloatArray]:
    """A pavement of cells: tone of each (h, w) 0..1 and walls (h, w) 0..1; ``long`` draws them out along x."""
    size = sheet.body.shape[0]
    pitch = max(size_mm * sheet.fine_px, 3.0)
    half = size / sheet.fine_px * 0.72
    across = np.arange(-half, half, pitch / sheet.fine_px)
    along = np.arange(-half, half, pitch * long / sheet.fine_px)
    points = np.stack(np.meshgrid(along, across), axis=-1).reshape(-1, 2)
    points = points + rng.uniform(-0.5, 0.5, points.shape) * (pitch / sheet.fine_px) * np.array([long, 1.0])
    spots = np.rint(to_px(sheet, f32(points))).astype(np.int64)
    spots = spots[(spots >= 0).all(axis=1) & (spots < size).all(axis=1)]
    field = np.full((size, size), 255, np.uint8)
    field[spots[:, 1], spots[:, 0]] = 0
    _, labels = cv2.distanceTransformWithLabels(field, cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL)
    tone = rng.random(int(labels.max()) + 1).astype(np.float32)[labels]
    wall = np.zeros((size, size), np.float32)
    wall[1:] = labels[1:] != labels[:-1]
    wall[:, 1:] = np.maximum(wall[:, 1:], labels[:, 1:] != labels[:, :-1])
    return tone, f32(cv2.GaussianBlur(wall, (0, 0), 0.8))


def blots(sheet: Sheet, spots: Sequence[tuple[float, float, float, float, float]], soft_mm: float) -> FloatArray:
    """Soft ovals (h, w) 0..1: each (x_mm, y_mm, half length mm, half width mm, heading in radians)."""
    plane = np.zeros(sheet.body.shape, np.uint8)
    turned = float(np.arctan2(sheet.turn[1, 0], sheet.turn[0, 0]))
    for x_mm, y_mm, long_mm, wide_mm, heading in spots:
        centre = to_px(sheet, f32([[x_mm, y_mm]]))[0] * 16
        radii = (max(8, int(long_mm * sheet.fine_px * 16)), max(8, int(wide_mm * sheet.fine_px * 16)))
        cv2.ellipse(
            plane,
            (int(centre[0]), int(centre[1])),
            radii,
            float(np.degrees(heading + turned)),
            0,
            360,
            255,
            -1,
            cv2.LINE_AA,
            4,
        )
    return soften(sheet, f32(plane / 255), soft_mm)


def scatter(
    form: Form, count: int, radius_mm: float, rng: np.random.Generator, span: tuple[float, float] = (0.1, 0.9)
) -> list[tuple[float, float, float, float, float]]:
    """Ovals for ``blots`` strewn over a form between two places along it."""
    out = []
    for _ in range(count):
        at, heading = place(form, rng.uniform(*span), rng.uniform(-0.75, 0.75))
        size = radius_mm * rng.uniform(0.5, 1.4)
        out.append((float(at[0]), float(at[1]), size, size * rng.uniform(0.5, 1.0), heading + rng.normal()))
    return out
