"""Whole scenes: a ground is grown, debris is strewn, insects are laid where they would lie, and the shot is taken."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.grown.bodies import Grown
from vision.render.hands.grown.camera import developed
from vision.render.hands.grown.clay import softened
from vision.render.hands.grown.clutter import fibre, mixture, scrap, sliver
from vision.render.hands.grown.crawlers import hatched
from vision.render.hands.grown.fields import Rng, blurred, levels, ramp
from vision.render.hands.grown.ground import Ground, Spot, lay, spot
from vision.render.hands.grown.heads import heads
from vision.render.hands.grown.leaves import scallion
from vision.render.hands.grown.wet import cloth, water
from vision.render.hands.seen import Body, HandDrawn, true_body
from vision.render.truth import TrueBody
from vision.types import FloatArray

KINDS = ("water", "cloth", "broccoli", "cauliflower", "scallion")
_GROUNDS: dict[str, Callable[[Rng, int, int], Ground]] = {
    "water": water,
    "cloth": cloth,
    "broccoli": lambda rng, h, w: heads(rng, h, w, curd=False),
    "cauliflower": lambda rng, h, w: heads(rng, h, w, curd=True),
    "scallion": scallion,
}


@dataclass(frozen=True)
class _Laid:
    """An insect where it was laid: `shown` is its body's coverage in the window, before what is strewn over it."""

    grown: Grown
    at: Spot
    x_px: int
    y_px: int
    shown: FloatArray
    whole_px: float
    surface: str


def draw(kind: str, seed: int, insects: int, width_px: int, height_px: int) -> HandDrawn:
    """A shot of a scene of `kind` (one of KINDS) with that many insects, the same again for the same arguments."""
    number = KINDS.index(kind)
    ground_rng, strewn_rng, insect_rng, camera_rng = (np.random.default_rng([abs(seed), number, k]) for k in range(4))
    h, w = height_px, width_px
    ground = _GROUNDS[kind](ground_rng, h, w)
    light, relief = ground.light, ground.relief.copy()
    focus = _focus(kind, camera_rng)
    _strew(kind, strewn_rng, light, ground, focus)
    places = _places(kind, insect_rng, ground, insects, h, w)
    under = ground.veil is not None
    early = [place for place in places if place[3]]
    laid = [_insect(kind, insect_rng, light, ground, relief, place, focus) for place in early]
    hidden = np.zeros((h, w), np.float32)
    if under and ground.veil is not None:
        light *= ground.veil.keep
        light += ground.veil.add
        hidden = ground.veil.hides.copy()
    late = [_insect(kind, insect_rng, light, ground, relief, place, focus) for place in places if not place[3]]
    hidden_late = np.zeros((h, w), np.float32)
    _strew_over(strewn_rng, light, ground, hidden_late, [(one.x_px, one.y_px) for one in (*laid, *late)])
    if ground.relief.any():
        light = _focused(light, relief, camera_rng)
    pixels = developed(light, camera_rng)
    rows = []
    for one, cover in [
        *((one, np.maximum(hidden, hidden_late)) for one in laid),
        *((one, hidden_late) for one in late),
    ]:
        rows.append(_row(one, cover, pixels))
    return HandDrawn(pixels, tuple(rows), PX_PER_MM)


def _focus(kind: str, rng: Rng) -> float:
    """How strongly things are softened by not lying in focus, px a unit of chance."""
    return float(rng.uniform(0.1, 0.8) if kind == "water" else rng.uniform(0.05, 0.45))


def _strew(kind: str, rng: Rng, light: FloatArray, ground: Ground, focus: float) -> None:
    """Debris over the whole scene, thicker in some parts than in others."""
    h, w = light.shape[:2]
    makers, often = mixture(kind, rng)
    per_px = np.exp(rng.uniform(np.log(60), np.log(240))) / (1600 * 1200)
    count = int(np.clip(per_px * h * w, 6, 300)) + 4
    nests = rng.uniform(0, 1, (6, 2)) * (w, h)
    deep = kind == "water"
    shadow = 0.05 if kind == "water" else 0.2
    for pick in rng.choice(len(makers), count, p=often):
        stamp = makers[int(pick)](rng, ground.tints)
        x, y = rng.uniform(0, w), rng.uniform(0, h)
        if rng.random() < 0.4:
            x, y = nests[int(rng.integers(6))] + rng.normal(0, 0.06 * w, 2)
        blur = focus * abs(rng.normal(0, 1.3 if deep else 0.8))
        stamp = softened(stamp, blur)
        at = spot(stamp, x, y, h, w)
        if at is not None:
            dim = float(ground.open[at.rows, at.columns].mean())
            lay(light, stamp, at, ground.top * np.float32(dim), 1.0, shadow)


def _strew_over(rng: Rng, light: FloatArray, ground: Ground, hidden: FloatArray, bodies: list[tuple[int, int]]) -> None:
    """A few bits that fell last and may lie over insects; what they hide is noted in `hidden`. None hides a middle of `bodies`."""
    h, w = light.shape[:2]
    for _ in range(int(rng.integers(2, 14) * max(h * w / 1.92e6, 0.15)) + 1):
        stamp = (fibre, scrap, sliver)[int(rng.integers(3))](rng, ground.tints)
        at = spot(stamp, rng.uniform(0, w), rng.uniform(0, h), h, w)
        if at is None:
            continue
        cover = ramp(1 - levels(stamp.keep[at.own]), 0.3, 0.5)
        y0, x0 = at.rows.start, at.columns.start
        inside = [(y - y0, x - x0) for x, y in bodies if y0 <= y < at.rows.stop and x0 <= x < at.columns.stop]
        if any(cover[place] > 0.4 for place in inside):
            continue
        lay(light, stamp, at, ground.top, 1.0, 0.1)
        here = hidden[at.rows, at.columns]
        np.maximum(here, cover, out=here)


def _places(kind: str, rng: Rng, ground: Ground, insects: int, h: int, w: int) -> list[tuple[int, int, Grown, bool]]:
    """Where each insect lies, which it is, and whether it lies under the veil: apart from each other where there is room."""
    taken: list[tuple[float, float]] = []
    placed = []
    on_produce = rng.uniform(0.6, 0.95)
    edge = np.argwhere(np.abs(blurred(ground.veil.hides, 8.0) - 0.3) < 0.2) if ground.veil is not None else None
    for _ in range(insects):
        grown = hatched(kind, rng)
        margin = min(grown.length_mm * PX_PER_MM * (0.1 if rng.random() < 0.06 else 0.55) + 3, 0.45 * min(h, w))
        wants, beneath = rng.random() < on_produce, edge is not None and rng.random() < 0.2
        best, spare = (w / 2, h / 2), -np.inf
        for _ in range(24):
            x, y = rng.uniform(margin, w - 1 - margin), rng.uniform(margin, h - 1 - margin)
            if beneath and edge is not None and len(edge):
                at_edge = edge[int(rng.integers(len(edge)))]
                x, y = (
                    float(np.clip(at_edge[1], margin, w - 1 - margin)),
                    float(np.clip(at_edge[0], margin, h - 1 - margin)),
                )
            gap = min((np.hypot(x - a, y - b) for a, b in taken), default=200.0)
            worth = min(float(gap), 90.0) + rng.uniform(0, 30)
            if ground.produce.any():
                worth += 40 * (bool(ground.produce[int(y), int(x)]) == wants)
            if wants and ground.relief.any():
                # Insects sit in the gaps, but not at the bottom of the deepest.
                worth += 25 * (0.35 < ground.open[int(y), int(x)] < 0.8)
            if worth > spare:
                best, spare = (x, y), worth
        if beneath and ground.veil is not None and ground.veil.hides[round(best[1]), round(best[0])] > 0.7:
            beneath = False
        taken.append(best)
        placed.append((round(best[0]), round(best[1]), grown, beneath))
    return placed


def _insect(
    kind: str,
    rng: Rng,
    light: FloatArray,
    ground: Ground,
    relief: FloatArray,
    place: tuple[int, int, Grown, bool],
    focus: float,
) -> _Laid:
    """Lays one insect; among buds, what stands higher than it hides it."""
    h, w = light.shape[:2]
    x, y, grown, _ = place
    blur = focus * abs(rng.normal(0, 0.8))
    stamp = softened(grown.stamp, blur)
    at = spot(stamp, x, y, h, w)
    assert at is not None
    here = at.rows, at.columns
    body = stamp.body[at.own]
    share: FloatArray = np.ones(body.shape, np.float32)
    sunk, aim = rng.random() < 0.6, rng.uniform(0.3, 0.9)
    level = relief[here]
    covered = body > 0.5
    if ground.relief.any() and covered.any():
        ridge = float(np.quantile(level[covered], aim if sunk else 1.0)) + (0.2 if sunk else 1.5)
        if sunk:
            share = 1 - ramp(level - ridge, -1.0, 1.5)
        solid = (1 - levels(stamp.keep[at.own])) * share > 0.3
        level[solid] = np.float32(min(ridge, float(level[covered].mean()) + 12))
    dim = float(np.clip(ground.open[here][covered].mean() if covered.any() else 1.0, 0.25, 1.0)) ** 0.6
    lay(light, stamp, at, ground.top * np.float32(dim), share, 0.06 if kind == "water" else 0.25)
    surface = "produce" if ground.produce[min(y, h - 1), min(x, w - 1)] else ground.under
    return _Laid(grown, at, x, y, body * share, float(stamp.body.sum()), surface)


def _focused(light: FloatArray, relief: FloatArray, rng: Rng) -> FloatArray:
    """What lies higher or deeper than the plane of focus is softer."""
    depth = blurred(relief, 3.0)
    plane = float(np.quantile(depth[::8, ::8], rng.uniform(0.4, 0.98)))
    off = np.abs(depth - np.float32(plane)) * np.float32(rng.uniform(0.002, 0.022))
    # Between two softened copies, each place takes what its own depth asks for.
    some, much = blurred(light, 1.2), blurred(light, 2.6)
    first, second = np.clip(off / 1.2, 0, 1)[..., None], np.clip((off - 1.2) / 1.4, 0, 1)[..., None]
    return np.asarray(light + (some - light) * first + (much - some) * second, np.float32)


def _row(one: _Laid, hidden: FloatArray, pixels: NDArray[np.uint8]) -> TrueBody:
    h, w = hidden.shape
    here = one.at.rows, one.at.columns
    shown = one.shown * (1 - hidden[here])
    total = float(shown.sum())
    x, y = float(one.x_px), float(one.y_px)
    if total > 0.5:
        x = float(shown.sum(axis=0) @ np.arange(here[1].start, here[1].stop)) / total
        y = float(shown.sum(axis=1) @ np.arange(here[0].start, here[0].stop)) / total
    grown = one.grown
    visible = float(np.clip(total / max(one.whole_px, 1e-6), 0, 1))
    body = Body(grown.kind, x, y, grown.length_mm, grown.width_mm, float(grown.angle_deg), visible, grown.curved)
    # A window a little wider than the stamp is enough to measure what is round the body.
    room = 14
    top, left = max(here[0].start - room, 0), max(here[1].start - room, 0)
    wide = slice(top, min(here[0].stop + room, h)), slice(left, min(here[1].stop + room, w))
    mask = np.zeros((wide[0].stop - top, wide[1].stop - left), np.float32)
    mask[here[0].start - top : here[0].stop - top, here[1].start - left : here[1].stop - left] = shown
    picture = np.asarray(pixels[wide] / np.float32(255), np.float32)
    return true_body(body, mask, picture, PX_PER_MM, one.surface)
