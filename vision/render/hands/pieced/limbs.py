"""Legs, feelers, tail tubes, feet, bristles and wings, as lines and areas beside a body. Proportions are from memory."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.pieced.animals import Animal, Feelers, Leg, Wing
from vision.render.hands.pieced.scene import Polyline, strokes
from vision.render.hands.pieced.spine import Spine
from vision.types import FloatArray


@dataclass(frozen=True)
class _Pen:
    """From millimetres round the body's mean point to fine pixels."""

    spine: Spine
    middle: NDArray[np.float64]
    per_mm: float

    def line(self, points_mm: list[NDArray[np.float64]], thick_mm: float) -> Polyline:
        return np.asarray(points_mm) * self.per_mm + self.middle, thick_mm * self.per_mm

    def stub(self, at: float, lateral: float, angle_rad: float, long_mm: float, thick_mm: float) -> Polyline:
        """A short straight line that leaves the body."""
        start = self.spine.at(at, lateral)
        return self.line([start, start + self.spine.way(at, angle_rad) * long_mm], thick_mm)


def limbs_of(
    animal: Animal,
    spine: Spine,
    middle: NDArray[np.float64],
    per_mm: float,
    shape: tuple[int, int],
    rng: np.random.Generator,
) -> FloatArray:
    """(h, w) float32 how far limbs hide what lies below, 0..1."""
    pen = _Pen(spine, middle, per_mm)
    thick, thin = _legs(animal, pen, rng)
    if animal.feelers is not None and rng.random() < 0.93:
        thin += _feelers(animal.feelers, pen, animal.limb_mm * 0.7, rng)
    if animal.kind in ("aphid", "skin"):
        thick += _tail_tubes(animal, pen, rng)
    elif animal.kind == "caterpillar":
        thick += _feet(animal, pen)
        thin += _bristles(pen, (0.03, 0.98), (1.0, 2.0), animal.width_mm * 0.25, 14, rng)
    elif animal.kind == "thrips":  # the fringe of folded wings
        thin += _bristles(pen, (0.5, 0.95), (2.0, 2.7), animal.width_mm * 0.4, 18, rng)
    cover = np.maximum(strokes(shape, thick), 0.85 * strokes(shape, thin)) * animal.limb_opacity
    for wing in animal.wings:
        cover = np.maximum(cover, _wing(wing, pen, shape))
    return np.asarray(cover, np.float32)


def _legs(animal: Animal, pen: _Pen, rng: np.random.Generator) -> tuple[list[Polyline], list[Polyline]]:
    thick, thin = [], []
    for leg in animal.legs:
        joints = _joints(leg, pen.spine, 0.5 if animal.from_side else 0.6, rng)
        thick.append(pen.line(joints[:3], animal.limb_mm))
        thin.append(pen.line(joints[1:], animal.limb_mm * 0.62))
    return thick, thin


def _joints(leg: Leg, spine: Spine, lateral: float, rng: np.random.Generator) -> list[NDArray[np.float64]]:
    """Hip, knee, ankle and the foot's end, in mm."""
    turns = (0.0, leg.knee_rad, leg.knee_rad * 0.4 + rng.normal(0, 0.2))
    longs = (leg.femur_mm, leg.tibia_mm, leg.tibia_mm * 0.25)
    points = [spine.at(leg.at, leg.side * lateral)]
    for turn, long in zip(turns, longs, strict=True):
        points.append(points[-1] + spine.way(leg.at, leg.side * (leg.angle_rad + turn)) * long)
    return points


def _feelers(feelers: Feelers, pen: _Pen, thick_mm: float, rng: np.random.Generator) -> list[Polyline]:
    lines, steps = [], 9
    for side in (1, -1):
        angle, turn = side * (feelers.angle_rad + rng.normal(0, 0.14)), side * feelers.turn_rad * rng.uniform(0.6, 1.2)
        points = [pen.spine.at(0.04, side * 0.5)]
        for k in range(steps):
            points.append(points[-1] + pen.spine.way(0.03, angle + turn * k / steps) * feelers.length_mm / steps)
        lines.append(pen.line(points, thick_mm))
    return lines


def _tail_tubes(animal: Animal, pen: _Pen, rng: np.random.Generator) -> list[Polyline]:
    tubes = []
    for side in (1, -1):
        angle, long = side * np.radians(180 - rng.uniform(15, 40)), animal.length_mm * rng.uniform(0.1, 0.2)
        tubes.append(pen.stub(0.8, side * 0.72, angle, long, animal.limb_mm * 1.3))
    return [*tubes, pen.stub(0.97, 0, np.pi, animal.length_mm * 0.07, animal.limb_mm * 1.8)]


def _feet(animal: Animal, pen: _Pen) -> list[Polyline]:
    """The fleshy feet of a caterpillar's hind half."""
    sides, long = ((-1,), 0.2) if animal.from_side else ((1, -1), 0.1)
    return [
        pen.stub(at, side * 0.8, side * np.pi / 2, animal.width_mm * long, animal.width_mm * 0.24)
        for at in (0.42, 0.49, 0.56, 0.63, 0.95)
        for side in sides
    ]


def _bristles(
    pen: _Pen,
    along: tuple[float, float],
    angles: tuple[float, float],
    long_mm: float,
    count: int,
    rng: np.random.Generator,
) -> list[Polyline]:
    hairs = []
    for _ in range(count):
        side = 1 if rng.random() < 0.5 else -1
        hairs.append(pen.stub(rng.uniform(*along), side * 0.9, side * rng.uniform(*angles), long_mm, 0))
    return hairs


def _wing(wing: Wing, pen: _Pen, shape: tuple[int, int]) -> FloatArray:
    """(h, w) cover of a clear wing with its rim and veins."""
    root, way = pen.spine.at(0.27, wing.side * 0.5), pen.spine.way(0.27, wing.side * wing.angle_rad)
    beside = np.array([-way[1], way[0]]) * wing.width_mm
    x, y = np.round((root + way * wing.length_mm * 0.52) * pen.per_mm + pen.middle).astype(int).tolist()
    axes = int(wing.length_mm * pen.per_mm / 2), int(wing.width_mm * pen.per_mm / 2)
    drawn = np.zeros(shape, np.uint8)
    cv2.ellipse(drawn, (x, y), axes, float(np.degrees(np.arctan2(way[1], way[0]))), 0, 360, 255, -1, cv2.LINE_AA)
    area = drawn.astype(np.float32) / 255
    rim = np.clip(area - cv2.erode(area, np.ones((3, 3))), 0, 1)
    veins = [
        (np.array([root, root + way * wing.length_mm * 0.5 + beside * 0.45 * q, root + way * wing.length_mm * 0.95 + beside * 0.5 * q])
         * pen.per_mm + pen.middle, 1.5)
        for q in (-0.6, -0.2, 0.25, 0.6)
    ]  # fmt: skip
    return np.asarray(area * (0.22 + 0.4 * np.maximum(strokes(shape, veins), rim)), np.float32)
