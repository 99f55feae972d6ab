"""Where insects lie, what covers them, and their rows: drawn where and in the colour that comes up, faint and hidden ones too."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands.layered.aphids import aphid, skin
from vision.render.hands.layered.caterpillars import caterpillar
from vision.render.hands.layered.clutter import Drawer
from vision.render.hands.layered.colour import Rng, one_of
from vision.render.hands.layered.curves import Points
from vision.render.hands.layered.drawn import Drawn
from vision.render.hands.layered.laying import lay, shade, windows
from vision.render.hands.layered.sheet import Layers, Light, Pose
from vision.render.hands.layered.small_ones import egg, gnat, mite
from vision.render.hands.layered.stamps import STRETCHES, TURNS, Buds, put, stamp
from vision.render.hands.layered.thrips import larva, thrips
from vision.render.hands.seen import Body
from vision.types import FloatArray

DRAWN_BY: Mapping[str, Callable[[Rng, Pose], Drawn]] = {
    "aphid": aphid, "thrips": thrips, "caterpillar": caterpillar, "larva": larva, "mite": mite, "gnat": gnat, "egg": egg,
    "skin": skin,
}  # fmt: skip
_EDGE_PX, _EDGE_OF_CATERPILLAR_PX, _APART_PX = 50, 140, 70
_TRIES = 30
_ON_PRODUCE, _COVERED = 0.8, 0.33
_HIDING_OPACITY = 0.8
"""Through less than this a body still shows, and its contrast is read as it shows."""
_CONTRAST_ROUND_PX = 24
"""How far round a body its contrast may be read."""


@dataclass(frozen=True)
class Lair:
    """What insects are laid on: how often each comes, what may hide them, and the name of the ground and of what covers it."""

    often: Mapping[str, float]
    hiding: tuple[Drawer, ...]
    ground: str
    cover: FloatArray | None = None
    """(h, w) 0..1, produce."""
    buds: Buds | None = None


@dataclass(frozen=True)
class Laid:
    """An insect in the picture; `visible` (n, n) is what shows of its trunk, lessened in place, its middle on pixel `x`, `y`."""

    kind: str
    drawn: Drawn
    angle_deg: float
    x: int
    y: int
    whole: float
    """Sum of the whole trunk."""
    visible: FloatArray


def lay_insects(rng: Rng, scene: FloatArray, light: Light, lair: Lair, count: int) -> list[Laid]:
    """Lays `count` insects of mixed kinds; later ones may lie on earlier ones."""
    laid: list[Laid] = []
    for _ in range(count):
        kind = one_of(rng, list(lair.often), list(lair.often.values()))
        x, y = _spot(rng, kind, scene.shape, laid, lair.cover)
        angle = rng.uniform(0, 2 * np.pi)
        ix, iy = round(x), round(y)
        drawn = DRAWN_BY[kind](rng, Pose(light, angle, x - ix, y - iy))
        layers = drawn.sheet.reduced()
        _lay_one(rng, scene, layers, ix, iy, light, lair.ground)
        _hide(laid, layers.alpha, ix, iy)
        one = Laid(kind, drawn, math.degrees(angle), ix, iy, float(layers.body.sum()), layers.body.copy())
        _cut_to_picture(one, scene.shape)
        laid.append(one)
        if rng.random() < _COVERED:
            _cover(rng, scene, light, lair, laid)
    return laid


def _spot(
    rng: Rng, kind: str, shape: tuple[int, ...], laid: list[Laid], cover: FloatArray | None
) -> tuple[float, float]:
    """A place in px, apart from the others and mostly on produce if some tries find one."""
    edge = _EDGE_OF_CATERPILLAR_PX if kind == "caterpillar" else _EDGE_PX
    for _ in range(_TRIES):
        x, y = rng.uniform(edge, shape[1] - edge), rng.uniform(edge, shape[0] - edge)
        if any(math.hypot(x - o.x, y - o.y) < _APART_PX + o.visible.shape[0] // 2 for o in laid):
            continue
        if cover is None or cover[int(y), int(x)] >= 0.5 or rng.random() >= _ON_PRODUCE:
            break
    return x, y


def _lay_one(rng: Rng, scene: FloatArray, layers: Layers, x: int, y: int, light: Light, ground: str) -> None:
    """Lays a body with its shadow, in water sometimes with a bright seam round it."""
    if ground == "water":
        shade(scene, layers, x, y, light, rng.uniform(0, 0.12), 5.0, 4.0)
    elif light.below or light.wet:
        shade(scene, layers, x, y, light, rng.uniform(0.1, 0.25), 2.0, 2.5)
    else:
        shade(scene, layers, x, y, light, rng.uniform(0.3, 0.55), 4.0, 3.0)
    lay(scene, layers, x, y)
    both = windows(scene.shape, x, y, layers.alpha.shape[0])
    if ground == "water" and rng.random() < 0.5 and both is not None:
        here, own = both
        seam = cv2.GaussianBlur(layers.alpha, (0, 0), 5) - cv2.GaussianBlur(layers.alpha, (0, 0), 2)
        scene[here] *= (1 + 0.25 * np.clip(seam, 0, 1)[own])[..., None]


def _hide(laid: list[Laid], alpha: FloatArray, x: int, y: int) -> None:
    """Takes from what shows of the bodies all that an opacity (n, n), its middle on a pixel, lies too thick over."""
    for one in laid:
        half = one.visible.shape[0] // 2
        both = windows(one.visible.shape, x - one.x + half, y - one.y + half, alpha.shape[0])
        if both is not None:
            one.visible[both[0]] *= alpha[both[1]] < _HIDING_OPACITY


def _cut_to_picture(one: Laid, shape: tuple[int, ...]) -> None:
    """What lies outside the picture does not show."""
    inside = np.zeros_like(one.visible)
    both = windows(shape, one.x, one.y, inside.shape[0])
    if both is not None:
        inside[both[1]] = 1
    one.visible[:] *= inside


def _cover(rng: Rng, scene: FloatArray, light: Light, lair: Lair, laid: list[Laid]) -> None:
    """Lays buds, or some bit, over an outer part of the body laid last."""
    one = laid[-1]
    rows, columns = np.nonzero(one.visible > 0.5)
    if len(rows) < 12:
        return
    far = np.hypot(columns - columns.mean(), rows - rows.mean())
    pick = int(rng.choice(np.argsort(far)[int(len(far) * 0.6) :]))
    half = one.visible.shape[0] // 2
    at = np.array([one.x - half + columns[pick], one.y - half + rows[pick]], float)
    out = np.array([columns[pick] - columns.mean(), rows[pick] - rows.mean()])
    out /= np.hypot(*out) + 1e-6
    buds = lair.buds
    if buds is not None and buds.size.size and np.hypot(buds.x_px - at[0], buds.y_px - at[1]).min() < 24:
        _cover_with_buds(rng, scene, buds, laid, at, out)
        return
    layers = one_of(rng, lair.hiding)(rng, light).reduced()
    reach = math.sqrt(max(int((layers.alpha > 0.4).sum()), 1) / math.pi) * 0.6
    x, y = (int(v) for v in at + out * reach)
    lay(scene, layers, x, y)
    _hide(laid, layers.alpha, x, y)


def _cover_with_buds(rng: Rng, scene: FloatArray, buds: Buds, laid: list[Laid], at: Points, out: Points) -> None:
    """Buds like the nearest one, until a share of the body that comes up is hidden."""
    one, goal = laid[-1], rng.uniform(0.1, 0.5)
    nearest = int(np.argmin(np.abs(buds.x_px - at[0]) + np.abs(buds.y_px - at[1])))
    for _ in range(rng.integers(1, 5)):
        stretch, turn = int(rng.integers(len(STRETCHES) - 1)), int(rng.integers(TURNS))
        made = stamp(buds.white, int(buds.size[nearest]), stretch, turn)
        x, y = (int(v) for v in at + out * made.alpha.shape[0] * 0.21 + rng.normal(0, 8, 2))
        put(scene, x, y, made, buds.colour[nearest])
        _hide(laid, made.alpha, x, y)
        if one.visible.sum() < (1 - goal) * one.whole:
            return


def seen_in(one: Laid, lair: Lair, picture: FloatArray) -> tuple[Body, FloatArray, FloatArray, str]:
    """A body, what shows of it as a mask (h, w), the part of `picture` (H, W, 3) round it (h, w, 3), and what it lies on."""
    height, width = picture.shape[:2]
    left, top = one.x - one.visible.shape[0] // 2, one.y - one.visible.shape[0] // 2
    shown = float(one.visible.sum())
    x, y = float(one.x), float(one.y)
    if shown > 0.5:
        x = left + float((one.visible.sum(0) @ np.arange(one.visible.shape[1])) / shown)
        y = top + float((one.visible.sum(1) @ np.arange(one.visible.shape[0])) / shown)
    on_cover = lair.cover is not None and lair.cover[min(round(y), height - 1), min(round(x), width - 1)] > 0.5
    body = Body(
        kind=one.kind,
        x_px=x,
        y_px=y,
        length_mm=one.drawn.length_mm,
        width_mm=one.drawn.width_mm,
        angle_deg=one.angle_deg,
        visible=float(np.clip(shown / one.whole, 0, 1)),
        curved=one.drawn.curved,
    )
    mask, near = _round(one, picture)
    return body, mask, near, "produce" if on_cover else lair.ground


def _round(one: Laid, picture: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What shows of a body as a mask (h, w), and the picture (h, w, 3) round it."""
    wide = np.pad(one.visible, _CONTRAST_ROUND_PX)
    both = windows(picture.shape, one.x, one.y, wide.shape[0])
    if both is None:
        return np.zeros((1, 1), np.float32), np.zeros((1, 1, 3), np.float32)
    here, own = both
    return np.asarray(wide[own], np.float32), picture[here]
