"""The picture as it grows: stamps are laid over each other, and what of every insect stays in view is kept count of."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.seen import Body, true_body
from vision.render.hands.washed.long_bodied import Painted
from vision.render.hands.washed.sheet import Floats, Stamp
from vision.render.truth import TrueBody

PRODUCE, STALK, GROUND = -1, -2, 0
_HIDES = 0.55
"""Something more opaque than this hides what lies under it."""
_ROUND_PX = 24
"""How much of the picture round a body its contrast is measured in."""


@dataclass(frozen=True)
class Light:
    """How things take the light: `tone` of what lies on the lit ground (under 1: dark against it), the shift and blur
    of cast shadows in pixels, and their strength 0..1."""

    tone: float
    shift_px: tuple[float, float]
    blur_px: float
    shadow: float


@dataclass(frozen=True)
class Laid:
    """An insect on the board, with what it lay on."""

    painted: Painted
    surface: str


@dataclass(frozen=True)
class Board:
    """The picture (h, w, 3) 0..1 as it looks, and per pixel `owner`: PRODUCE, STALK, GROUND, or the number of an insect, from 1."""

    picture: Floats
    owner: NDArray[np.int16]
    light: Light
    px_per_mm: float
    insects: list[Laid] = field(default_factory=list)

    def _windows(self, stamp: Stamp) -> tuple[tuple[slice, slice], tuple[slice, slice]] | None:
        h, w = self.owner.shape
        sh, sw = stamp.alpha.shape
        x0, y0 = max(stamp.x0_px, 0), max(stamp.y0_px, 0)
        x1, y1 = min(stamp.x0_px + sw, w), min(stamp.y0_px + sh, h)
        if x1 <= x0 or y1 <= y0:
            return None
        own = slice(y0 - stamp.y0_px, y1 - stamp.y0_px), slice(x0 - stamp.x0_px, x1 - stamp.x0_px)
        return (slice(y0, y1), slice(x0, x1)), own

    def lay(self, stamp: Stamp, owner: int = GROUND, tone: float = 1.0, shadow: float = 0.0) -> None:
        """Lay a stamp over what is there. A `shadow` of 0..1 times the light's falls beside it first."""
        if shadow * self.light.shadow > 0.02:
            self._shade(stamp, shadow * self.light.shadow)
        windows = self._windows(stamp)
        if windows is None:
            return
        there, own = windows
        alpha = stamp.alpha[own]
        self.picture[there] *= 1 - alpha[..., None]
        self.picture[there] += stamp.rgb[own] * np.float32(tone)
        mask = stamp.body[own] > 0.5 if owner > 0 else alpha > _HIDES
        self.owner[there][mask] = owner

    def _shade(self, stamp: Stamp, strength: float) -> None:
        pad = int(self.light.blur_px * 2) + 2
        wide = np.pad(stamp.alpha, pad)
        soft = np.asarray(cv2.GaussianBlur(wide, (0, 0), max(self.light.blur_px, 0.5)), np.float32)
        dx, dy = (round(v) for v in self.light.shift_px)
        cast = replace(stamp, x0_px=stamp.x0_px - pad + dx, y0_px=stamp.y0_px - pad + dy, alpha=soft)
        windows = self._windows(cast)
        if windows is not None:
            self.picture[windows[0]] *= 1 - strength * soft[windows[1]][..., None]

    def lay_insect(self, painted: Painted, tone: float, shadow: float, surface: str) -> None:
        """Lay an insect on this surface and remember it."""
        self.insects.append(Laid(painted, surface))
        self.lay(painted.stamp, len(self.insects), tone, shadow)

    def row(self, number: int, finished: Floats) -> TrueBody:
        """The row of the insect of this number, from 1, as it is seen in the finished picture."""
        laid = self.insects[number - 1]
        stamp, plan = laid.painted.stamp, laid.painted.plan
        h, w = self.owner.shape
        sh, sw = stamp.alpha.shape
        y0, x0 = (int(np.clip(v - _ROUND_PX, 0, n - 1)) for v, n in ((stamp.y0_px, h), (stamp.x0_px, w)))
        y1, x1 = min(stamp.y0_px + sh + _ROUND_PX, h), min(stamp.x0_px + sw + _ROUND_PX, w)
        mask = (self.owner[y0:y1, x0:x1] == number).astype(np.float32)
        rows, columns = np.nonzero(mask)
        x, y = stamp.x0_px + sw / 2 - 0.5, stamp.y0_px + sh / 2 - 0.5
        if len(rows):
            x, y = float(columns.mean()) + x0, float(rows.mean()) + y0
        whole = max(float((stamp.body > 0.5).sum()), 1.0)
        body = Body(
            kind=plan.kind, x_px=float(np.clip(x, 0, w - 1)), y_px=float(np.clip(y, 0, h - 1)), length_mm=plan.length_mm,
            width_mm=plan.width_mm, angle_deg=laid.painted.angle_deg, visible=min(len(rows) / whole, 1.0),
            curved=plan.curved,
        )  # fmt: skip
        return true_body(body, mask, finished[y0:y1, x0:x1], self.px_per_mm, laid.surface)
