"""Where the panel of a profile lies in a shot: what the panel's light and marks look like, sought in the shot's ground.

Both pictures are reduced, freed of slow changes of light and laid over each other by masked correlation (Fourier transforms), so
that produce, specks and water beside the pattern count for nothing. Tiles then say how far the camera came nearer or was turned.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.polynomial.legendre import legvander
from numpy.typing import NDArray
from scipy import fft

from vision.ground import find_level, read_cells
from vision.light import linear_light
from vision.types import EvenLight, FixedMark, FloatArray, MaskArray, Shot

_LONG_SIDE = 480
"""Pixels along the reduced pictures' longer side: a thousandth of it is the smallest shift that matters."""
_CELLS_ACROSS = 80
_HOLE_PX = 21
_SLOW = 0.025
"""Standard deviation, as a share of the long side, of what counts as slow change: lamps 10 to 25 mm apart stay."""
_LEAST_PATTERN = 0.001
"""Density (RMS) of a pattern below which it may be the noise of a map made from one blank."""
_MOST_DENSITY = 0.12
"""Where specks and marks are cut off, so that a few dark ones do not outvote all else."""
_FURTHEST = 0.12
"""Shifts that are sought, as a share of the long side."""
_AREA_PX = 9.0
"""Reduced pixels that vary together, about: what counts as one independent value."""
_ALIKE = 0.8
"""Shifts that fit nearly as well as the best one: rows of lamps fit again one row further on."""
_NEARER = 0.3
_DEGREE = 8
_ALL_THERE = 0.6
"""Share of the pattern from which no other scale is tried: of few marks the middle one fits at any."""
_SCALES = (0.97, 1.03, 0.94, 1.06)
_TILES, _TILE_REACH_PX = 4, 7
_LEAST_TILE, _LEAST_TILES = 0.01, 4
"""Share of the pattern's strength a tile must hold before it is asked, and tiles that must answer before scale and turn are."""


@dataclass(frozen=True)
class Reduced:
    """A shot beside its profile, small: decimal logarithms of linear light, float32 (h, w, 3); bool (h, w) bare ground."""

    log: FloatArray
    map_log: FloatArray
    ground: MaskArray
    px: float
    """Shot pixels to one of these."""


@dataclass(frozen=True)
class Fit:
    """How the panel lies in a shot. Lengths in shot pixels; `right_px`, `down_px`: by how much further it lies in the shot."""

    right_px: float
    down_px: float
    scale: float
    """How much larger the panel is in the shot."""
    turn_deg: float
    share: float
    """How much of the pattern that was expected is there: about 1 where all of it is, 0 where none."""
    certainty: float
    """That share in its own standard deviations."""
    could_tell: float
    """What `certainty` would be, were all of the pattern there."""


def reduce_both(even_light: EvenLight, shot: Shot) -> Reduced:
    """Shot and map at one small size, and where the shot shows bare ground."""
    step = max(1, round(max(shot.width_px, shot.height_px) / _LONG_SIDE))
    size = (max(1, shot.width_px // step), max(1, shot.height_px // step))
    whole = shot.pixels[: size[1] * step, : size[0] * step]
    # The mean of encoded values: far quicker than of light, and the same but at edges.
    log = np.log10(np.maximum(linear_light(cv2.resize(whole, size, interpolation=cv2.INTER_AREA)), 1e-4))
    level = _map_at(even_light, size, step)
    cells = read_cells(np.ascontiguousarray(log.transpose(2, 0, 1)), _LONG_SIDE / _CELLS_ACROSS)
    _, ground = find_level(cells, even_light)
    spread = cv2.resize(ground.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    # Marks are no bare ground, but they are the panel's own: holes of a few millimetres are closed.
    spread = cv2.morphologyEx(
        spread, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (_HOLE_PX, _HOLE_PX))
    )
    map_log = np.log10(np.maximum(level.reshape(*log.shape), 1e-4))
    return Reduced(log.astype(np.float32), map_log.astype(np.float32), np.asarray(spread > 0), float(step))


def _map_at(even_light: EvenLight, size: tuple[int, int], step: int) -> FloatArray:
    """The map where the reduced pixels lie, (h, w, 3)."""
    gh, gw = even_light.level.shape[:2]
    across, down = step * gw / even_light.width_px, step * gh / even_light.height_px
    warp = np.array([[across, 0, 0.5 * across - 0.5], [0, down, 0.5 * down - 0.5]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    out = cv2.warpAffine(even_light.level, warp, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(out, dtype=np.float32)


def fit_panel(both: Reduced, marks: Sequence[FixedMark]) -> Fit:
    """Where the panel lies, by its light's pattern and its marks."""
    weight = both.ground.astype(np.float32)
    whole = both.map_log.mean(axis=2)
    # What is smooth goes first: at the picture's edge a slope would read as a pattern of its own, which does not move.
    smooth = _smooth(whole)
    wanted = whole - smooth
    drawn = draw_marks(marks, wanted.shape, both.px)
    seen = _fast(both.log.mean(axis=2) - smooth, weight)
    best: tuple[_Peak, float] | None = None
    for scale in (1.0, *_SCALES):
        pattern = _fast(_scaled(wanted - drawn, scale), None)
        only_marks = _fast(_scaled(-drawn, scale), None)
        peak = _best_shift(seen, weight, pattern, only_marks)
        if best is None or peak.certainty > 1.15 * best[0].certainty:
            best = peak, scale
        if scale == 1.0 and (peak.could_tell < 6 or (peak.share > _ALL_THERE and peak.certainty > 12)):
            break
    assert best is not None
    peak, scale = best
    pattern = _fast(_scaled(wanted - drawn, scale), None)
    x, y, more, turn = _from_tiles(seen, weight, pattern, peak)
    return Fit(x * both.px, y * both.px, scale * more, turn, peak.share, peak.certainty, peak.could_tell)


def _smooth(log: FloatArray) -> FloatArray:
    """Polynomials of the eighth degree through the map (h, w): what falls off slowly and has no place of its own."""
    y, x = (legvander(np.linspace(-1, 1, n), _DEGREE) for n in log.shape)
    low = np.add.outer(np.arange(_DEGREE + 1), np.arange(_DEGREE + 1)) <= _DEGREE
    known = (y[::12, None, :, None] * x[None, ::12, None, :])[..., low].reshape(-1, int(low.sum()))
    factors = np.zeros(low.shape)
    lhs = known.T @ known + 1e-9 * np.eye(known.shape[1])
    factors[low] = np.linalg.solve(lhs, known.T @ log[::12, ::12].ravel())
    return np.asarray(y @ factors @ x.T, dtype=np.float32)


def draw_marks(marks: Sequence[FixedMark], shape: tuple[int, ...], px: float) -> FloatArray:
    """Density of the marks as the reduced picture (h, w) should show them."""
    out = np.zeros(shape, np.float32)
    for mark in marks:
        x, y = ((v + 0.5) / px - 0.5 for v in (mark.x_px, mark.y_px))
        long, wide = (mark.length_px, mark.width_px) if mark.length_px > 0 else (2 * mark.radius_px, 2 * mark.radius_px)
        # A mark's strip is wider than the mark; and what is narrower than a pixel is as much fainter.
        long, wide = max(long / px, 0.3), max(0.6 * wide / px, 0.3)
        reach = 0.5 * math.hypot(long, wide) + 2
        rows = slice(max(0, int(y - reach)), min(shape[0], int(y + reach) + 2))
        columns = slice(max(0, int(x - reach)), min(shape[1], int(x + reach) + 2))
        yy, xx = np.mgrid[rows, columns]
        c, s = math.cos(math.radians(mark.angle_deg)), math.sin(math.radians(mark.angle_deg))
        along = np.abs((xx - x) * c + (yy - y) * s)
        across = np.abs((yy - y) * c - (xx - x) * s)
        cover = np.clip(long / 2 - along + 0.5, 0, min(1, long)) * np.clip(wide / 2 - across + 0.5, 0, min(1, wide))
        out[rows, columns] = np.maximum(out[rows, columns], cover * min(max(mark.density, -0.3), 0.6))
    return cv2.GaussianBlur(out, (0, 0), 0.6).astype(np.float32)


def _fast(log: FloatArray, weight: FloatArray | None) -> FloatArray:
    """What is left of log light without its slow change, cut off at a density a mark has; 0 where the weight is."""
    ones = np.ones_like(log) if weight is None else weight
    slow = _slow(log * ones) / np.maximum(_slow(ones), 1e-3)
    return np.asarray(np.clip(log - slow, -_MOST_DENSITY, _MOST_DENSITY) * ones, dtype=np.float32)


def _slow(picture: FloatArray) -> FloatArray:
    """The slow part of a picture, beyond whose edge nothing is: at a quarter of the size, which is fine enough for it."""
    h, w = picture.shape
    small = cv2.resize(picture, (max(1, w // 4), max(1, h // 4)), interpolation=cv2.INTER_AREA)
    blurred = cv2.GaussianBlur(small, (0, 0), _SLOW * _LONG_SIDE / 4, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(cv2.resize(blurred, (w, h), interpolation=cv2.INTER_LINEAR), dtype=np.float32)


def _scaled(picture: FloatArray, scale: float) -> FloatArray:
    if scale == 1.0:
        return np.asarray(picture, dtype=np.float32)
    h, w = picture.shape
    warp = np.array([[scale, 0, (1 - scale) * (w - 1) / 2], [0, scale, (1 - scale) * (h - 1) / 2]])
    return np.asarray(cv2.warpAffine(picture, warp, (w, h), borderMode=cv2.BORDER_REPLICATE), dtype=np.float32)


@dataclass(frozen=True)
class _Peak:
    x: float
    y: float
    share: float
    certainty: float
    could_tell: float


def _best_shift(seen: FloatArray, weight: FloatArray, pattern: FloatArray, marks: FloatArray) -> _Peak:
    """The shift, in reduced pixels, at which most of the pattern is there."""
    h, w = seen.shape
    reach = int(_FURTHEST * _LONG_SIDE)
    size = (fft.next_fast_len(h + reach, real=True), fft.next_fast_len(w + reach, real=True))

    def forward(picture: FloatArray) -> NDArray[Any]:
        return np.asarray(fft.rfft2(picture, size, workers=2))

    def back(product: NDArray[Any]) -> FloatArray:
        full = np.asarray(fft.irfft2(product, size, workers=2), dtype=np.float32)
        return np.roll(full, (reach, reach), axis=(0, 1))[: 2 * reach + 1, : 2 * reach + 1]

    seen_f, weight_f = forward(seen), forward(weight)
    common = back(seen_f * np.conj(forward(pattern)))
    power = back(weight_f * np.conj(forward(pattern**2)))
    least = 0.2 * float(power[reach, reach]) + 1e-6
    fit = np.where(power > least, common / np.sqrt(np.maximum(power, least)), 0)
    rows, columns = np.ogrid[-reach : reach + 1, -reach : reach + 1]
    # Stands are nudged more often than they are moved: a far place has to fit better than a near one.
    fit = fit * np.exp(-_NEARER * (rows**2 + columns**2) / reach**2)
    row, column = _chosen(fit, seen, marks, weight, reach)
    share = float(common[row, column] / max(float(power[row, column]), least))
    rest = float((seen**2).sum()) - share * float(common[row, column])
    noise = math.sqrt(max(rest, 1e-9) * _AREA_PX / max(float(weight.sum()), 1.0))
    strength = math.sqrt(max(float(power[row, column]), 0.0))
    dx, dy = _vertex(fit[row, :], column), _vertex(fit[:, column], row)
    if strength < _LEAST_PATTERN * math.sqrt(max(float(weight.sum()), 1.0)):
        return _Peak(0.0, 0.0, share, 0.0, 0.0)
    return _Peak(column - reach + dx, row - reach + dy, share, share * strength / noise, strength / noise)


def _chosen(fit: FloatArray, seen: FloatArray, marks: FloatArray, weight: FloatArray, reach: int) -> tuple[int, int]:
    """The best place; of several that fit nearly alike the one where the marks are, or else the nearest."""
    peaks = (fit >= cv2.dilate(fit, np.ones((5, 5), np.uint8))) & (fit >= _ALIKE * fit.max()) & (fit > 0)
    rows, columns = np.nonzero(peaks)
    if len(rows) == 0:
        return reach, reach
    order = np.argsort(np.hypot(rows - reach, columns - reach))[:12]
    rows, columns = rows[order], columns[order]
    if len(rows) == 1 or not marks.any():
        return int(rows[0]), int(columns[0])
    scores = []
    for row, column in zip(rows, columns, strict=True):
        moved = _moved(marks, int(column) - reach, int(row) - reach)
        scores.append(float((seen * moved).sum()) / math.sqrt(float((weight * moved**2).sum()) + 1e-6))
    best = int(np.argmax(scores))
    return (int(rows[best]), int(columns[best])) if scores[best] > 1.2 * scores[0] else (int(rows[0]), int(columns[0]))


def _moved(picture: FloatArray, right: int, down: int) -> FloatArray:
    """The picture moved by whole pixels, 0 where it has left."""
    out = np.zeros_like(picture)
    h, w = picture.shape
    to = (slice(max(0, down), min(h, h + down)), slice(max(0, right), min(w, w + right)))
    out[to] = picture[max(0, -down) : min(h, h - down), max(0, -right) : min(w, w - right)]
    return out


def _vertex(values: NDArray[Any], at: int) -> float:
    """Where between the samples the peak at `at` lies, -0.5 to 0.5 (vertex of a parabola through three)."""
    if not 0 < at < len(values) - 1:
        return 0.0
    left, middle, right = (float(v) for v in values[at - 1 : at + 2])
    bend = left - 2 * middle + right
    return 0.0 if bend >= 0 else float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5))


def _from_tiles(
    seen: FloatArray, weight: FloatArray, pattern: FloatArray, peak: _Peak
) -> tuple[float, float, float, float]:
    """Shift of the picture's middle, scale and turn from where each tile of the pattern lies; the peak's own where they can't say."""
    h, w = seen.shape
    x0, y0, reach = round(peak.x), round(peak.y), _TILE_REACH_PX
    # At the picture's edge the slow change is told from one side only, which does not move with the panel.
    edge = round(_SLOW * _LONG_SIDE)
    tall, wide = (h - 2 * edge) // _TILES, (w - 2 * edge) // _TILES
    found = []
    total = float((pattern**2).sum())
    for row in range(_TILES):
        for column in range(_TILES):
            top, left = edge + row * tall, edge + column * wide
            high, low = top + y0 - reach, left + x0 - reach
            if min(high, low) < 0 or high + tall + 2 * reach > h or low + wide + 2 * reach > w:
                continue
            tile = pattern[top : top + tall, left : left + wide]
            window = (slice(high, high + tall + 2 * reach), slice(low, low + wide + 2 * reach))
            common = cv2.matchTemplate(seen[window], tile, cv2.TM_CCORR)
            power = cv2.matchTemplate(weight[window], tile**2, cv2.TM_CCORR)
            own = float((tile**2).sum())
            fit = common / np.sqrt(np.maximum(power, 0.2 * own + 1e-6))
            at = np.unravel_index(int(fit.argmax()), fit.shape)
            share = float(common[at] / max(power[at], 0.2 * own, 1e-9))
            if own > _LEAST_TILE * total and 0.3 < share < 2 and 0 < at[0] < 2 * reach and 0 < at[1] < 2 * reach:
                dx, dy = _vertex(fit[at[0]], int(at[1])), _vertex(fit[:, at[1]], int(at[0]))
                middle = (left + wide / 2 - w / 2, top + tall / 2 - h / 2)
                found.append((*middle, x0 + at[1] - reach + dx, y0 + at[0] - reach + dy, float(fit.max())))
    if len(found) < _LEAST_TILES:
        return peak.x, peak.y, 1.0, 0.0
    return _similarity(np.array(found), peak)


def _similarity(found: NDArray[np.float64], peak: _Peak) -> tuple[float, float, float, float]:
    """Shift, scale and turn through the tiles' shifts (n, 5: place x, y, shift x, y, weight), outliers weighed down."""
    x, y, dx, dy, weight = found.T
    zero, one = np.zeros_like(x), np.ones_like(x)
    terms = np.concatenate([np.stack([one, zero, x, -y], axis=1), np.stack([zero, one, y, x], axis=1)])
    target, trust = np.concatenate([dx, dy]), np.concatenate([weight, weight])
    own = trust.copy()
    for _ in range(6):
        lhs = (terms * own[:, None]).T @ terms + np.diag([1e-6, 1e-6, 1.0, 1.0])
        answer = np.linalg.solve(lhs, (terms * own[:, None]).T @ target)
        away = np.abs(target - terms @ answer)
        far = np.hypot(away[: len(x)], away[len(x) :])
        own = trust * np.tile(1 / np.maximum(far / 0.3, 1) ** 2, 2)
    if np.median(far) > 1.0:
        return peak.x, peak.y, 1.0, 0.0
    return float(answer[0]), float(answer[1]), 1.0 + float(answer[2]), math.degrees(float(answer[3]))
