"""Insects laid into a scene where they come up, and what can be seen of each in the end."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.seen import Body
from vision.render.hands.solid import aphid, bits, caterpillar, slim, small
from vision.render.hands.solid.creature import Creature, Seen
from vision.render.hands.solid.draws import Rng, blurred
from vision.render.hands.solid.lines import unit
from vision.render.hands.solid.matter import one_of
from vision.render.hands.solid.scene import Produce, Scene
from vision.render.hands.solid.stamps import Light, Stamp, lay, window
from vision.types import FloatArray, MaskArray

_MAKERS: dict[str, Callable[[Rng, Seen], Creature]] = {
    "aphid": aphid.aphid,
    "thrips": slim.thrips,
    "caterpillar": caterpillar.caterpillar,
    "larva": slim.larva,
    "mite": small.mite,
    "gnat": small.gnat,
    "egg": small.egg,
    "skin": aphid.cast_skin,
}
_SHARES = {
    "aphid": 0.36,
    "thrips": 0.2,
    "caterpillar": 0.15,
    "larva": 0.1,
    "mite": 0.09,
    "gnat": 0.04,
    "egg": 0.03,
    "skin": 0.03,
}
_IN_LEAVES = {"larva": 0.4, "thrips": 0.38, "mite": 0.22}
"""What lives in split leaves; elsewhere anything may turn up. Shares: common practice, no source."""
_ON_FLORETS, _ON_LEAVES, _COVERED = 0.8, 0.9, 0.22
_TRIES = 60
_NOBODY, _COVER = -1, -2


@dataclass(frozen=True)
class Laid:
    """A creature in the scene. `whole_px` is its body's area if nothing hid it; `x_px`, `y_px` that body's middle."""

    creature: Creature
    angle_rad: float
    x_px: float
    y_px: float
    whole_px: int
    surface: str


@dataclass(frozen=True)
class Placed:
    """All creatures of a shot; `owner` (h, w) int16 is the number of the body that is seen at a pixel, negative for none."""

    laid: tuple[Laid, ...]
    owner: NDArray[np.int16]

    def seen(self, number: int) -> tuple[Body, FloatArray]:
        """One body as it is seen, and the mask (h, w) 0 or 1 of what can be seen of it."""
        mask, it = self.owner == number, self.laid[number]
        rows, columns = np.nonzero(mask)
        height_px, width_px = mask.shape
        x, y = (columns.mean(), rows.mean()) if len(rows) else (it.x_px, it.y_px)
        body = Body(
            kind=it.creature.kind,
            x_px=float(np.clip(x, 0, width_px - 1)),
            y_px=float(np.clip(y, 0, height_px - 1)),
            length_mm=float(it.creature.length_mm),
            width_mm=float(it.creature.width_mm),
            angle_deg=float(np.degrees(it.angle_rad)) % 180,
            visible=min(1.0, len(rows) / max(1, it.whole_px)),
            curved=it.creature.curved,
        )
        return body, mask.astype(np.float32)


def place(rng: Rng, scene: Scene, count: int) -> Placed:
    """Lays `count` insects into the scene's picture, in place, each where and in the colour that comes up."""
    owner = np.full(scene.picture.shape[:2], _NOBODY, np.int16)
    taken: list[tuple[int, int, int]] = []
    laid = tuple(_lay_one(rng, scene, number, owner, taken) for number in range(count))
    return Placed(laid, owner)


def _lay_one(rng: Rng, scene: Scene, number: int, owner: NDArray[np.int16], taken: list[tuple[int, int, int]]) -> Laid:
    produce = scene.produce
    in_leaves = produce is not None and produce.height_px is None
    shares = _IN_LEAVES if in_leaves else _SHARES
    kind = one_of(rng, list(shares), list(shares.values()))
    on_produce = produce is not None and bool(rng.random() < (_ON_LEAVES if in_leaves else _ON_FLORETS))
    light = produce.light if produce is not None and on_produce else scene.light
    angle = rng.uniform(-np.pi, np.pi)
    creature = _MAKERS[kind](rng, Seen(angle, light.hiding, rng.uniform(0.6, 1.15)))
    stamp = creature.model.stamp(rng.uniform(0.12, 0.4), rng.uniform(14, 40))
    x, y = _free_place(
        rng, owner.shape, stamp.radius_px, None if produce is None else produce.there == on_produce, taken
    )
    taken.append((x, y, stamp.radius_px))
    if produce is not None:
        on_produce = bool(produce.there[y, x])
        light = produce.light if on_produce else scene.light
    bare = _bare(rng, stamp, x, y, owner.shape, produce, on_produce)
    lay(scene.picture, stamp, x, y, light, abs(rng.normal(0, 0.3)), bare)
    _own(owner, stamp, x, y, stamp.body * bare > 0.5, number)
    if (produce is None or in_leaves) and rng.random() < _COVERED:
        _cover(rng, scene, owner, creature, (x, y), light)
    rows, columns = np.nonzero(stamp.body > 0.5)
    r = stamp.radius_px
    middle = (x + columns.mean() - r, y + rows.mean() - r) if len(rows) else (float(x), float(y))
    return Laid(
        creature, angle, float(middle[0]), float(middle[1]), len(rows), "produce" if on_produce else scene.ground
    )


def _free_place(
    rng: Rng, shape: tuple[int, ...], radius_px: int, where: MaskArray | None, taken: list[tuple[int, int, int]]
) -> tuple[int, int]:
    """A pixel (x, y) on the right surface, clear of other insects if there is such room, and mostly whole in the picture."""
    height_px, width_px = shape
    margin_x, margin_y = (min(int(radius_px * 0.8) + 8, side // 2 - 1) for side in (width_px, height_px))
    best = (int(rng.integers(margin_x, width_px - margin_x)), int(rng.integers(margin_y, height_px - margin_y)))
    for _ in range(_TRIES):
        x, y = int(rng.integers(margin_x, width_px - margin_x)), int(rng.integers(margin_y, height_px - margin_y))
        if where is not None and not where[y, x]:
            continue
        best = (x, y)
        if all(np.hypot(x - a, y - b) > r + radius_px + 10 for a, b, r in taken):
            break
    return best


def _bare(
    rng: Rng, stamp: Stamp, x: int, y: int, shape: tuple[int, ...], produce: Produce | None, on_produce: bool
) -> FloatArray:
    """(n, n) 0..1: what produce leaves in sight of a stamp at (x, y)."""
    bare = np.ones_like(stamp.body)
    box = window(stamp, x, y, shape[0], shape[1])
    if produce is None or produce.height_px is None or box is None:
        return bare
    if not on_produce:
        bare[box.stamp] = ~produce.there[box.picture]
        return bare
    ground = produce.height_px[box.picture]
    under = ground[stamp.body[box.stamp] > 0.5]
    # It sits on what is highest beneath it or, two times in five, deeper among the buds.
    low, high = (50, 97) if rng.random() < 0.6 else (8, 50)
    base = np.percentile(under, rng.uniform(low, high)) if len(under) else 0.0
    over = base + stamp.height_mm[box.stamp] * PX_PER_MM * 1.2 + 1.5 - ground
    bare[box.stamp] = blurred(np.clip(over / 2 + 0.5, 0, 1).astype(np.float32), 0.5)
    return bare


def _own(owner: NDArray[np.int16], stamp: Stamp, x: int, y: int, mask: MaskArray, number: int) -> None:
    box = window(stamp, x, y, owner.shape[0], owner.shape[1])
    if box is not None:
        owner[box.picture][mask[box.stamp]] = number


def _cover(
    rng: Rng, scene: Scene, owner: NDArray[np.int16], creature: Creature, at: tuple[int, int], light: Light
) -> None:
    """A flake of a plant, or on cloth perhaps a fibre, lies over part of it."""
    if scene.ground == "cloth" and rng.random() < 0.5:
        cover = bits.fibre(rng, light.hiding)
    else:
        cover = bits.flake(rng, light.hiding, max(0.5, creature.length_mm * rng.uniform(0.4, 0.8)))
    off = unit(rng.uniform(0, 6.28)) * creature.length_mm * PX_PER_MM * 0.42
    x, y = at[0] + int(off[0]), at[1] + int(off[1])
    lay(scene.picture, cover, x, y, light, 0.2)
    past = cover.through.mean(axis=2) * (1 - (1 - light.below) * 0.85 * cover.cover)
    _own(owner, cover, x, y, past < 0.6, _COVER)
