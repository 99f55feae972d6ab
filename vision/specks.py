"""Where something differs from what is round it, on the ground and on produce, in both tones.

The density is freed of the slow change of each surface, searched at several scales (scales.py), and each place that stands out
is cut out along its own direction in colour (outline.py). Nothing is judged here: what is listed is ranked later.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.outline import cut_out
from vision.scales import ScaleMap, build_pyramid, map_scales
from vision.types import FloatArray, Light, MaskArray, Speck, Surfaces

_LARGEST_SIGMA_MM = 1.3
_LARGEST_SIGMA_PX = 32.0
"""Without a scale: bodies of up to about 160 px."""
_GROUND_CELL_MM, _GROUND_CELL_PX = 4.0, 96.0
_PRODUCE_CELL_MM, _PRODUCE_CELL_PX = 2.5, 60.0
_RIM_MM = 0.35
"""How far from the outline of produce a pixel may be a mixture of piece and ground: blur, and the outline's own error."""
_LEAST_GROUND = 5.0
_LEAST_PRODUCE = 3.8
"""Signal to noise from which a place is listed. Five is the figure usually given to Rose for reliable seeing; on produce the
texture's own tails, not noise, fill the list, and the ranker sorts them."""
_MOST_PLACES = 600
"""Places looked at closer, best first: a bound on time, far above what a person could answer."""


def find_specks(light: Light, surfaces: Surfaces, px_per_mm: float | None) -> tuple[Speck, ...]:
    """Specks of a shot, strongest first. `px_per_mm` is that of the working picture, or None (bodies of 4 to 160 px)."""
    h, w = surfaces.ground.shape
    if min(h, w) < 8 or not (surfaces.ground.any() or surfaces.produce.any()):
        return ()
    residual, backgrounds = _residual(light.density, surfaces, px_per_mm)
    largest = _LARGEST_SIGMA_PX if px_per_mm is None else max(2.0, _LARGEST_SIGMA_MM * px_per_mm)
    levels = max(1, int(np.ceil(np.log2(largest / 1.5))) + 1)
    pyramid = build_pyramid(residual, levels + 2)
    maps = map_scales(pyramid, surfaces, levels)
    found: list[Speck] = []
    taken = np.zeros((h, w), np.uint8)
    looked = 0
    for place in _places(maps, surfaces):
        if taken[place[2] << maps[place[1]].level, place[3] << maps[place[1]].level]:
            continue
        looked += 1
        if looked > _MOST_PLACES:
            break
        speck = _look_closer(place, maps, pyramid, surfaces, backgrounds, taken)
        if speck is not None:
            found.append(speck)
    return tuple(found)


def _background(density: FloatArray, mask: MaskArray, cell_px: float) -> FloatArray:
    """Median density of one surface in cells, (gh, gw, 3) float32; cells without any of it are filled from their neighbours."""
    h, w = mask.shape
    gh, gw = max(1, round(h / cell_px)), max(1, round(w / cell_px))
    n = 7
    rows = np.minimum(((np.arange(gh * n) + 0.5) * h / (gh * n)).astype(int), h - 1)
    cols = np.minimum(((np.arange(gw * n) + 0.5) * w / (gw * n)).astype(int), w - 1)
    picked = density[np.ix_(rows, cols)].astype(np.float32)
    picked[~mask[np.ix_(rows, cols)]] = np.nan
    picked = picked.reshape(gh, n, gw, n, 3).transpose(0, 2, 4, 1, 3).reshape(gh, gw, 3, n * n)
    enough = np.isfinite(picked[:, :, 0]).sum(axis=-1) >= n
    grid = np.zeros((gh, gw, 3), np.float32)
    if not enough.any():
        if mask.any():
            grid[:] = np.median(density[mask][:: max(1, int(mask.sum()) // 10_000)], axis=0)
        return grid
    grid[enough] = np.nanmedian(picked[enough], axis=-1)
    return _fill(grid, enough)


def _fill(grid: FloatArray, known: MaskArray) -> FloatArray:
    """Unknown cells get the average of the known ones near by, from ever farther away; known cells are lightly smoothed."""
    weight = known.astype(np.float32)
    total, norm = np.zeros_like(grid), np.zeros_like(weight)
    for sigma, share in ((0.6, 1.0), (2.0, 1e-3), (8.0, 1e-6), (40.0, 1e-9)):
        total += share * cv2.GaussianBlur(grid * weight[..., None], (0, 0), sigma).reshape(grid.shape)
        norm += share * cv2.GaussianBlur(weight, (0, 0), sigma).reshape(weight.shape)
    return np.asarray(total / np.maximum(norm, 1e-20)[..., None], dtype=np.float32)


Backgrounds = dict[bool, FloatArray]
"""The slow density of the ground (False) and of produce (True), as coarse grids over the picture."""


def _residual(density: FloatArray, surfaces: Surfaces, px_per_mm: float | None) -> tuple[FloatArray, Backgrounds]:
    h, w = surfaces.ground.shape
    grids: Backgrounds = {}
    residual = np.zeros_like(density)
    for on_produce, mask, cell_mm, cell_px in (
        (False, surfaces.ground, _GROUND_CELL_MM, _GROUND_CELL_PX),
        (True, surfaces.produce, _PRODUCE_CELL_MM, _PRODUCE_CELL_PX),
    ):
        cell = cell_px if px_per_mm is None else max(16.0, cell_mm * px_per_mm)
        grids[on_produce] = _background(density, mask, cell)
        if mask.any():
            slow = cv2.resize(grids[on_produce], (w, h), interpolation=cv2.INTER_LINEAR).reshape(h, w, 3)
            np.subtract(density, slow, out=residual, where=mask[..., None])
    if surfaces.produce.any():
        reach = 4 if px_per_mm is None else max(3, round(_RIM_MM * px_per_mm))
        _explain_rim(residual, density, surfaces.produce, surfaces.outside, grids, reach)
    return residual, grids


def _explain_rim(
    residual: FloatArray, density: FloatArray, produce: MaskArray, outside: MaskArray, grids: Backgrounds, reach: int
) -> None:
    """Along the rim of produce a pixel holds some of the piece and some of the ground: what such a mixture explains is no speck.

    The share of the piece is taken from the luminance, the colours follow from it; what is left over stays in `residual`, so
    that a body of another colour at the rim is still found.
    """
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    inside = produce.astype(np.uint8)
    band = (cv2.dilate(inside, kernel) > 0) & ~(cv2.erode(inside, kernel) > 0) & ~outside
    rows, cols = np.nonzero(band)
    if not len(rows):
        return
    light = 10 ** -density[rows, cols]
    bare = 10 ** -_sample(grids[False], rows, cols, produce.shape)
    piece = 10 ** -_sample(grids[True], rows, cols, produce.shape)
    weights = np.array([0.2126, 0.7152, 0.0722], np.float32)  # luminance, IEC 61966-2-1
    span = (bare - piece) @ weights
    share = np.clip(((bare - light) @ weights) / np.where(np.abs(span) < 1e-3, 1e-3, span), 0, 1)
    mixed = bare + share[:, None] * (piece - bare)
    residual[rows, cols] = density[rows, cols] + np.log10(np.maximum(mixed, 1e-5))


def _sample(grid: FloatArray, rows: NDArray[np.intp], cols: NDArray[np.intp], shape: tuple[int, ...]) -> FloatArray:
    """A coarse grid's values at given pixels of a picture of `shape`, bilinear: (n, 3) float32."""
    y = np.clip((rows + 0.5) * grid.shape[0] / shape[0] - 0.5, 0, grid.shape[0] - 1)
    x = np.clip((cols + 0.5) * grid.shape[1] / shape[1] - 0.5, 0, grid.shape[1] - 1)
    i, j = y.astype(int), x.astype(int)
    i1, j1 = np.minimum(i + 1, grid.shape[0] - 1), np.minimum(j + 1, grid.shape[1] - 1)
    fy, fx = (y - i)[:, None].astype(np.float32), (x - j)[:, None].astype(np.float32)
    upper = grid[i, j] * (1 - fx) + grid[i, j1] * fx
    lower = grid[i1, j] * (1 - fx) + grid[i1, j1] * fx
    return np.asarray(upper * (1 - fy) + lower * fy, dtype=np.float32)


def _places(maps: list[ScaleMap], surfaces: Surfaces) -> list[tuple[float, int, int, int]]:
    """Local maxima over all scales: (signal, scale's index, row, column at its level), strongest first."""
    found: list[tuple[float, int, int, int]] = []
    for n, scale in enumerate(maps):
        least = min(_LEAST_GROUND, _LEAST_PRODUCE)
        top = cv2.dilate(scale.signal, np.ones((3, 3), np.uint8))
        rows, cols = np.nonzero((scale.signal >= top) & (scale.signal > least))
        step = 2**scale.level
        on_ground = surfaces.ground[rows * step, cols * step]
        values = scale.signal[rows, cols]
        keep = ~on_ground | (values > _LEAST_GROUND)
        found += [(float(v), n, int(r), int(c)) for v, r, c in zip(values[keep], rows[keep], cols[keep], strict=True)]
    found.sort(key=lambda p: (-p[0], p[1], p[2], p[3]))
    return found


def _look_closer(
    place: tuple[float, int, int, int],
    maps: list[ScaleMap],
    pyramid: list[FloatArray],
    surfaces: Surfaces,
    backgrounds: Backgrounds,
    taken: NDArray[np.uint8],
) -> Speck | None:
    signal, n, row, col = place
    scale = maps[n]
    step = 2**scale.level
    y, x = row * step, col * step
    on_produce = bool(surfaces.produce[y, x])
    contrast = scale.smooth[row, col].astype(np.float64)
    direction = scale.inverse_at(row, col, on_produce) @ contrast
    h, w = taken.shape
    grid = backgrounds[on_produce]
    gi, gj = int(y * grid.shape[0] / h), int(x * grid.shape[1] / w)
    below = tuple(float(v) for v in grid[gi, gj])
    speck = cut_out(
        pyramid, scale, (y, x), direction, on_produce, signal, (below[0], below[1], below[2]), _at(maps, y, x)
    )
    if speck is None:
        return None
    _take(taken, speck)
    return speck


def _at(maps: list[ScaleMap], y: int, x: int) -> tuple[float, ...]:
    out = []
    for scale in maps:
        step = 2**scale.level
        h, w = scale.signal.shape
        out.append(float(scale.signal[min(round(y / step), h - 1), min(round(x / step), w - 1)]))
    return tuple(out)


def _take(taken: NDArray[np.uint8], speck: Speck) -> None:
    """Marks the body and a little round it, so that its other maxima are not listed again."""
    grown = cv2.dilate(speck.mask.astype(np.uint8), np.ones((3, 3), np.uint8))
    if speck.zoom > 1:
        grown = grown.repeat(speck.zoom, axis=0).repeat(speck.zoom, axis=1)
    h, w = taken.shape
    offset = speck.zoom // 2
    top, left = speck.top - offset, speck.left - offset
    y, x = max(top, 0), max(left, 0)
    part = grown[y - top : h - top, x - left : w - left]
    taken[y : y + part.shape[0], x : x + part.shape[1]] |= part.astype(np.uint8)
