"""The fine canvas on which a thing is built up in layers, and its reduction to the picture's pixels."""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.lent import Lent
from vision.render.hands.loosened.chance import Points, between, chance
from vision.types import FloatArray

Index = tuple[slice, slice] | tuple[NDArray[np.int64], NDArray[np.int64]]

_CLEAR_PX = 6
_FAINT = 0.002


@dataclass(frozen=True)
class Hand:
    """How one thing is drawn all over: light, softness and colour, drawn anew for every thing."""

    below: bool
    softness_mm: float
    cast: Points
    gamma: float
    lamp: float
    toward: tuple[float, float]
    relief: float
    gloss: float
    greyness: float
    scatter: float
    boldness: float
    shadow: float


def draw_hand(below: bool, rng: np.random.Generator) -> Hand:
    """A random manner of drawing; insects and bits share it, so that it tells nothing of what the thing is."""
    angle = between(rng, (0, 2 * math.pi))
    # Lamps and cameras err between warm and cool far more than between green and magenta.
    warm, pink = rng.normal(0, 0.12), rng.normal(0, 0.035)
    return Hand(
        below=below,
        softness_mm=0.08 * float(rng.random()) ** 2.5,
        cast=np.exp(np.array([-warm, pink, warm])),
        gamma=between(rng, (0.6, 1.4)),
        lamp=0.05 + 0.4 * float(rng.random()) ** 1.5 if below else between(rng, (0.65, 1.1)),
        toward=(math.cos(angle), math.sin(angle)),
        relief=between(rng, (0.05, 0.6)),
        gloss=between(rng, (0.15, 0.8)) if chance(rng, 0.4) else 0.0,
        greyness=between(rng, (0.03, 0.65)),
        scatter=between(rng, (0.5, 1.6)) if below else between(rng, (0.9, 2.5)),
        boldness=between(rng, (0.25, 1.0)),
        shadow=0.0 if below or chance(rng, 0.5) else between(rng, (0.1, 0.6)),
    )


class Canvas:
    """Fine square arrays about an origin; places in mm are turned by one random angle and moved within a pixel."""

    def __init__(self, half_mm: float, hand: Hand, rng: np.random.Generator) -> None:
        """Make room for things up to half_mm from the origin."""
        self.hand = hand
        self.fine = 4 if half_mm <= 2.2 else 3
        self.scale = float(PX_PER_MM * self.fine)
        self.side_px = (2 * math.ceil(half_mm * PX_PER_MM + 4) + 1) * self.fine
        turn = between(rng, (0, 2 * math.pi))
        mirror = 1 if chance(rng, 0.5) else -1
        self._matrix = self.scale * np.array(
            [[math.cos(turn), math.sin(turn)], [-mirror * math.sin(turn), mirror * math.cos(turn)]]
        )
        self._middle = self.side_px / 2 - 0.5 + rng.uniform(-0.5, 0.5, 2) * self.fine
        self.passing: FloatArray = np.ones((self.side_px, self.side_px, 3), dtype=np.float32)
        self.own: FloatArray = np.zeros((self.side_px, self.side_px, 3), dtype=np.float32)
        self.body: FloatArray = np.zeros((self.side_px, self.side_px), dtype=np.float32)

    def to_px(self, places_mm: Points) -> Points:
        """Places (n, 2) in mm to fine pixels (n, 2) as x, y."""
        return np.asarray(places_mm @ self._matrix + self._middle, dtype=np.float64)

    def window(self, places_px: Points, room_px: float) -> tuple[int, int, int, int]:
        """Top, bottom, left, right of the part of the canvas that holds the places and some room round them."""
        low = np.floor(places_px.min(axis=0) - room_px).astype(int)
        high = np.ceil(places_px.max(axis=0) + room_px).astype(int) + 1
        left, top = (int(max(v, 0)) for v in low)
        right, bottom = (int(min(v, self.side_px)) for v in high)
        return top, max(bottom, top + 1), left, max(right, left + 1)

    def lay(self, where: Index, cover: FloatArray, through: FloatArray, own: FloatArray) -> None:
        """Put a layer over what is there, at an index: cover (...,), its passing and own light (..., 3)."""
        share = 1 - cover[..., None] * (1 - through)
        self.passing[where] *= share
        self.own[where] = self.own[where] * share + cover[..., None] * own

    def cover_body(self, where: Index, cover: FloatArray) -> None:
        """Count a cover (...,) as part of the body."""
        self.body[where] = np.maximum(self.body[where], cover)

    def finish(self, length_mm: float, width_mm: float, curved: bool) -> Lent:
        """Reduce to the picture's pixels, soften, tint, and cut to the smallest clear odd square."""
        side = self.side_px // self.fine
        extra = _CLEAR_PX + 6
        # A blur much wider than the thing itself would wipe it out and teach nothing.
        sigma_px = min(self.hand.softness_mm, 0.01 + 0.22 * min(length_mm, width_mm)) * PX_PER_MM
        planes = []
        for plane, empty in ((self.passing, 1.0), (self.own, 0.0), (self.body, 0.0)):
            small = cv2.resize(plane, (side, side), interpolation=cv2.INTER_AREA)
            small = cv2.copyMakeBorder(small, *(extra,) * 4, cv2.BORDER_CONSTANT, value=(empty,) * 4)
            if sigma_px > 0.15:
                small = cv2.GaussianBlur(small, (0, 0), sigma_px)
            planes.append(np.asarray(small, dtype=np.float32))
        passing, own, body = planes
        held = np.clip(1 - passing, 0, 1)
        passing = np.where(passing < 1, 1 - held**self.hand.gamma, passing)
        passing = np.clip(passing, 0, 1.2) ** self.hand.cast.astype(np.float32)
        own = own * (self.hand.cast[::-1] ** -1).astype(np.float32)
        if self.hand.shadow:
            passing = _shade(passing, self.hand)
        faint = (np.abs(1 - passing).max(axis=2) < _FAINT) & (own.max(axis=2) < _FAINT)
        passing[faint], own[faint] = 1, 0
        body[body < _FAINT] = 0
        rows, cols = np.nonzero(~faint | (body > 0))
        middle = passing.shape[0] // 2
        reach = 2 if rows.size == 0 else int(max(np.abs(rows - middle).max(), np.abs(cols - middle).max()))
        cut = slice(max(middle - reach - _CLEAR_PX, 0), middle + reach + _CLEAR_PX + 1)
        return Lent(
            passing=np.ascontiguousarray(np.clip(passing[cut, cut], 0, 1.2), dtype=np.float32),
            own=np.ascontiguousarray(np.clip(own[cut, cut], 0, 0.95), dtype=np.float32),
            body=np.ascontiguousarray(np.clip(body[cut, cut], 0, 1), dtype=np.float32),
            length_mm=max(length_mm, width_mm),
            width_mm=min(length_mm, width_mm),
            curved=curved,
        )


def _shade(passing: FloatArray, hand: Hand) -> FloatArray:
    """Take away light of the ground beside the thing, away from the lamp; border of four pixels stays clear."""
    held = (1 - passing.min(axis=2)).clip(0, 1)
    shift = np.array([[1, 0, -1.6 * hand.toward[0]], [0, 1, -1.6 * hand.toward[1]]])
    moved = cv2.warpAffine(held, shift, (held.shape[1], held.shape[0]))
    dark = np.asarray(cv2.GaussianBlur(moved, (0, 0), 1.3), dtype=np.float32) * hand.shadow * (1 - held)
    dark[:4], dark[-4:], dark[:, :4], dark[:, -4:] = 0, 0, 0, 0
    return np.asarray(passing * (1 - dark[..., None]), dtype=np.float32)
