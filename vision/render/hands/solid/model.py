"""A body built up of spheres, ellipsoids and tapered rods on a fine canvas in millimetres.

Light from below is dimmed by the thickness it passes (Bouguer-Lambert-Beer); light from above falls on the body's height field
(Lambert) and shines back in a gloss (Blinn 1977).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.solid.draws import BETWEEN, LAMP, Rng, blurred, offsets, slopes, smooth_noise
from vision.render.hands.solid.lines import Place, Points, unit
from vision.render.hands.solid.matter import Matter
from vision.render.hands.solid.stamps import Stamp
from vision.types import FloatArray

_THINNEST_PX = 0.8
"""Rods are drawn no thinner than this many fine pixels in radius, and thinner matter instead."""


@dataclass(frozen=True)
class Model:
    """The canvas: square arrays of `side` fine pixels, `fine` of them a picture pixel, which the methods write into."""

    depth: FloatArray
    """(n, n, 3) optical thickness."""
    cover: FloatArray
    albedo: FloatArray
    height_mm: FloatArray
    body: FloatArray
    radius_px: int
    fine: int
    turn: NDArray[np.float64]
    offset: NDArray[np.float64]
    hiding: float
    strength: float

    @property
    def side(self) -> int:
        """Fine pixels along a side."""
        return int(self.depth.shape[0])

    @property
    def fine_per_mm(self) -> float:
        """Fine pixels a millimetre."""
        return PX_PER_MM * self.fine

    def grid_mm(self) -> tuple[FloatArray, FloatArray]:
        """(n, n) x and y of the fine pixels, in the canvas's own unturned frame."""
        line = (np.arange(self.side, dtype=np.float32) - (self.side - 1) / 2) / self.fine_per_mm
        x, y = np.meshgrid(line, line)
        return np.asarray(x, np.float32), np.asarray(y, np.float32)

    def grain(self, rng: Rng, deep: float, scale_mm: float, octaves: int = 2) -> FloatArray:
        """(n, n) factors about 1: uneven thickness of grain `scale_mm`."""
        uneven = 1 + deep * smooth_noise(rng, (self.side, self.side), self.fine_per_mm * scale_mm, octaves)
        return np.asarray(np.clip(uneven, 0.3, 2), np.float32)

    def fine_px(self, points_mm: Any) -> NDArray[Any]:
        """(n, 2) places on the canvas."""
        return np.asarray(np.atleast_2d(points_mm) @ self.turn.T * self.fine_per_mm + (self.side - 1) / 2 + self.offset)

    def _box(self, low: NDArray[Any], high: NDArray[Any]) -> tuple[slice, slice] | None:
        left, top = (max(0, int(np.floor(v))) for v in low)
        right, bottom = (min(self.side, int(np.ceil(v)) + 1) for v in high)
        return (slice(top, bottom), slice(left, right)) if right > left and bottom > top else None

    def add(
        self,
        box: tuple[slice, slice],
        thick_mm: FloatArray,
        of: Matter,
        rim: FloatArray | None = None,
        raised_mm: float = 0.0,
        top_mm: FloatArray | None = None,
        body: bool = False,
        texture: FloatArray | None = None,
    ) -> None:
        """Lays matter `thick_mm` (of the box's shape) over what is there; `of` may hold (h, w, 3) per pixel."""
        amount = thick_mm if texture is None else thick_mm * texture[box]
        amount = amount * np.float32(self.strength)
        turbid = amount * np.float32(of.scattered_per_mm)
        self.depth[box] += amount[..., None] * np.asarray(of.swallowed_per_mm, np.float32) + (0.35 * turbid)[..., None]
        if rim is not None:
            self.depth[box] += rim[..., None]
        cover = (1 - np.exp(-turbid * np.float32(self.hiding * 2.2)))[..., None]
        self.albedo[box] = self.albedo[box] * (1 - cover) + cover * np.asarray(of.albedo, np.float32)
        self.cover[box] = 1 - (1 - self.cover[box]) * (1 - cover[..., 0])
        top = thick_mm * 0.5 if top_mm is None else top_mm
        self.height_mm[box] = np.maximum(self.height_mm[box], np.where(thick_mm > 0, top + raised_mm, 0))
        if body:
            self.body[box] = np.maximum(self.body[box], thick_mm > 0)

    def sweep(
        self,
        points: Points,
        radii_mm: NDArray[Any],
        of: Matter,
        flat: float = 1.0,
        rim: float = 0.0,
        raised_mm: float = 0.0,
        body: bool = False,
        texture: FloatArray | None = None,
    ) -> None:
        """The union of spheres along a line, squeezed to `flat` of their height; matter may change from point to point."""
        run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        count = int(np.clip(run[-1] / max(1e-6, 0.14 * radii_mm.mean()), len(points), 260))
        at = np.linspace(0, run[-1], count)
        places = self.fine_px(np.stack([np.interp(at, run, points[:, i]) for i in (0, 1)], 1))
        radii = np.maximum(np.interp(at, run, radii_mm) * self.fine_per_mm, 0.6)
        reach = radii.max() + 2
        box = self._box(places.min(axis=0) - reach, places.max(axis=0) + reach)
        if box is None:
            return
        high2, which, outward = _spheres(places, radii, box)
        high_mm = np.sqrt(high2) / np.float32(self.fine_per_mm)
        edge = np.asarray(np.where(high2 > 0, np.float32(rim) * outward**5, 0), np.float32) if rim else None
        there = Matter(
            _along(of.swallowed_per_mm, at, run)[which], _along(of.albedo, at, run)[which], of.scattered_per_mm
        )
        squeezed = np.asarray(high_mm * np.float32(flat), np.float32)
        self.add(box, 2 * squeezed, there, edge, raised_mm, squeezed, body, texture)

    def limb(self, points: Any, from_mm: float, to_mm: float, of: Matter, raised_mm: float = 0.0) -> None:
        """Tapered rods from point to point (legs, feelers, hairs); radii in mm."""
        if self.hiding > 1:
            # Seen from above a leg is a dark line that hides what is behind it.
            of = of.made(albedo=0.75, scattered=of.scattered_per_mm * 3.5)
        places = self.fine_px(points)
        radii = np.linspace(from_mm, to_mm, len(places)) * self.fine_per_mm
        for start, end, here, there in zip(places, places[1:], radii, radii[1:], strict=False):
            reach = max(here, there, _THINNEST_PX)
            box = self._box(np.minimum(start, end) - reach, np.maximum(start, end) + reach)
            if box is None:
                continue
            x, y = offsets(start[0], start[1], box)
            way = end - start
            share = np.clip((x * way[0] + y * way[1]) / max(1e-6, float(way @ way)), 0, 1)
            off2 = (x - share * way[0]) ** 2 + (y - share * way[1]) ** 2
            radius = here + (there - here) * share
            drawn = np.maximum(radius, _THINNEST_PX)
            high = np.sqrt(np.maximum(drawn * drawn - off2, 0)) / self.fine_per_mm * (radius / drawn) ** 2
            self.add(box, np.asarray(2 * high, np.float32), of, raised_mm=raised_mm)

    def ellipsoid(
        self,
        centre: Place,
        half_mm: tuple[float, float, float],
        angle_rad: float,
        of: Matter,
        rim: float = 0.0,
        raised_mm: float = 0.0,
        body: bool = False,
        texture: FloatArray | None = None,
    ) -> None:
        """An ellipsoid of half axes (along, across, up), its first axis at `angle_rad` in the body's frame."""
        place = self.fine_px(centre)[0]
        reach = max(half_mm[:2]) * self.fine_per_mm + 1
        box = self._box(place - reach, place + reach)
        if box is None:
            return
        x, y = offsets(place[0], place[1], box)
        cos, sin = self.turn @ unit(angle_rad)
        along, across = half_mm[0] * self.fine_per_mm, half_mm[1] * self.fine_per_mm
        out2 = ((x * cos + y * sin) / along) ** 2 + ((y * cos - x * sin) / across) ** 2
        high = np.asarray(np.sqrt(np.maximum(1 - out2, 0)) * half_mm[2], np.float32)
        edge = np.asarray(np.where(out2 < 1, rim * out2**5, 0), np.float32) if rim else None
        self.add(box, 2 * high, of, edge, raised_mm, high, body, texture)

    def stamp(self, gloss: float = 0.25, tight: float = 24.0) -> Stamp:
        """The model lit from both sides, at the picture's pixels; `gloss` is the highlight's light, `tight` its exponent."""
        height = blurred(self.height_mm * np.float32(self.fine_per_mm), 0.4 * self.fine)
        along_x, along_y = slopes(height)
        level = 1 / np.sqrt(1 + along_x * along_x + along_y * along_y)
        facing, shine = (
            np.maximum((along_x * -v[0] + along_y * -v[1] + v[2]) * level, 0).astype(np.float32)
            for v in (LAMP.astype(np.float32), BETWEEN.astype(np.float32))
        )
        back = self.albedo * (0.38 + 0.72 * facing * (0.6 + 0.4 * level))[..., None]
        back += (shine ** np.float32(tight) * np.float32(gloss) * self.cover)[..., None]
        side = 2 * self.radius_px + 1

        def shrunk(plane: FloatArray) -> FloatArray:
            return np.asarray(cv2.resize(plane, (side, side), interpolation=cv2.INTER_AREA), np.float32)

        through = np.exp(-np.minimum(self.depth, 20))
        return Stamp(
            through=shrunk(through),
            back=shrunk(back),
            cover=shrunk(self.cover),
            body=shrunk(self.body),
            height_mm=shrunk(self.height_mm),
            radius_px=self.radius_px,
        )


def new_model(
    rng: Rng, half_mm: float, angle_rad: float, fine: int, hiding: float = 1.0, strength: float = 1.0
) -> Model:
    """An empty canvas that reaches `half_mm` from its middle, its frame turned by `angle_rad` clockwise as seen."""
    radius_px = int(np.ceil(half_mm * PX_PER_MM)) + 4
    side = (2 * radius_px + 1) * fine
    cos, sin = np.cos(angle_rad), np.sin(angle_rad)
    turn = np.array([[cos, -sin], [sin, cos]])

    def plane(*rest: int) -> FloatArray:
        return np.zeros((side, side, *rest), np.float32)

    return Model(
        depth=plane(3),
        cover=plane(),
        albedo=plane(3),
        height_mm=plane(),
        body=plane(),
        radius_px=radius_px,
        fine=fine,
        turn=turn,
        offset=rng.uniform(-0.5, 0.5, 2) * fine,
        hiding=hiding,
        strength=strength,
    )


def _along(values: NDArray[Any], at: NDArray[Any], run: NDArray[Any]) -> FloatArray:
    """(len(at), 3) float32 of values (3,) or (n, 3) given at `run`."""
    given = np.broadcast_to(values, (len(run), 3))
    return np.stack([np.interp(at, run, given[:, i]) for i in range(3)], 1).astype(np.float32)


def _spheres(
    places: NDArray[Any], radii: NDArray[Any], box: tuple[slice, slice]
) -> tuple[FloatArray, NDArray[np.int32], FloatArray]:
    """Over a box: the squared height of the highest sphere, its number, and how far out on it a pixel lies (squared share)."""
    shape = (box[0].stop - box[0].start, box[1].stop - box[1].start)
    high2, which, outward = np.zeros(shape, np.float32), np.zeros(shape, np.int32), np.zeros(shape, np.float32)
    origin = np.array([box[1].start, box[0].start])
    for number, (place, radius) in enumerate(zip(places - origin, radii, strict=True)):
        left, top = np.maximum(np.floor(place - radius), 0).astype(int)
        right, bottom = np.minimum(np.ceil(place + radius).astype(int) + 1, shape[::-1])
        if right <= left or bottom <= top:
            continue
        part = (slice(top, bottom), slice(left, right))
        x, y = offsets(place[0], place[1], part)
        off2 = y * y + x * x
        own2 = np.float32(radius**2) - off2
        up = own2 > high2[part]
        high2[part][up] = own2[up]
        which[part][up] = number
        outward[part][up] = off2[up] / np.float32(radius**2)
    return high2, which, outward
