"""Front and back surfaces of blended solids over a fine grid, all in millimetres of view space (z towards the eye)."""

from dataclasses import dataclass

import numpy as np

from vision.render.hands.rounded.matter import Blobs, Facets, Limb, Points
from vision.types import FloatArray

_FAR = -50.0


@dataclass(frozen=True)
class Grid:
    """Fine picture grid: x of columns (w,), y of rows (h,), and the size of a fine pixel, all in mm."""

    x_mm: FloatArray
    y_mm: FloatArray
    step_mm: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return len(self.y_mm), len(self.x_mm)

    def cut(self, window: tuple[slice, slice]) -> "Grid":
        """The part of the grid inside a window."""
        return Grid(self.x_mm[window[1]], self.y_mm[window[0]], self.step_mm)

    def window(self, low: Points, high: Points) -> tuple[slice, slice]:
        """Rows and columns that hold the box from `low` to `high` (x, y)."""

        def cut(axis: FloatArray, first: float, last: float) -> slice:
            start = int(np.clip((first - axis[0]) / self.step_mm, 0, len(axis)))
            stop = int(np.clip((last - axis[0]) / self.step_mm + 2, 0, len(axis)))
            return slice(start, max(stop, start))

        return cut(self.y_mm, low[1], high[1]), cut(self.x_mm, low[0], high[0])


@dataclass(frozen=True)
class Surface:
    """Arrays (h, w): cover 0..1, front and back z, normal (h, w, 3) of the front, and body coordinates.

    `seat` and `seat_back` are (h, w, 3): share along the body, sideways and upward place in half widths.
    """

    cover: FloatArray
    front: FloatArray
    back: FloatArray
    normal: FloatArray
    seat: FloatArray
    seat_back: FloatArray
    dark: FloatArray


@dataclass(frozen=True)
class _Pad:
    """One ellipsoid over its window: q = curve * (z - mid)^2 + base."""

    window: tuple[slice, slice]
    curve: float
    mid: FloatArray
    base: FloatArray
    index: int


def _pads(blobs: Blobs, grid: Grid, blend: float) -> list[_Pad]:
    pads = []
    reach = float(np.sqrt(1.0 + 3.5 / blend))
    for index in range(len(blobs.along)):
        axes, radii, centre = blobs.frame[index], blobs.radii[index], blobs.centre[index]
        half = np.sqrt(((axes * radii[:, None]) ** 2).sum(0)) * reach
        window = grid.window(centre - half, centre + half)
        form = (axes.T / radii**2) @ axes
        dx = (grid.x_mm[window[1]] - np.float32(centre[0]))[None, :]
        dy = (grid.y_mm[window[0]] - np.float32(centre[1]))[:, None]
        curve = float(form[2, 2])
        lean = np.float32(form[0, 2]) * dx + np.float32(form[1, 2]) * dy
        flat = (
            np.float32(form[0, 0]) * dx * dx + np.float32(form[1, 1]) * dy * dy + np.float32(2 * form[0, 1]) * dx * dy
        )
        mid = (np.float32(centre[2]) - lean / np.float32(curve)).astype(np.float32)
        pads.append(_Pad(window, curve, mid, (flat - lean * lean / np.float32(curve)).astype(np.float32), index))
    return pads


def _weight(pad: _Pad, z: FloatArray, blend: float) -> FloatArray:
    gap = z[pad.window] - pad.mid
    return np.exp(np.clip(blend * (1.0 - pad.curve * gap * gap - pad.base), -30.0, 30.0)).astype(np.float32)


def _settle(pads: list[_Pad], z: FloatArray, floor: FloatArray, blend: float, sign: float) -> FloatArray:
    """Newton steps of the surface height outward from a first guess, held beyond the solid's middle."""
    for _ in range(2):
        total, slope = np.full_like(z, 1e-12), np.full_like(z, 1e-12)
        for pad in pads:
            weight = _weight(pad, z, blend)
            total[pad.window] += weight
            slope[pad.window] += weight * (2.0 * blend * pad.curve) * (z[pad.window] - pad.mid) * sign
        gain = np.log(total) * total / np.maximum(slope, 0.3 * total)
        limit = np.abs(z - floor) * 0.35 + 0.005
        z = z + sign * np.clip(gain, -limit, limit)
        z = np.maximum(z, floor) if sign > 0 else np.minimum(z, floor)
    return z


def _places(pads: list[_Pad], blobs: Blobs, grid: Grid, z: FloatArray, blend: float) -> tuple[FloatArray, FloatArray]:
    """Body coordinates (h, w, 4: along, left, up, dark) and outward gradient (h, w, 3) at height z."""
    shape = grid.shape
    seat, slope = np.zeros((*shape, 4), np.float32), np.zeros((*shape, 3), np.float32)
    total = np.full(shape, 1e-9, np.float32)
    for pad in pads:
        weight = _weight(pad, z, blend)
        window, index = pad.window, pad.index
        axes = (blobs.frame[index] / blobs.radii[index][:, None]).astype(np.float32)
        centre = blobs.centre[index].astype(np.float32)
        dx, dy = (grid.x_mm[window[1]] - centre[0])[None, :], (grid.y_mm[window[0]] - centre[1])[:, None]
        dz = z[window] - centre[2]
        own = [axes[row, 0] * dx + axes[row, 1] * dy + axes[row, 2] * dz for row in range(3)]
        total[window] += weight
        seat[window][..., 0] += weight * (np.float32(blobs.along[index]) + own[0] * np.float32(0.5 / len(pads)))
        seat[window][..., 1] += weight * own[1]
        seat[window][..., 2] += weight * own[2]
        seat[window][..., 3] += weight * np.float32(blobs.dark[index])
        for axis in range(3):
            slope[window][..., axis] += weight * (
                own[0] * axes[0, axis] + own[1] * axes[1, axis] + own[2] * axes[2, axis]
            )
    return seat / total[..., None], slope


def solve(blobs: Blobs, grid: Grid, blend: float, both: bool = False) -> Surface:
    """Surfaces of the smooth union of ellipsoids; `both` also finds body coordinates of the back."""
    pads = _pads(blobs, grid, blend)
    total, mid, curve = (np.full(grid.shape, 1e-12, np.float32) for _ in range(3))
    for pad in pads:
        weight = np.exp(np.clip(blend * (1.0 - pad.base), -30.0, 30.0)).astype(np.float32)
        total[pad.window] += weight
        mid[pad.window] += weight * pad.mid
        curve[pad.window] += weight * np.float32(pad.curve)
    mid, curve = mid / total, curve / total
    field = np.full_like(mid, 1e-12)
    for pad in pads:
        field[pad.window] += _weight(pad, mid, blend)
    level = np.maximum(np.log(field), -4.0)
    down, across = np.gradient(level)
    cover = np.clip(0.5 + level / np.maximum(np.hypot(down, across), 0.02), 0.0, 1.0).astype(np.float32)
    cover[level < -3.0] = 0.0
    half = np.sqrt(np.maximum(level, 0.0) / (blend * np.maximum(curve, 1e-3))).astype(np.float32)
    front = _settle(pads, mid + half, mid, blend, 1.0)
    back = _settle(pads, mid - half, mid, blend, -1.0)
    seat, slope = _places(pads, blobs, grid, front, blend)
    normal = slope / np.maximum(np.linalg.norm(slope, axis=2, keepdims=True), 1e-9)
    rear = _places(pads, blobs, grid, back, blend)[0] if both else seat
    return Surface(cover, front, back, normal.astype(np.float32), seat[..., :3], rear[..., :3], seat[..., 3])


def stone(facets: Facets, grid: Grid) -> Surface:
    """Surfaces of a convex stone from its planes."""
    x, y = grid.x_mm[None, :], grid.y_mm[:, None]
    front, back = np.full(grid.shape, 50.0, np.float32), np.full(grid.shape, -50.0, np.float32)
    normal = np.zeros((*grid.shape, 3), np.float32)
    for way, far in zip(facets.normals, facets.distance_mm, strict=True):
        tilt = np.sign(way[2]) * max(abs(way[2]), 0.08)
        height = ((far - way[0] * x - way[1] * y) / tilt).astype(np.float32)
        if tilt > 0:
            lower = height < front
            front = np.where(lower, height, front)
            normal[lower] = way
        else:
            back = np.maximum(back, height)
    thick = front - back
    down, across = np.gradient(thick)
    cover = np.clip(0.5 + thick / np.maximum(np.hypot(down, across), 1e-3), 0.0, 1.0).astype(np.float32)
    back = np.minimum(back, front)
    radius = float(np.mean(facets.distance_mm))
    seat = np.stack([0.5 + 0 * front, (x + 0 * front) / radius, (y + 0 * front) / radius], 2).astype(np.float32)
    return Surface(cover, front, back, normal, seat, seat, np.ones_like(front))


def rod(limb: Limb, grid: Grid) -> Surface:
    """Surfaces of a chain of tapering capsules."""
    shape = grid.shape
    cover, half = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    middle, normal = np.full(shape, _FAR, np.float32), np.zeros((*shape, 3), np.float32)
    normal[..., 2] = 1.0
    pixel = grid.step_mm
    for index in range(len(limb.points) - 1):
        a, b = limb.points[index], limb.points[index + 1]
        ra, rb = float(limb.radii_mm[index]), float(limb.radii_mm[index + 1])
        pad = max(ra, rb) + 2 * pixel
        window = grid.window(np.minimum(a, b) - pad, np.maximum(a, b) + pad)
        dx, dy = (grid.x_mm[window[1]] - np.float32(a[0]))[None, :], (grid.y_mm[window[0]] - np.float32(a[1]))[:, None]
        ab = b - a
        square = max(float(ab[0] ** 2 + ab[1] ** 2), 1e-9)
        part = np.clip((dx * np.float32(ab[0]) + dy * np.float32(ab[1])) / np.float32(square), 0.0, 1.0)
        offx, offy = dx - part * np.float32(ab[0]), dy - part * np.float32(ab[1])
        far = np.sqrt(offx * offx + offy * offy)
        radius = ra + part * np.float32(rb - ra)
        edge = np.clip((radius - far) / pixel + 0.5, 0.0, 1.0) * np.minimum(1.0, 2 * radius / pixel)
        better = edge > cover[window]
        cover[window] = np.where(better, edge, cover[window])
        chord = np.sqrt(np.maximum(radius * radius - far * far, (0.4 * radius) ** 2))
        half[window] = np.where(better, chord, half[window])
        middle[window] = np.where(better, np.float32(a[2]) + part * np.float32(ab[2]), middle[window])
        for axis, off in ((0, offx), (1, offy)):
            normal[window][..., axis] = np.where(better, off / np.maximum(radius, 1e-4), normal[window][..., axis])
    flat = np.clip(normal[..., 0] ** 2 + normal[..., 1] ** 2, 0.0, 0.96)
    normal[..., 2] = np.sqrt(1.0 - flat)
    seat = np.zeros((*shape, 3), np.float32)
    return Surface(cover, middle + half, middle - half, normal, seat, seat, np.ones(shape, np.float32))
