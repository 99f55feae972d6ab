"""Forms: rounded solids along a bent axis or with a ragged outline, with coordinates that follow them."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands.glassy.sheet import Sheet, f32, to_px
from vision.types import FloatArray


@dataclass(frozen=True)
class Form:
    """``along`` 0..1 and ``across`` -1..1 for each fine pixel (h, w), cover 0..1, height in mm, and its axis (n, 2)."""

    along: FloatArray
    across: FloatArray
    cover: FloatArray
    height_mm: FloatArray
    axis_mm: FloatArray
    half_mm: FloatArray


def axis(length_mm: float, turns: FloatArray) -> FloatArray:
    """A bent axis (n, 2) in mm, its length kept, centred; ``turns`` (n,) is the heading in radians along it."""
    step = length_mm / (len(turns) - 1)
    heading = (turns[1:] + turns[:-1]) / 2
    points = np.zeros((len(turns), 2))
    points[1:, 0] = np.cumsum(np.cos(heading)) * step
    points[1:, 1] = np.cumsum(np.sin(heading)) * step
    points -= (points.min(axis=0) + points.max(axis=0)) / 2
    return f32(points)


def straight(length_mm: float, count: int = 60, bow: float = 0.0) -> FloatArray:
    """An axis (count, 2) along x in mm, bent evenly by ``bow`` radians from end to end."""
    return axis(length_mm, f32(np.linspace(-bow / 2, bow / 2, count)))


def egg_curve(count: int, blunt: float = 1.0, square: float = 0.5) -> FloatArray:
    """Half widths (count,) up to 1: ``blunt`` below 1 moves the widest place to the front, above to the rear."""
    place = np.linspace(0, 1, count) ** blunt
    return f32(np.clip(1 - (2 * place - 1) ** 2, 0, 1) ** square)


def tube(sheet: Sheet, axis_mm: FloatArray, half_mm: FloatArray, lean: float = 0.0, flat: float = 0.8) -> Form:
    """A rounded solid round an axis (n, 2) with half widths (n,) in mm; ``lean`` makes one flank fuller."""
    count = max(len(axis_mm), int(2 * np.abs(np.diff(axis_mm, axis=0)).sum() * sheet.fine_px))
    old = np.linspace(0, 1, len(axis_mm))
    new = np.linspace(0, 1, count)
    dense = f32(np.stack([np.interp(new, old, axis_mm[:, 0]), np.interp(new, old, axis_mm[:, 1])], axis=1))
    half = f32(np.interp(new, old, half_mm))
    spots = np.clip(np.rint(to_px(sheet, dense)).astype(np.int64), 0, sheet.body.shape[0] - 1)
    field = np.full(sheet.body.shape, 255, np.uint8)
    field[spots[:, 1], spots[:, 0]] = 0
    _, labels = cv2.distanceTransformWithLabels(field, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    table = np.zeros(int(labels.max()) + 1, np.int64)
    table[labels[spots[:, 1], spots[:, 0]]] = np.arange(count)
    nearest = table[labels]
    tangent = np.gradient(dense, axis=0)
    tangent = f32(tangent / (np.linalg.norm(tangent, axis=1, keepdims=True) + 1e-9))
    off_x = sheet.x_mm - dense[nearest, 0]
    off_y = sheet.y_mm - dense[nearest, 1]
    dir_x, dir_y = tangent[nearest, 0], tangent[nearest, 1]
    length = float(np.linalg.norm(np.diff(dense, axis=0), axis=1).sum())
    along = nearest.astype(np.float32) / (count - 1) + (off_x * dir_x + off_y * dir_y) / length
    side = off_y * dir_x - off_x * dir_y
    width = np.interp(np.clip(along, 0, 1), new, half).astype(np.float32) * (1 + lean * np.sign(side))
    beyond = np.maximum(np.maximum(-along, along - 1), 0) * length
    reach = np.hypot(side, beyond)
    cover = np.clip((width - reach) * sheet.fine_px + 0.5, 0, 1)
    across = np.clip(side / np.maximum(width, 1e-4), -1.2, 1.2)
    height = np.sqrt(np.clip(1 - across * across, 0, 1)) * width * flat * cover
    return Form(f32(np.clip(along, 0, 1)), f32(across), f32(cover), f32(height), axis_mm, half_mm)


def lump(
    sheet: Sheet,
    at_mm: tuple[float, float],
    radii_mm: tuple[float, float],
    rough: float,
    rng: np.random.Generator,
    flat: float = 0.7,
    waves: int = 7,
) -> Form:
    """A lump round ``at_mm`` with an uneven outline: ``rough`` is the share by which its radius wanders."""
    x_part = (sheet.x_mm - at_mm[0]) / radii_mm[0]
    y_part = (sheet.y_mm - at_mm[1]) / radii_mm[1]
    angles = np.linspace(-np.pi, np.pi, 257)
    radius = np.ones(257)
    for wave in range(2, 2 + waves):
        radius += rough / wave**0.8 * rng.normal() * np.cos(wave * angles + rng.uniform(0, 6.3))
    radius = np.clip(radius, 0.3, 1.7)
    radius /= radius.mean()
    around = np.arctan2(y_part, x_part)
    edge = radius[np.clip(((around + np.pi) * (256 / 6.2832)).astype(np.int64), 0, 256)].astype(np.float32)
    out = np.hypot(x_part, y_part) / edge
    size = min(radii_mm)
    cover = np.clip((1 - out) * size * sheet.fine_px + 0.5, 0, 1)
    height = np.sqrt(np.clip(1 - out * out, 0, 1)) * size * flat
    ends = f32([[at_mm[0] - radii_mm[0], at_mm[1]], [at_mm[0] + radii_mm[0], at_mm[1]]])
    axis_mm = f32(np.linspace(ends[0], ends[1], 40))
    return Form(
        f32(np.clip((x_part + 1) / 2, 0, 1)),
        f32(np.clip(y_part, -1.2, 1.2)),
        f32(cover),
        f32(height * cover),
        axis_mm,
        f32(egg_curve(40) * radii_mm[1]),
    )


def place(form: Form, along: float, across: float) -> tuple[FloatArray, float]:
    """The point (2,) in mm at a place on the form, and the heading of the axis there in radians."""
    count = len(form.axis_mm)
    index = int(np.clip(round(along * (count - 1)), 1, count - 2))
    tangent = form.axis_mm[index + 1] - form.axis_mm[index - 1]
    tangent = tangent / (float(np.linalg.norm(tangent)) + 1e-9)
    normal = f32([-tangent[1], tangent[0]])
    grid = np.linspace(0, 1, count)
    point = f32([np.interp(along, grid, form.axis_mm[:, 0]), np.interp(along, grid, form.axis_mm[:, 1])])
    half = float(np.interp(along, grid, form.half_mm))
    return f32(point + normal * half * across), float(np.arctan2(tangent[1], tangent[0]))


def plan_form(axis_mm: FloatArray, half_mm: FloatArray) -> Form:
    """A form with an axis (n, 2) and half widths (n,) in mm but no picture, to plan limbs on."""
    empty = np.zeros((1, 1), np.float32)
    return Form(empty, empty, empty, empty, axis_mm, half_mm)


def uneven(count: int, rng: np.random.Generator) -> FloatArray:
    """A slow wander (count,), about standard normal, to make flanks uneven."""
    knots = rng.normal(size=max(4, count // 7))
    return f32(np.interp(np.linspace(0, 1, count), np.linspace(0, 1, len(knots)), knots))
