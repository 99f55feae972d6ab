"""A whole shot: ground, bits, insects, a few bits more on top, the picture, and the truth measured in it."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.seen import Body, HandDrawn, true_body
from vision.render.hands.spare.bits import scattered
from vision.render.hands.spare.camera import photographed
from vision.render.hands.spare.fields import Rng, between
from vision.render.hands.spare.flats import cloth, scallion, water
from vision.render.hands.spare.heads import head
from vision.render.hands.spare.insects import Insect, chosen, made
from vision.render.hands.spare.plate import Ground, Owner, lay, window
from vision.render.hands.spare.stamps import Stamp
from vision.render.truth import TrueBody

_GROUNDS: dict[str, Callable[[Rng, int, int], Ground]] = {
    "water": water, "cloth": cloth, "broccoli": partial(head, "broccoli"), "cauliflower": partial(head, "cauliflower"),
    "scallion": scallion,
}  # fmt: skip
_ROUND_PX = 16
"""How far about a body its surroundings are looked at for its contrast."""
_ON_TOP = 2.0
"""A level above all produce."""
_BIT = -1
_Laid = tuple[Insect, int, int]
"""An insect and the pixel it was laid about."""


def draw(kind: str, seed: int, insects: int, width_px: int, height_px: int) -> HandDrawn:
    """One shot of that kind with exactly that many insects, at PX_PER_MM; the same arguments give the same bytes."""
    rng = np.random.default_rng([abs(seed), list(_GROUNDS).index(kind)])
    ground = _GROUNDS[kind](rng, height_px, width_px)
    owner = np.zeros((height_px, width_px), np.int16)
    share = float(np.clip(height_px * width_px / (1600 * 1200), 0.12, 1.6))
    bits = scattered(rng, kind, round(between(rng, 50, 150) * share))
    # Most bits lie under the insects; the last few fell on the shot afterwards.
    late = round(len(bits) * 0.08)
    _strew(rng, ground, owner, bits[late:], [])
    laid = _settled(rng, ground, owner, insects)
    _strew(rng, ground, owner, bits[:late], laid)
    pixels = photographed(rng, ground.light)
    truth = tuple(_row(ground, owner, pixels, one, number) for number, one in enumerate(laid, 1))
    return HandDrawn(pixels, truth, PX_PER_MM)


def _strew(rng: Rng, ground: Ground, owner: Owner, bits: list[tuple[Stamp, bool]], laid: list[_Laid]) -> None:
    """Lay bits anywhere, in clumps here and there, in place; some sink between produce, and its own marks lie on it."""
    h, w = owner.shape
    hearts = rng.uniform(0, 1, (4, 2)) * (w, h)
    for bit, mark in bits:
        places = rng.uniform(0, 1, (12, 2)) * (w, h)
        if rng.random() < 0.25:
            places = hearts[int(rng.integers(4))] + rng.normal(0, 0.08 * min(w, h), (12, 2))
        spots = np.clip(places, 0, (w - 1, h - 1)).astype(int)
        on = spots[ground.produce[spots[:, 1], spots[:, 0]]]
        x, y = (on if mark and len(on) else spots)[0]
        # What fell later may lie over legs or an end, never over a whole insect.
        if any(np.hypot(x - left, y - top) < 0.4 * bit.body.shape[0] for _, left, top in laid):
            continue
        lay(ground, owner, bit, int(x), int(y), _BIT, between(rng, 0.5, 1.3))


def _settled(rng: Rng, ground: Ground, owner: Owner, insects: int) -> list[_Laid]:
    """Lay the insects, in place, apart from each other as far as there is room."""
    level = between(rng, 0.75, 1.1)
    laid: list[_Laid] = []
    strengths = level * np.clip(np.exp(rng.normal(-0.05, 0.4, insects)), 0.3, 1.6)
    bodies = [made(rng, kind, float(strength)) for kind, strength in zip(chosen(rng, insects), strengths, strict=True)]
    # The long ones first: in a crowd a small one lies on a large one, and is not buried by it.
    for number, insect in enumerate(sorted(bodies, key=lambda body: -body.length_mm), 1):
        x, y = _place(rng, ground, laid, insect)
        lay(ground, owner, insect.stamp, x, y, number, _depth(rng, ground, insect, x, y))
        laid.append((insect, x, y))
    return laid


def _place(rng: Rng, ground: Ground, laid: list[_Laid], insect: Insect) -> tuple[int, int]:
    """Of some places at random the one that is best: apart from the others, and on produce more often in a gap than on a top."""
    h, w = ground.relief.shape
    edge = min(8, h // 4, w // 4)
    xs, ys = rng.integers(edge, w - edge, 24), rng.integers(edge, h - edge, 24)
    want_produce = rng.random() < 0.7
    cost = 0.6 * ground.relief[ys, xs] + rng.uniform(0, 0.3, 24)
    cost += 0.8 * (ground.produce[ys, xs] != want_produce)
    for other, x, y in laid:
        apart_px = (insect.length_mm + other.length_mm) * 0.6 * PX_PER_MM
        cost += 3 * np.maximum(1 - np.hypot(xs - x, ys - y) / apart_px, 0)
    # A long body near the edge would be cut off for the most part.
    half_px = 0.4 * insect.length_mm * PX_PER_MM
    out = np.maximum(half_px - np.minimum(np.minimum(xs, w - xs), np.minimum(ys, h - ys)), 0)
    best = int(np.argmin(cost + out / half_px))
    return int(xs[best]), int(ys[best])


def _depth(rng: Rng, ground: Ground, insect: Insect, x_px: int, y_px: int) -> float:
    """The level an insect lies at: on top of all, or between produce so that some of it is hidden, but never most of it."""
    if not ground.produce[y_px, x_px] or rng.random() < 0.4:
        return _ON_TOP
    there, inner = window(insect.stamp.body.shape[0], x_px, y_px, ground.relief.shape)
    heights = ground.relief[there][insect.stamp.body[inner] > 0.5]
    if not len(heights):
        return _ON_TOP
    return float(np.quantile(heights, rng.uniform(0.5, 1.0))) + 0.03


def _row(ground: Ground, owner: Owner, pixels: NDArray[np.uint8], one: _Laid, number: int) -> TrueBody:
    """The truth of one insect, measured in the finished picture round about it."""
    insect, x_px, y_px = one
    whole = np.pad(insect.stamp.body > 0.5, _ROUND_PX)
    there, inner = window(whole.shape[0], x_px, y_px, owner.shape)
    seen = np.asarray(whole[inner] & (owner[there] == number), np.float32)
    x, y = float(x_px), float(y_px)
    if seen.any():
        rows, columns = np.nonzero(seen)
        x, y = float(columns.mean()) + there[1].start, float(rows.mean()) + there[0].start
    visible = float(np.clip(seen.sum() / max(int(whole.sum()), 1), 0, 1))
    surface = "produce" if ground.produce[y_px, x_px] else ground.surface
    known = Body(insect.kind, x, y, insect.length_mm, insect.width_mm, insect.angle_deg, visible, insect.curved)
    picture = pixels[there].astype(np.float32) / np.float32(255)
    return true_body(known, seen, picture, PX_PER_MM, surface)
