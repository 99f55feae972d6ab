"""The fine grid a thing is drawn on: lengths in mm in the thing's own frame, colours in linear red, green, blue."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.lent import Lent
from vision.types import FloatArray

Box = tuple[slice, slice]
MARGIN_PX = 9
# Fixed-point bits of cv2's line drawing, so that strokes keep their place to a sixteenth of a fine pixel.
SHIFT = 4


def f32(values: object) -> FloatArray:
    """Return anything array-like as float32."""
    return np.asarray(values, dtype=np.float32)


def noise(shape: tuple[int, int], cell_px: float, rng: np.random.Generator) -> FloatArray:
    """Return smooth noise (h, w), mean about 0 and spread about 1, with lumps `cell_px` fine pixels wide."""
    rows, cols = (max(2, int(side / max(cell_px, 1.0)) + 2) for side in shape)
    rows, cols = min(rows, shape[0] + 2), min(cols, shape[1] + 2)
    grid = rng.standard_normal((rows, cols)).astype(np.float32)
    return f32(cv2.resize(grid, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC) * 1.3)


def wobble(at: FloatArray, waves: int, rng: np.random.Generator) -> FloatArray:
    """Return a smooth random curve over `at` (n,), made of `waves` sines, about -1 to 1; periodic over 0..1."""
    total = np.zeros_like(at)
    for wave in range(1, waves + 1):
        total += f32(rng.normal(0, 1 / wave) * np.sin(2 * np.pi * (wave * at + rng.random())))
    return f32(total / 1.3)


@dataclass(frozen=True)
class Form:
    """A solid: fields (h, w) over its box on the sheet.

    `along` runs 0..1 from head to tail, `across` -1..1, `edge` 0..1 outwards; `thick` is the share of `depth_mm`.
    """

    box: Box
    cover: FloatArray
    along: FloatArray
    across: FloatArray
    edge: FloatArray
    thick: FloatArray
    depth_mm: float


@dataclass(frozen=True)
class Stroke:
    """A limb, hair, vein or thread: points (n, 2) in mm, its width at start and end in mm, its share of opacity."""

    points_mm: FloatArray
    start_mm: float
    end_mm: float
    strength: float = 1.0


def reach_of(parts_mm: list[FloatArray]) -> float:
    """Return how far the farthest of all the points (n, 2) lies from the origin, in mm."""
    return float(np.hypot(*np.concatenate(parts_mm).T).max())


class Sheet:
    """The fine grid: what comes through so far, what is thrown back so far, and the cover of the body."""

    def __init__(self, reach_mm: float, below: bool, rng: np.random.Generator) -> None:
        """Make an empty sheet for a thing whose farthest point lies `reach_mm` from its origin."""
        self.fine = 4 if reach_mm < 2.0 else 3
        self.size_px = 2 * (math.ceil(reach_mm * PX_PER_MM) + MARGIN_PX) + 1
        self.side = self.size_px * self.fine
        self.scale = PX_PER_MM * self.fine
        self.centre = f32((self.side - 1) / 2 + rng.uniform(-0.5, 0.5, 2) * self.fine)
        self.turn = float(rng.uniform(0, 2 * np.pi))
        self.below = below
        self.lamp = float(rng.uniform(0.05, 0.5) if below else rng.uniform(0.7, 1.0))
        tilt, heading = rng.uniform(0.0, 0.9), rng.uniform(0, 2 * np.pi)
        self.light = f32([np.sin(tilt) * np.cos(heading), np.sin(tilt) * np.sin(heading), np.cos(tilt)])
        self.passing: FloatArray = np.ones((self.side, self.side, 3), np.float32)
        self.own: FloatArray = np.zeros((self.side, self.side, 3), np.float32)
        self.body: FloatArray = np.zeros((self.side, self.side), np.float32)

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """Turn points (n, 2) in mm into fine pixels (n, 2), x then y."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        turned = points_mm @ f32([[cos, sin], [-sin, cos]])
        return f32(turned * self.scale + self.centre)

    def box_of(self, points_px: FloatArray, spare_px: float) -> Box:
        """Return the part of the sheet that holds the points with so much to spare."""
        low = np.maximum(np.floor(points_px.min(axis=0) - spare_px), 0).astype(int)
        high = np.minimum(np.ceil(points_px.max(axis=0) + spare_px) + 1, self.side).astype(int)
        return slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))

    def chain(self, line_mm: FloatArray, left_mm: FloatArray, right_mm: FloatArray, flat: float) -> Form:
        """Return the form round a middle line (n, 2) whose half-widths to either side are given (n,) in mm."""
        line = self.to_px(line_mm)
        left, right = left_mm * self.scale, right_mm * self.scale
        box = self.box_of(line, float(max(left.max(), right.max())) + 4)
        low = f32([box[1].start, box[0].start])
        shape = (box[0].stop - box[0].start, box[1].stop - box[1].start)
        tangent = f32(np.gradient(line, axis=0))
        tangent /= np.maximum(np.hypot(tangent[:, 0], tangent[:, 1]), 1e-6)[:, None]
        step_px = float(np.hypot(*np.diff(line, axis=0).T).mean()) + 1e-6
        # The nearest sample of the line is found by a labelled distance transform: much cheaper than a search tree.
        where = np.rint(line - low).astype(int)
        field = np.ones(shape, np.uint8)
        field[where[:, 1], where[:, 0]] = 0
        labels = cv2.distanceTransformWithLabels(field, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)[1]
        index_of = np.zeros(int(labels.max()) + 1, np.int32)
        at = np.arange(len(line))
        index_of[labels[where[:, 1], where[:, 0]]] = at
        nearest = index_of[labels]
        rows, cols = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
        gap_x, gap_y = cols + low[0] - line[nearest, 0], rows + low[1] - line[nearest, 1]
        step_x, step_y = tangent[nearest, 0], tangent[nearest, 1]
        place = f32(nearest + (gap_x * step_x + gap_y * step_y) / step_px)
        side = f32(gap_y * step_x - gap_x * step_y)
        half = f32(np.where(side < 0, np.interp(place, at, left, 0, 0), np.interp(place, at, right, 0, 0)))
        across = f32(np.clip(side / np.maximum(half, 0.5), -1.5, 1.5))
        cover = f32(np.clip(half - np.abs(side) + 0.5, 0, 1) * (half > 0))
        widest = float(max((left + right).max() / 2, 1.0))
        dome = np.sqrt(np.clip(1 - across * across, 0, 1)) * np.minimum(half / widest, 1.2)
        thick = f32(dome ** (1 - flat))
        return Form(
            box,
            cover,
            f32(np.clip(place / at[-1], 0, 1)),
            across,
            f32(np.minimum(np.abs(across), 1)),
            thick,
            2 * widest / self.scale,
        )

    def blob(self, outlines_mm: list[FloatArray], flat: float) -> Form:
        """Return the form inside closed outlines (n, 2) in mm; an outline within another is a hole."""
        outlines = [self.to_px(outline) for outline in outlines_mm]
        box = self.box_of(np.concatenate(outlines), 4)
        low = f32([box[1].start, box[0].start])
        mask = np.zeros((box[0].stop - box[0].start, box[1].stop - box[1].start), np.uint8)
        cv2.fillPoly(
            mask, [np.rint((one - low) * 2**SHIFT).astype(np.int32) for one in outlines], 255, cv2.LINE_AA, SHIFT
        )
        far = f32(cv2.distanceTransform((mask > 127).astype(np.uint8), cv2.DIST_L2, 5))
        deepest = float(max(far.max(), 1.0))
        edge = f32(1 - far / deepest)
        rows, cols = np.mgrid[0 : mask.shape[0], 0 : mask.shape[1]].astype(np.float32)
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        middle = (np.concatenate(outlines) - low).mean(axis=0)
        along, across = (
            (cols - middle[0]) * cos + (rows - middle[1]) * sin,
            (rows - middle[1]) * cos - (cols - middle[0]) * sin,
        )
        span = [float(np.abs(one[mask > 127]).max()) + 1 if far.any() else 1.0 for one in (along, across)]
        thick = f32(np.sqrt(np.clip(1 - edge * edge, 0, 1)) ** (1 - flat))
        return Form(
            box,
            f32(mask / 255),
            f32(np.clip(along / span[0] / 2 + 0.5, 0, 1)),
            f32(across / span[1]),
            edge,
            thick,
            2 * deepest / self.scale,
        )

    def lay(self, box: Box, passing: FloatArray, own: FloatArray) -> None:
        """Lay something over what is there: what it lets through (h, w, 3) and what it throws back (h, w, 3)."""
        self.own[box] = own + self.own[box] * passing
        self.passing[box] *= passing

    def strokes(self, strokes: list[Stroke], colour: FloatArray, opacity: float, is_body: bool = False) -> None:
        """Lay limbs, hairs or threads of one colour (3,) and opacity 0..1 over what is there."""
        if not strokes:
            return
        widest = max(max(stroke.start_mm, stroke.end_mm) for stroke in strokes) * self.scale
        box = self.box_of(self.to_px(np.concatenate([stroke.points_mm for stroke in strokes])), widest + 3)
        mask = np.zeros((box[0].stop - box[0].start, box[1].stop - box[1].start), np.uint8)
        low = f32([box[1].start, box[0].start])
        for stroke in strokes:
            points = np.rint((self.to_px(stroke.points_mm) - low) * 2**SHIFT).astype(np.int32)
            widths = np.linspace(stroke.start_mm, stroke.end_mm, len(points) - 1) * self.scale
            for start, end, width in zip(points[:-1], points[1:], widths, strict=True):
                # A line thinner than one fine pixel is drawn one pixel wide and paler.
                value = 255 * stroke.strength * min(1.0, float(width))
                cv2.line(mask, start.tolist(), end.tolist(), value, max(1, round(width)), cv2.LINE_AA, SHIFT)
        cover = f32(mask / 255)
        if is_body:
            np.maximum(self.body[box], cover, out=self.body[box])
        dark = opacity * (0.35 + 0.65 * (1 - colour))
        passing = f32(1 - cover[..., None] * dark)
        shade = self.lamp * (0.55 + 0.3 * float(self.light[2]))
        self.lay(box, passing, f32(cover[..., None] * (colour * shade * opacity)))

    def measure(self) -> tuple[float, float]:
        """Return the length and width in mm of the tightest box, at any angle, round the body."""
        rows, cols = np.nonzero(self.body > 0.4)
        sides = cv2.minAreaRect(np.stack([cols, rows], axis=1).astype(np.float32))[1]
        return (max(sides) + 1) / self.scale, (min(sides) + 1) / self.scale

    def hand_over(self, length_mm: float, width_mm: float, curved: bool, blur_px: float) -> Lent:
        """Soften by `blur_px` picture pixels, reduce to the picture and return it."""
        layers = [self.passing, self.own, self.body]
        if blur_px > 0.1:
            layers[:2] = [f32(cv2.GaussianBlur(layer, (0, 0), blur_px * self.fine)) for layer in layers[:2]]
        size = (self.size_px, self.size_px)
        passing, own, body = (f32(cv2.resize(layer, size, interpolation=cv2.INTER_AREA)) for layer in layers)
        return Lent(
            np.clip(passing, 0, 1.2), np.clip(own, 0, 1), np.clip(body, 0, 1), float(length_mm), float(width_mm), curved
        )
