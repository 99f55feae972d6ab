"""Small optical windows: a body or a bit as what it lets through and what it scatters back, rasterised finely and averaged down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.spare.fields import Points, Rng, dome
from vision.types import FloatArray

FINE = 3
"""Fine pixels a side of one pixel."""
FINE_PER_MM = PX_PER_MM * FINE
_SHIFT = 4


@dataclass(frozen=True)
class Stamp:
    """A thing in its window (n, n), n odd, its middle at the middle pixel.

    `through` (n, n, 3) is the share of light let through, `glow` (n, n, 3) the share of light from above scattered back, `body` (n, n)
    0..1 what counts as the thing without its limbs, `solid` (n, n) 0..1 what hides or shades what lies under it."""

    through: FloatArray
    glow: FloatArray
    body: FloatArray
    solid: FloatArray


@dataclass(frozen=True)
class Pose:
    """How a body lies: its angle in the picture plane (clockwise as seen), and how its middle line bends over its length.

    `bend_rad` is the whole change of heading along the body, `sway_rad` that of an S."""

    length_mm: float
    angle_rad: float
    bend_rad: float = 0.0
    sway_rad: float = 0.0

    def laid(self, points_mm: Points) -> Points:
        """Points (n, 2) from the straight body's frame (x to the head, 0 in the middle) to where they lie, in mm."""
        along = np.linspace(-1.5, 1.5, 181)
        inner = np.clip(along, -0.5, 0.5)
        heading = self.angle_rad + self.bend_rad * inner + self.sway_rad * np.cos(2 * np.pi * inner)
        step_mm = self.length_mm * (along[1] - along[0])
        x, y = (np.cumsum(part) * step_mm for part in (np.cos(heading), np.sin(heading)))
        x, y = x - x[90], y - y[90]
        at = points_mm[:, 0] / self.length_mm
        turn = np.interp(at, along, heading)
        side = points_mm[:, 1]
        down = np.interp(at, along, y) + np.cos(turn) * side
        return np.stack([np.interp(at, along, x) - np.sin(turn) * side, down], 1)

    def line(self, *points_mm: tuple[float, float]) -> Points:
        """Points of a line (n, 2) from the straight body's frame to where they lie, in mm."""
        return self.laid(np.array(points_mm, float))

    def at(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Where one point of the straight body's frame lies, in mm."""
        x, y = self.line((x_mm, y_mm))[0]
        return float(x), float(y)

    @property
    def curved(self) -> bool:
        """Whether the bend is one that a person would call a bend."""
        return abs(self.bend_rad) + 2 * abs(self.sway_rad) > 0.5


class Slate:
    """A fine raster on which a thing is put together: densities add up, what scatters covers what lies under it."""

    def __init__(self, half_mm: float) -> None:
        half_px = int(np.ceil(half_mm * PX_PER_MM)) + 2
        self.side = (2 * half_px + 1) * FINE
        self.absorb = np.zeros((self.side, self.side, 3), np.float32)
        self.glow = np.zeros((self.side, self.side, 3), np.float32)
        self.solid = np.zeros((self.side, self.side), np.float32)

    def _fixed(self, points_mm: Points) -> NDArray[np.int32]:
        fine = points_mm * FINE_PER_MM + (self.side - 1) / 2
        return np.asarray(np.round(fine * 2**_SHIFT), np.int32)

    def filled(self, *outlines_mm: Points) -> FloatArray:
        """Cover 0..1 (side, side) of the union of closed outlines, each (n, 2) in mm from the middle."""
        mask = np.zeros((self.side, self.side), np.uint8)
        for outline in outlines_mm:
            cv2.fillPoly(mask, [self._fixed(outline)], 255, cv2.LINE_AA, _SHIFT)
        return np.asarray(mask, np.float32) / np.float32(255)

    def drawn(self, lines_mm: Sequence[Points], width_mm: float) -> FloatArray:
        """Cover 0..1 (side, side) of open lines, each (n, 2) in mm from the middle."""
        mask = np.zeros((self.side, self.side), np.uint8)
        # A line thinner than a fine pixel is drawn one wide and made fainter by as much.
        wide_px = width_mm * FINE_PER_MM
        lines = [self._fixed(line) for line in lines_mm]
        cv2.polylines(mask, lines, False, 255, max(round(wide_px), 1), cv2.LINE_AA, _SHIFT)
        return np.asarray(mask, np.float32) * np.float32(min(wide_px, 1.0) / 255)

    def spot(self, at_mm: tuple[float, float], sigma_mm: float) -> FloatArray:
        """A gaussian lump (side, side) of height 1."""
        axis = np.arange(self.side, dtype=np.float32) - np.float32((self.side - 1) / 2)
        across, down = (np.exp(-0.5 * ((axis / FINE_PER_MM - at) / sigma_mm) ** 2) for at in at_mm)
        return np.asarray(np.outer(down, across), np.float32)

    def add(self, thickness: NDArray[Any], density: NDArray[Any], back: float = 0.0, cover: float = 1.0) -> None:
        """Lay matter `thickness` (side, side) 0..1 of that density (3,) per unit.

        It scatters back the share `back` of the light from above, of its own hue, since what is scattered has gone through it."""
        rows, columns = np.flatnonzero(thickness.any(axis=1)), np.flatnonzero(thickness.any(axis=0))
        if not len(rows):
            return
        box = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
        thick = thickness[box][..., None]
        self.absorb[box] += thick * density
        # What scatters below shines through what is laid over it.
        self.glow[box] *= np.exp(-0.8 * thick * density)
        if back > 0:
            veil = 1.0 - np.exp(-2.5 * cover * thick)
            # A round body turns away from the light at its edge and scatters less of it back there.
            sheen = back * np.exp(-0.8 * density) * (0.5 + 0.5 * np.minimum(thick, 1.0))
            self.glow[box] += veil * (sheen - self.glow[box])
            self.solid[box] = np.maximum(self.solid[box], veil[..., 0])

    def limbs(self, lines_mm: Sequence[Points], width_mm: float, density: NDArray[Any]) -> None:
        """Lay legs or antennae, each (n, 2) in mm: dense, and a little light from above comes back from them."""
        self.add(self.drawn(lines_mm, width_mm), density, 0.3, 0.4)

    def trunk(self, shape: Points, dens: FloatArray, back: float, flat: float = 0.2) -> tuple[FloatArray, FloatArray]:
        """Lay a round body of that outline (n, 2), `flat` of it evenly thick; give its cover 0..1 and its thickness, both (side, side)."""
        body = self.filled(shape)
        thick = dome(body)
        self.add(thick * (1 - flat) + body * flat, dens, back)
        return body, thick

    def pale(self, where: FloatArray, share: float) -> None:
        """Take away up to that share of the density so far, in place, as far as `where` (side, side) says."""
        self.absorb *= (1 - share * where)[..., None]

    def stamp(self, body: FloatArray) -> Stamp:
        """The finished window; `body` (side, side) 0..1 is the part without limbs."""
        return Stamp(_down(np.exp(-self.absorb)), _down(self.glow), _down(body), _down(self.solid))


def _down(fine: FloatArray) -> FloatArray:
    n = fine.shape[0] // FINE
    return np.asarray(cv2.resize(fine, (n, n), interpolation=cv2.INTER_AREA), np.float32)


def outline(widths: Sequence[tuple[float, float]], length_mm: float, width_mm: float) -> Points:
    """A symmetric outline (n, 2) from (place 0 tail .. 1 head, half-width 0..1 of the widest) pairs, rounded at both ends."""
    places, halves = (np.array(v, float) for v in zip(*widths, strict=True))
    # Cosine spacing gives the rounded ends as many points as they need.
    at = 0.5 - 0.5 * np.cos(np.linspace(0, np.pi, 121))
    half = np.interp(at, places, halves)
    half[3:-3] = np.convolve(half, np.full(7, 1 / 7), mode="valid")
    x, y = (at - 0.5) * length_mm, half * width_mm / 2
    return np.concatenate([np.stack([x, y], 1), np.stack([x[::-1], -y[::-1]], 1)])


def oval(x_mm: float, y_mm: float, long_mm: float, wide_mm: float) -> Points:
    """An ellipse (32, 2) about a point, its long diameter along x."""
    turn = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    return np.stack([x_mm + np.cos(turn) * long_mm / 2, y_mm + np.sin(turn) * wide_mm / 2], 1)


def leg(rng: Rng, root_mm: tuple[float, float], reach_mm: float, heading_rad: float, knee_rad: float) -> Points:
    """A leg of three joints (4, 2): from its root out along the heading, bent at the knee, with a short foot."""
    turns = heading_rad + np.array([0.0, knee_rad, knee_rad * 0.6]) + rng.normal(0, 0.12, 3)
    parts = reach_mm * np.array([0.42, 0.43, 0.15])
    steps = np.stack([np.cos(turns) * parts, np.sin(turns) * parts], 1)
    return np.concatenate([np.zeros((1, 2)), np.cumsum(steps, 0)]) + root_mm
