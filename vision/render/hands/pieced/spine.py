"""A body's middle line and width along it, and for every pixel of a picture where on that body it lies."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.spatial import cKDTree

from vision.render.hands.pieced.animals import Animal
from vision.types import FloatArray

_STEPS = 200
_SEGMENTS = 13
_PROFILES: dict[str, tuple[list[float], list[float]]] = {
    "aphid": (
        [0, 0.03, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.97, 1],
        [0, 0.2, 0.36, 0.44, 0.62, 0.88, 1, 0.86, 0.62, 0.34, 0.1],
    ),
    "thrips": (
        [0, 0.02, 0.06, 0.12, 0.16, 0.2, 0.28, 0.4, 0.5, 0.65, 0.8, 0.92, 0.98, 1],
        [0, 0.35, 0.52, 0.54, 0.46, 0.64, 0.78, 0.92, 0.95, 1, 0.82, 0.45, 0.18, 0.03],
    ),
    "larva": ([0, 0.03, 0.1, 0.2, 0.4, 0.6, 0.8, 0.93, 1], [0, 0.32, 0.5, 0.66, 0.95, 1, 0.66, 0.34, 0.1]),
    "caterpillar": (
        [0, 0.012, 0.04, 0.08, 0.15, 0.3, 0.7, 0.86, 0.94, 0.98, 1],
        [0, 0.5, 0.76, 0.84, 0.93, 1, 1, 0.84, 0.6, 0.38, 0.15],
    ),
    "mite": ([0, 0.05, 0.15, 0.35, 0.6, 0.85, 0.96, 1], [0, 0.32, 0.62, 0.92, 1, 0.76, 0.42, 0.03]),
    "gnat": (
        [0, 0.02, 0.08, 0.13, 0.17, 0.25, 0.35, 0.45, 0.55, 0.75, 0.92, 1],
        [0, 0.45, 0.6, 0.3, 0.42, 0.95, 1, 0.6, 0.6, 0.62, 0.36, 0.03],
    ),
    "egg": ([0, 0.03, 0.1, 0.25, 0.5, 0.75, 0.9, 0.97, 1], [0, 0.35, 0.6, 0.87, 1, 0.87, 0.6, 0.35, 0.02]),
}
"""Shares of the length from the head, and shares of the width there: from memory."""


@dataclass(frozen=True)
class Across:
    """Where each pixel (h, w) lies on a body: `along` 0 head .. 1 tail; `out` 0 middle line .. 1 rim, more outside; `side` 1 or -1;
    (`nx`, `ny`) from the middle line outwards in half widths."""

    along: FloatArray
    out: FloatArray
    side: FloatArray
    nx: FloatArray
    ny: FloatArray

    @property
    def lateral(self) -> FloatArray:
        """-1 .. 1 from rim to rim."""
        return self.out * self.side


@dataclass(frozen=True)
class Spine:
    """Points (n, 2) in mm from head to tail round their mean, unit vectors along and across, and half the width (n,) in mm."""

    points_mm: NDArray[np.float64]
    tangents: NDArray[np.float64]
    normals: NDArray[np.float64]
    half_mm: NDArray[np.float64]

    def at(self, along: float, lateral: float) -> NDArray[np.float64]:
        """Point in mm at a share of the length, so many half widths to the side."""
        i = int(np.clip(along, 0, 1) * (_STEPS - 1))
        return np.asarray(self.points_mm[i] + self.normals[i] * self.half_mm[i] * lateral)

    def way(self, along: float, angle_rad: float) -> NDArray[np.float64]:
        """Unit vector there: 0 to the head, a quarter turn to the side 1."""
        i = int(np.clip(along, 0, 1) * (_STEPS - 1))
        return np.asarray(-self.tangents[i] * np.cos(angle_rad) + self.normals[i] * np.sin(angle_rad))

    def across(
        self, shape: tuple[int, int], middle: NDArray[np.float64], per_mm: float, flanks: tuple[float, float]
    ) -> Across:
        """Where pixels lie on the body, at so many pixels a millimetre, with its mean point at `middle`."""
        points = self.points_mm * per_mm + middle
        near = np.zeros(shape, np.uint8)
        reach = 2.5 * float(self.half_mm.max()) * per_mm + 6
        cv2.polylines(near, [np.round(points).astype(np.int32)], False, 1, int(reach))
        rows, columns = np.nonzero(near)
        pixels = np.stack([columns, rows], axis=1).astype(np.float64)
        distance, i = cKDTree(points).query(pixels)
        offset = pixels - points[i]
        signed = (offset * self.normals[i]).sum(axis=1)
        half = self.half_mm[i] * per_mm * np.where(signed > 0, *flanks)

        def plane(values: NDArray[np.float64], outside: float) -> FloatArray:
            whole = np.full(shape, outside, np.float32)
            whole[rows, columns] = values
            return whole

        return Across(
            plane(i / (_STEPS - 1), 0), plane(distance / half, 9), plane(np.sign(signed), 1),
            plane(offset[:, 0] / half, 0), plane(offset[:, 1] / half, 0),
        )  # fmt: skip


def spine_of(animal: Animal, rng: np.random.Generator) -> Spine:
    """The animal's spine, its width a little uneven."""
    t = np.linspace(0, 1, _STEPS)
    turn = np.cumsum(animal.bend_rad + animal.second_bend_rad * np.cos(np.pi * t) * np.pi / 2) / _STEPS
    angle = animal.heading_rad + np.pi + turn - turn.mean()
    tangents = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    points = np.cumsum(tangents, axis=0) * animal.length_mm / _STEPS
    profile = _PROFILES["aphid" if animal.kind == "skin" else animal.kind]
    half = np.maximum(PchipInterpolator(*profile)(t), 0.01)
    half = half * (1 + 0.03 * np.sin(2 * np.pi * (t * rng.uniform(1, 3) + rng.random())))
    if animal.kind == "caterpillar":
        half = half * (1 + 0.045 * np.cos(2 * np.pi * _SEGMENTS * t))
    half = half / half.max() * animal.width_mm / 2
    normals = np.stack([-np.sin(angle), np.cos(angle)], axis=1)
    return Spine(points - points.mean(axis=0), tangents, normals, half)
