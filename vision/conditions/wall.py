"""The tray's wall, the water drawn up on it, and mist condensed on a cover or rim: nothing can be searched there.

A wall shows as a long dark line that parts the picture's rim from its middle, or runs along the rim itself; what lies beyond it is
out of the water. Mist is texture without gaps: where even the median of the fine detail is far above that of the open water.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray, Ground, Light, LitFrom, MaskArray, Surfaces

_COARSE_PX = 480
"""Longest side of the picture a wall is looked for in: its lines are a millimetre wide with what is drawn up on them."""
_LINE = 0.07
"""Density of a wall's dark face, averaged over a coarse pixel."""
_DRAWN_UP = 0.03
"""Density of the water's slope beside it."""
_LONG = 0.5
"""Least length of a wall, as a share of the picture's shorter side."""
_MIDDLE = 0.4
"""Share of the picture that is left in the middle at least; a line that leaves less is no wall."""
_FINE_PX_PER_MM, _FINE_PX = 8.0, 1000
_MIST = 0.008
"""Median density of the detail from which texture is mist."""
_OVER_WATER = 4.0
"""The same, against the open water's own (noise, ripples)."""
_LEAST_MIST = 0.02
"""Share of the picture from which such texture is no heap of crumbs."""
_THIN = 0.3
"""Mean density from which it is a body: droplets throw most light aside only to gather it again."""
_FOAMY = 0.5
"""Share of bubbles from which such texture is foam."""
_COLOUR = 0.05
"""Spread of the channels' densities from which it has a colour of its own."""
_MUCH = 0.1
"""Share of the picture hidden by a wall from which something should be said of it; of mist, any says that it has to go."""
_LEAST_PRODUCE = 0.05


@dataclass(frozen=True)
class Wall:
    """What hides the picture's rim. `mask` (h, w) bool, working pixels; `share` and `mist` 0..1 of the picture.

    `where`: 'at the top', 'on the left', 'all round', … or '' where there is none; `severity` 0: nothing to say.
    """

    mask: MaskArray
    share: float
    mist: float
    where: str
    severity: float


def find_wall(
    light: Light,
    surfaces: Surfaces,
    ground: Ground | None,
    lit_from: LitFrom,
    px_per_mm: float | None,
    bubbles: MaskArray,
) -> Wall:
    """Wall and mist in a water shot; `px_per_mm` is that of the working picture or None, `bubbles` (h, w) bool what they cover.

    Nothing is found where the ground is said to be something else, where nobody said and produce lies in the picture, or where
    the light comes from above.
    """
    h, w = surfaces.ground.shape
    dry = ground not in (None, Ground.WATER) or (ground is None and surfaces.produce.mean() > _LEAST_PRODUCE)
    if dry or lit_from == LitFrom.ABOVE or min(h, w) < 16:
        return Wall(np.zeros((h, w), bool), 0.0, 0.0, "", 0.0)
    size = _size(h, w, _COARSE_PX)
    foam = _foam(bubbles, size)
    wall = _wall(_small(light.density, size), foam)
    mist = _mist(light.density, wall, foam, px_per_mm)
    outside = cv2.resize(surfaces.outside.view(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    hidden = wall | mist | (outside & ~foam)
    share, of_mist = float(hidden.mean()), float(mist.mean())
    severity = min(1.0, share + 3 * of_mist) if share > _MUCH or of_mist > 0 else 0.0
    return Wall(_enlarged(hidden, h, w), share, of_mist, where_in_words(hidden), severity)


def where_in_words(mask: MaskArray) -> str:
    """Where a mask lies in the picture: the sides whose outer sixth it covers most, 'all round', 'in the middle' or ''."""
    if not mask.any():
        return ""
    h, w = mask.shape
    deep_y, deep_x = max(1, h // 6), max(1, w // 6)
    sides = {
        "at the top": mask[:deep_y],
        "at the bottom": mask[-deep_y:],
        "on the left": mask[:, :deep_x],
        "on the right": mask[:, -deep_x:],
    }
    shares = {name: float(part.mean()) for name, part in sides.items()}
    most = max(shares.values())
    if most < 0.02:
        return "in the middle"
    # A band along one side reaches into the corners of the next ones, a sixth of their length.
    strong = [name for name, value in shares.items() if value > max(0.4 * most, 0.02)]
    return "all round" if len(strong) > 2 else " and ".join(strong)


def _foam(bubbles: MaskArray, size: tuple[int, int]) -> MaskArray:
    """Rafts of bubbles with what lies between these, on the coarse grid."""
    some = cv2.resize(bubbles.view(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    return np.asarray(cv2.morphologyEx(some, cv2.MORPH_CLOSE, np.ones((9, 9), np.uint8)) > 0)


def _size(height: int, width: int, longest: float) -> tuple[int, int]:
    """Width and height of the same picture with a longest side of at most `longest`, as OpenCV takes them."""
    shrink = max(1.0, max(height, width) / longest)
    return max(1, round(width / shrink)), max(1, round(height / shrink))


def _wall(grey: FloatArray, foam: MaskArray) -> MaskArray:
    """Wall, the slope of the water on it and what lies beyond, on the coarse grid."""
    dark = ((np.abs(grey) > _LINE) & ~foam).view(np.uint8)
    dark = np.asarray(cv2.morphologyEx(dark, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)), np.uint8)
    lines = _long_parts(dark)
    if not lines.any():
        return lines
    middle = _middle(lines)
    if middle.mean() < _MIDDLE:
        return np.zeros_like(lines)
    hidden = _at_rim(lines, middle)
    # The slope of the water is fainter than the wall itself and lies beside it.
    slope = (np.abs(cv2.GaussianBlur(grey, (0, 0), 1.0)) > _DRAWN_UP).view(np.uint8)
    beside = cv2.dilate(hidden.view(np.uint8), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9)))
    return np.asarray(hidden | (np.asarray(beside, np.uint8) & slope).astype(bool))


def _small(density: FloatArray, size: tuple[int, int]) -> FloatArray:
    """Green's density on a grid of `size` (width, height): clear things look alike in all channels, and green has least noise."""
    skip = max(1, density.shape[2] // (2 * size[0]))
    small = cv2.resize(density[1, ::skip, ::skip], size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32).reshape(size[1], size[0])


def _long_parts(dark: NDArray[np.uint8]) -> MaskArray:
    """Connected dark parts that are long and reach the picture's edge, or go round most of it."""
    h, w = dark.shape
    count, labels, stats, _ = cv2.connectedComponentsWithStats(dark, connectivity=8)
    kept = np.zeros(count, bool)
    for k in range(1, count):
        left, top, wide, high, _ = (int(v) for v in stats[k])
        if max(wide, high) < _LONG * min(h, w):
            continue
        at_edge = left == 0 or top == 0 or left + wide == w or top + high == h
        kept[k] = at_edge or (wide > 0.6 * w and high > 0.6 * h)
    return np.asarray(kept[labels])


def _middle(lines: MaskArray) -> MaskArray:
    """The largest part of the picture that the lines leave whole."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats((~lines).view(np.uint8), connectivity=4)
    if count < 2:
        return np.zeros(lines.shape, bool)
    return np.asarray(labels == 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax()))


def _at_rim(lines: MaskArray, middle: MaskArray) -> MaskArray:
    """Lines with what lies beyond them; without those that part nothing from the middle and do not run along the rim."""
    h, w = lines.shape
    beyond = ~middle
    count, labels = cv2.connectedComponents(beyond.view(np.uint8), connectivity=8)
    rim = np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]])
    along = np.bincount(rim, minlength=count)
    kept = along >= _LONG * min(h, w)
    kept[0] = False
    return np.asarray(kept[labels])


def _mist(density: FloatArray, wall: MaskArray, foam: MaskArray, px_per_mm: float | None) -> MaskArray:
    """Where droplets have condensed, on the coarse grid."""
    h, w = density.shape[1:]
    size = _size(h, w, _FINE_PX if px_per_mm is None else min(_FINE_PX, max(h, w) * _FINE_PX_PER_MM / px_per_mm))
    grey = _small(density, size)
    fine = np.abs(grey - cv2.GaussianBlur(grey, (0, 0), 2.0))
    fine = np.asarray(cv2.resize(fine, (wall.shape[1], wall.shape[0]), interpolation=cv2.INTER_AREA), np.float32)
    # A median, on 8 bits in steps of 0.001 of density, so that neither specks nor bubbles' rims count.
    usual = np.asarray(cv2.medianBlur(np.minimum(fine * 1000, 255).astype(np.uint8), 7))
    texture = (usual > max(_MIST * 1000, _OVER_WATER * float(np.median(usual)))) & ~wall
    closed = cv2.morphologyEx(texture.view(np.uint8), cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(np.asarray(closed, np.uint8), connectivity=8)
    mist = np.zeros(texture.shape, bool)
    for k in range(1, count):
        here = np.asarray(labels == k)
        large = stats[k, cv2.CC_STAT_AREA] > _LEAST_MIST * texture.size
        if large and float(foam[here].mean()) < _FOAMY and _is_clear(density, here):
            mist |= here
    return mist


def _is_clear(density: FloatArray, here: MaskArray) -> bool:
    """Whether what lies under a mask on the coarse grid lets light through, without a colour of its own."""
    tone = [float(cv2.resize(p, here.shape[::-1], interpolation=cv2.INTER_NEAREST)[here].mean()) for p in density]
    return sum(tone) < 3 * _THIN and max(tone) - min(tone) < _COLOUR + max(sum(tone) / 9, 0.0)


def _enlarged(mask: MaskArray, height: int, width: int) -> MaskArray:
    big = cv2.resize(mask.view(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST)
    return np.asarray(big).view(bool)
