"""Shapes in space (millimetres; x right, y down, z towards the eye) and their depth maps on the fine grid."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray

Doubles = NDArray[np.float64]
Box = tuple[slice, slice]


@dataclass(frozen=True)
class Lattice:
    """Fine square grid: `side_px` samples a side, `per_mm` samples a millimetre, shifted by `shift_px` (x, y)."""

    side_px: int
    per_mm: float
    shift_px: tuple[float, float]

    def to_px(self, points_mm: Doubles) -> Doubles:
        """(..., 2 or more) millimetres to (..., 2) fine samples (x, y)."""
        return np.asarray(points_mm[..., :2] * self.per_mm + (self.side_px - 1) / 2 + np.asarray(self.shift_px))

    def crop(self, low_mm: Doubles, high_mm: Doubles) -> tuple[Box, FloatArray, FloatArray]:
        """The box holding two (2,) corners in mm, with its x (1, w) and y (h, 1) in mm."""
        low = np.clip(np.floor(self.to_px(low_mm)).astype(int) - 2, 0, self.side_px - 4)
        high = np.clip(np.ceil(self.to_px(high_mm)).astype(int) + 3, low + 3, self.side_px)
        centre = (self.side_px - 1) / 2
        x_mm = (np.arange(low[0], high[0]) - centre - self.shift_px[0]) / self.per_mm
        y_mm = (np.arange(low[1], high[1]) - centre - self.shift_px[1]) / self.per_mm
        box = (slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0])))
        return box, x_mm[None, :].astype(np.float32), y_mm[:, None].astype(np.float32)


@dataclass(frozen=True)
class Field:
    """What the eye meets in a box: mask (h, w); half thickness in mm (h, w); and for the n pixels of the mask
    the unit normals (n, 3), the place along the thing 0..1 (n,) and the angle round it in radians (n,), 0 on its back.
    """

    box: Box
    mask: NDArray[np.bool_]
    half_mm: FloatArray
    normal: FloatArray
    along: FloatArray
    angle: FloatArray


@dataclass(frozen=True)
class Solid:
    """Ellipsoids: centres (n, 3) mm, frames (n, 3, 3) with unit axes as rows, radii (n, 3) mm, place along (n,)."""

    centres: Doubles
    frames: Doubles
    radii: Doubles
    along: Doubles
    blend_mm2: float = 0.0

    def reach(self) -> Doubles:
        """(n, 2) half extents in mm in the picture."""
        return np.asarray(np.sqrt(np.einsum("nkx,nk,nkx->nx", self.frames, self.radii**2, self.frames))[:, :2])

    def bounds(self) -> tuple[Doubles, Doubles]:
        """Lower and upper corner (2,) in mm."""
        reach = self.reach()
        return (self.centres[:, :2] - reach).min(axis=0), (self.centres[:, :2] + reach).max(axis=0)

    def field(self, lattice: Lattice) -> Field:
        """The union's depth map: for every ellipsoid the squared half thickness is a quadratic in x and y."""
        box, x_mm, y_mm = lattice.crop(*self.bounds())
        form = np.einsum("nki,nk,nkj->nij", self.frames, 1 / self.radii**2, self.frames)
        zz = form[:, 2, 2]
        tilt = form[:, 2, :2] / zz[:, None]
        flat = tilt[:, :, None] * tilt[:, None, :] - form[:, :2, :2] / zz[:, None, None]
        shape = (y_mm.shape[0], x_mm.shape[1])
        square = np.full(shape, -1e3, np.float32)
        pick = np.zeros(shape, np.int32)
        margin = self.reach() * (1.25 if self.blend_mm2 else 1.0) + 1 / lattice.per_mm
        at = lattice.to_px(self.centres) - (box[1].start, box[0].start)
        low = np.clip(np.floor(at - margin * lattice.per_mm).astype(int), 0, None)
        high = np.ceil(at + margin * lattice.per_mm).astype(int) + 1
        for i in range(len(self.centres)):
            here = (slice(low[i, 1], high[i, 1]), slice(low[i, 0], high[i, 0]))
            dx = x_mm[:, here[1]] - np.float32(self.centres[i, 0])
            dy = y_mm[here[0]] - np.float32(self.centres[i, 1])
            f = flat[i].astype(np.float32)
            new = np.float32(1 / zz[i]) + f[0, 0] * dx * dx + f[1, 1] * dy * dy + (2 * f[0, 1] * dy) * dx
            old = square[here]
            pick[here][new > old] = i
            top = np.maximum(old, new)
            if self.blend_mm2:
                near = np.maximum(1 - np.abs(old - new) / np.float32(self.blend_mm2), 0)
                top = top + near * near * np.float32(self.blend_mm2 / 4)
            square[here] = top
        mask = square > 0
        half = np.sqrt(np.maximum(square, 0))
        which = pick[mask]
        rows, cols = np.nonzero(mask)
        rel = np.empty((len(which), 3), np.float32)
        rel[:, 0] = x_mm[0, cols] - self.centres[which, 0]
        rel[:, 1] = y_mm[rows, 0] - self.centres[which, 1]
        rel[:, 2] = half[mask] - (rel[:, :2] * tilt.astype(np.float32)[which]).sum(axis=1)
        inside = np.einsum("nij,nj->ni", self.frames.astype(np.float32)[which], rel)
        radii = self.radii.astype(np.float32)[which]
        push = np.einsum("nji,nj->ni", self.frames.astype(np.float32)[which], inside / radii**2)
        push /= np.maximum(np.linalg.norm(push, axis=1, keepdims=True), 1e-9)
        inside /= radii
        angle = np.arctan2(inside[:, 1], inside[:, 2]).astype(np.float32)
        return Field(box, mask, half, push, self.along.astype(np.float32)[which], angle)


@dataclass(frozen=True)
class Facets:
    """A broken piece: the least of m planes, `planes` (m, 3) = height at the middle and slopes in x and y; mm."""

    planes: Doubles
    reach_mm: float

    def bounds(self) -> tuple[Doubles, Doubles]:
        """Lower and upper corner (2,) in mm."""
        return np.full(2, -self.reach_mm), np.full(2, self.reach_mm)

    def field(self, lattice: Lattice) -> Field:
        """Its depth map, one normal to each face."""
        box, x_mm, y_mm = lattice.crop(*self.bounds())
        half = np.full((y_mm.shape[0], x_mm.shape[1]), 1e3, np.float32)
        pick = np.zeros(half.shape, np.int32)
        for i, (height, slope_x, slope_y) in enumerate(self.planes.astype(np.float32)):
            new = height - slope_x * x_mm - slope_y * y_mm
            pick[new < half] = i
            np.minimum(half, new, out=half)
        mask = half > 0
        normals = np.concatenate([self.planes[:, 1:], np.ones((len(self.planes), 1))], axis=1)
        normals /= np.linalg.norm(normals, axis=1, keepdims=True)
        along = np.broadcast_to((x_mm / self.reach_mm + 1) / 2, half.shape)[mask].astype(np.float32)
        angle = np.broadcast_to(y_mm / self.reach_mm * 3, half.shape)[mask].astype(np.float32)
        return Field(box, mask, np.maximum(half, 0), normals.astype(np.float32)[pick[mask]], along, angle)


def turn(axis: int, angle: float) -> Doubles:
    """(3, 3) rotation by `angle` radians about x, y or z."""
    vector = np.zeros(3)
    vector[axis] = angle
    return np.asarray(cv2.Rodrigues(vector)[0], np.float64)


@dataclass(frozen=True)
class Spine:
    """A curve through a body: centres (n, 3) mm, frames (n, 3, 3) rows = tailwards, sideways, back; radius (n,) mm."""

    centres: Doubles
    frames: Doubles
    radius: Doubles
    along: Doubles

    def solid(
        self,
        wide: float = 1.0,
        tall: float = 1.0,
        sideways: float = 0.0,
        up: float = 0.0,
        span: tuple[float, float] = (0.0, 1.0),
        blend_mm2: float = 0.0,
    ) -> Solid:
        """Its flesh, or something inside it: scaled, moved by shares of the radius, and only between two places."""
        keep = (self.along >= span[0]) & (self.along <= span[1])
        radius, frames = self.radius[keep], self.frames[keep]
        step = np.linalg.norm(self.centres[1] - self.centres[0])
        moved = self.centres[keep] + radius[:, None] * (sideways * frames[:, 1] + up * frames[:, 2])
        sizes = np.stack(
            [np.maximum(0.55 * radius * min(wide, tall), step * 1.4), radius * wide, radius * tall], axis=1
        )
        return Solid(moved, frames, np.maximum(sizes, 0.003), self.along[keep], blend_mm2)

    def at(self, place: float) -> int:
        """Index of the point nearest a place 0..1."""
        return int(np.clip(round(place * (len(self.along) - 1)), 0, len(self.along) - 1))


def make_spine(length_mm: float, radius_mm: Doubles, bend: tuple[float, float], plane: float, pose: Doubles) -> Spine:
    """A bent spine with n = len(radius_mm) points.

    bend: whole turn in radians, even part (C) and odd part (S); plane: angle in which it bends, 0 sideways, pi/2
    up and down; pose: (3, 3) turn laid over it all.
    """
    count = len(radius_mm)
    along = np.linspace(0, 1, count)
    theta = bend[0] * (along - 0.5) + bend[1] * np.sin(2 * np.pi * along) / 2
    axis = np.array([0.0, -np.sin(plane), np.cos(plane)])
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    spun = (
        np.eye(3) * np.cos(theta)[:, None, None]
        + cross * np.sin(theta)[:, None, None]
        + np.outer(axis, axis) * (1 - np.cos(theta))[:, None, None]
    )
    frames = np.einsum("ij,njk->nki", pose, spun)
    centres = np.cumsum(frames[:, 0], axis=0) * length_mm / (count - 1)
    return Spine(centres - (centres.min(axis=0) + centres.max(axis=0)) / 2, frames, radius_mm, along)


def blob(centre: Doubles, radii: tuple[float, float, float], pose: Doubles | None = None) -> Solid:
    """One ellipsoid at (3,) mm with its axes turned by pose (3, 3)."""
    frame = np.eye(3) if pose is None else pose.T
    return Solid(
        np.asarray(centre, np.float64)[None], frame[None], np.asarray(radii, np.float64)[None], np.full(1, 0.5)
    )


def join(solids: list[Solid], blend_mm2: float = 0.0) -> Solid:
    """Several solids as one, smoothly blended."""
    return Solid(
        np.concatenate([s.centres for s in solids]),
        np.concatenate([s.frames for s in solids]),
        np.concatenate([s.radii for s in solids]),
        np.concatenate([s.along for s in solids]),
        blend_mm2,
    )
