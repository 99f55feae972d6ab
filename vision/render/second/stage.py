"""The fine grid on which solids are looked through, and its averaging to pixels.

Light is followed sample by sample: each part multiplies what passes, and hides what lies under it by as much as it takes away.
Pixels are means over area of transmitted light, of covered share and of the light thrown back.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.render.patch import BodyWish, Patch
from vision.types import FloatArray

SAMPLES_PER_MM = 60.0
"""At least so fine: a leg of 0.02 mm is then wider than a sample."""
_MARGIN_PX = 2
_MOST_LIGHT = 1.2


@dataclass(frozen=True)
class Stage:
    """Samples row by row, flat: `through` and `thrown` (n, 3), the rest (n,). Painted on in place."""

    px_per_mm: float
    fold: int
    left_px: int
    top_px: int
    x_mm: FloatArray
    """(columns,)"""
    y_mm: FloatArray
    """(rows,)"""
    through: FloatArray
    thrown: FloatArray
    """Colour times how opaque it is."""
    opaque: FloatArray
    cover: FloatArray
    body: FloatArray
    high_mm: FloatArray

    @property
    def per_mm(self) -> float:
        """Samples per millimetre."""
        return self.px_per_mm * self.fold

    @property
    def count(self) -> int:
        return self.cover.size

    def box(self, x0_mm: float, y0_mm: float, x1_mm: float, y1_mm: float) -> tuple[int, int, int, int]:
        """Row and column limits (r0, r1, c0, c1) of the samples within a box and two samples round it."""
        left, top, scale = float(self.x_mm[0]), float(self.y_mm[0]), self.per_mm
        r0, r1 = int((y0_mm - top) * scale) - 2, int((y1_mm - top) * scale) + 3
        c0, c1 = int((x0_mm - left) * scale) - 2, int((x1_mm - left) * scale) + 3
        return max(r0, 0), min(r1, self.y_mm.size), max(c0, 0), min(c1, self.x_mm.size)

    def paint(
        self,
        at: NDArray[np.int64],
        cover: FloatArray,
        through: FloatArray,
        colour: FloatArray,
        *,
        body: bool = False,
        high_mm: FloatArray | None = None,
    ) -> None:
        """Lays one part over what is there. `at`: samples (k,); `through`, `colour`: (k, 3) or (3,)."""
        through = np.broadcast_to(through, (at.size, 3))
        self.through[at] *= 1 - cover[:, None] * (1 - through)
        # What throws light back is what does not let it pass; a trace is left so that even glass has a colour.
        hides = cover * np.clip(1 - through.mean(axis=1) ** 2, 0.03, 1)
        self.thrown[at] = self.thrown[at] * (1 - hides[:, None]) + hides[:, None] * colour
        self.opaque[at] = self.opaque[at] * (1 - hides) + hides
        self.cover[at] = np.maximum(self.cover[at], cover)
        if body:
            self.body[at] = np.maximum(self.body[at], cover)
        if high_mm is not None:
            self.high_mm[at] = np.maximum(self.high_mm[at], cover * high_mm)

    def _pixels(self, samples: FloatArray) -> FloatArray:
        deep = samples.reshape(self.y_mm.size, self.x_mm.size, *samples.shape[1:])
        rows = sum((deep[k :: self.fold] for k in range(1, self.fold)), start=deep[:: self.fold])
        whole = sum((rows[:, k :: self.fold] for k in range(1, self.fold)), start=rows[:, :: self.fold])
        return np.ascontiguousarray(whole / np.float32(self.fold**2))

    def patch(self, *, length_mm: float, width_mm: float, curved: bool, form: str, gloss: float) -> Patch:
        """What has been painted, at the picture's resolution."""
        colour = self._pixels(self.thrown) / np.maximum(self._pixels(self.opaque), 1e-4)[..., None]
        return Patch(
            transmission=np.clip(self._pixels(self.through), 0, _MOST_LIGHT),
            reflectance=np.clip(colour, 0, 1),
            cover=self._pixels(self.cover),
            body=self._pixels(self.body),
            height_mm=self._pixels(self.high_mm),
            left_px=self.left_px,
            top_px=self.top_px,
            length_mm=length_mm,
            width_mm=width_mm,
            curved=curved,
            form=form,
            gloss=gloss,
        )


def stage_over(wish: BodyWish, extents_mm: list[NDArray[np.float64]]) -> Stage:
    """A bare stage that holds every disc of `extents_mm`: arrays (k, 3) of x, y and radius from the body's origin."""
    every = np.concatenate(extents_mm)
    low, high = (every[:, :2] - every[:, 2:]).min(axis=0), (every[:, :2] + every[:, 2:]).max(axis=0)
    scale, shift = wish.px_per_mm, np.array(wish.sub_px)
    left, top = (int(v) - _MARGIN_PX for v in np.floor(low * scale + shift))
    right, bottom = (int(v) + _MARGIN_PX + 1 for v in np.ceil(high * scale + shift))
    fold = max(2, math.ceil(SAMPLES_PER_MM / scale))
    # Pixel centres lie on whole numbers, so that pixel `left` begins half a pixel before it.
    x = (left - 0.5 + (np.arange((right - left) * fold) + 0.5) / fold - shift[0]) / scale
    y = (top - 0.5 + (np.arange((bottom - top) * fold) + 0.5) / fold - shift[1]) / scale
    n = x.size * y.size
    bare = [np.zeros(n, np.float32) for _ in range(4)]
    light, thrown = np.ones((n, 3), np.float32), np.zeros((n, 3), np.float32)
    return Stage(scale, fold, left, top, x.astype(np.float32), y.astype(np.float32), light, thrown, *bare)
