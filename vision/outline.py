"""Cutting one speck out of what is round it: its outline at half its own contrast.

Half contrast is where a blurred edge keeps its true place (a symmetrical blur moves the half-way point of a straight edge
nowhere). Bodies are not equally dark everywhere (a dark head on a pale body), so half of the contrast near by is taken, not
half of the darkest point.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.arrays import depth_within, median
from vision.fine import Box, Window, Windows
from vision.scales import ScaleMap
from vision.types import FloatArray, MaskArray, Speck, Surface, Tone

_GROWTHS = 3
"""How often a window may double."""
_STEPS = 3
"""How often an outline is cut out again at a finer level."""
_WIDEST = 2.0
"""How much wider than it stood out an outline may be that runs out of its first window."""
_EVENLY = 0.75
"""Share of the peak's contrast that most of an outline has at the least if all of it is one thing, however wide."""
_TIGHTER = (0.6, 0.7, 0.8, 0.9)
"""Shares of the peak's contrast, in turn, from which something is left that does not run out of it."""
_AROUND_PX = 12
"""Window pixels round an outline that are kept with it: its surroundings."""
_REACH = 7.0
"""First half-width of the window, in sigmas of the scale: bodies up to about five times as long as wide fit."""
_SMALL_LEVEL = 2
"""Level of the pyramid up to which what stands out is small."""
_ACROSS_PX = 8.0
"""How many pixels wide a body is to be in its window, where the shot has as many."""
_SIGMA_OF_WIDTH = 0.4
"""The smoothing at which a body stands out most, in its widths."""
_EXTENT = 0.35
"""Share of the peak's contrast down to which a paler part still belongs to the body."""
_ABOVE_MEDIAN = 1.2
"""Contrast, in medians of the body's, beyond which a part does not count as the body's own level: a head, a wing's edge."""
_WITHIN = 0.4
"""Share of the peak above which the ring round it is taken to lie on the same body."""
_SMOOTHING = 0.6
"""Standard deviation, in window pixels, of what is smoothed before an outline is drawn, against noise."""
_NEEDS_NO_SMOOTHING = 40.0
"""Signal to noise above which it is not smoothed, so that corners and small bodies keep their form."""
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""Weights of red, green and blue in luminance (IEC 61966-2-1)."""


def cut_out(
    windows: Windows,
    scale: ScaleMap,
    centre: tuple[int, int],
    direction: NDArray[np.float64],
    produce: MaskArray,
    signal: float,
    likely: float,
    glanced: tuple[float, ...],
    surface_density: tuple[float, float, float],
    response: tuple[float, ...],
) -> Speck | None:
    """The speck at `centre` (row, column in working pixels), or None where nothing of a body's size stands out there.

    `produce` (h, w) says which working pixels are produce; `direction` (3,) is the colour direction in which it stands out most:
    inverse covariance times contrast (Fisher, 1936).
    """
    on_produce = bool(produce[centre])
    smoothed = 0.0 if signal > _NEEDS_NO_SMOOTHING else _SMOOTHING
    # Two halvings finer than where it stood out, an outline is mostly ten pixels wide; of large ones one halving is plenty.
    finer = 2 if scale.level <= _SMALL_LEVEL else 1
    level, sigma_px = max(windows.finest, scale.level - finer), scale.sigma_px
    found = _find(windows, level, _Look(centre, sigma_px, direction, smoothed, on_produce), produce)
    if found is None:
        return None
    window, mask = found.window, found.mask
    if mask.sum() < 4 and window.zoom <= 1 and scale.sigma_px > 1.6:
        return None
    tone = _tone(window.residual, mask, found.contrast)
    part = found.near()
    return Speck(
        window.top + part[0].start * window.zoom, window.left + part[1].start * window.zoom, window.zoom, mask[part],
        found.contrast[part], found.strength[part], window.residual[part], surface_density, on_produce, tone, signal,
        scale.sigma_px, likely, glanced, smoothed, response,
    )  # fmt: skip


def _find(windows: Windows, level: int, look: _Look, produce: MaskArray) -> _Cut | None:
    """The speck, from a first look at `level`: whole, at its own level; or its core, where it runs out into produce."""
    first = look.at(windows.around(level, *look.centre, look.half_px))
    if first is None or not first.goes_on:
        return None if first is None else _closer(windows, look, first)
    whole = _seen_whole(windows, level, look)
    found = None if whole is None else _closer(windows, look, whole)
    # Long bodies run out of their first window, but no wider than they stood out, and large ones are as dark all over. What is neither,
    # by a piece of produce, is a body and the rim, the shade or the piece that it clings to; they part where the contrast is higher.
    if (
        found is None
        or found.evenness >= _EVENLY
        or found.width_px <= _WIDEST * look.sigma_px / _SIGMA_OF_WIDTH
        or not produce[found.rows, found.columns].any()
    ):
        return found
    for least in _TIGHTER:
        tighter = replace(look, least=least)
        core = tighter.at(first.window)
        if core is not None and not core.goes_on:
            return _closer(windows, tighter, core)
    return found


def _seen_whole(windows: Windows, level: int, look: _Look) -> _Cut | None:
    """What runs out of its first window: that grows at ever coarser levels, so that its pixels do not become more."""
    found: _Cut | None = None
    for n in range(1, _GROWTHS + 1):
        coarser = min(level + n, len(windows.pyramid) - 1)
        found = look.at(windows.around(coarser, *look.centre, 2**n * look.half_px))
        if found is None or not found.goes_on:
            break
    return found


def _closer(windows: Windows, look: _Look, found: _Cut) -> _Cut:
    """What was seen too coarsely is cut out again at its own level, so that it does not matter where it was noticed.

    In steps: of a line one pixel wide the width is not known any better than that.
    """
    for _ in range(_STEPS):
        width_px = found.width_px
        own = max(windows.finest, math.floor(math.log2(max(width_px, 1e-3) / _ACROSS_PX)))
        if own >= found.window.level:
            break
        nearer = replace(look, sigma_px=min(look.sigma_px, _SIGMA_OF_WIDTH * width_px))
        again = nearer.at(windows.of(own, found.box(nearer)))
        # What runs out of a window that held it has met something that lies beside it.
        if again is None or again.goes_on:
            break
        found = again
    return found


@dataclass(frozen=True)
class _Cut:
    """A speck in a window: `mask` bool, `contrast` and `strength` float32, all (n, m), as a Speck has them."""

    window: Window
    mask: MaskArray
    contrast: FloatArray
    strength: FloatArray

    @property
    def goes_on(self) -> bool:
        """Whether it runs out of the window where the picture goes on."""
        sides = self.mask[0], self.mask[:, 0], self.mask[-1], self.mask[:, -1]
        return any(ends and bool(side.any()) for ends, side in zip(self.window.cut, sides, strict=True))

    @property
    def width_px(self) -> float:
        """Diameter, in working pixels, of the largest disc within it."""
        return 2 * float(depth_within(self.mask).max()) * self.window.zoom

    @property
    def rows(self) -> slice:
        """The working pixels' rows that it takes up."""
        zoom, top = self.window.zoom, self.window.top
        _, first, _, high = cv2.boundingRect(self.mask.view(np.uint8))
        return slice(max(int(first * zoom + top), 0), math.ceil((first + high - 1) * zoom + top) + 1)

    @property
    def columns(self) -> slice:
        """Their columns."""
        zoom, left = self.window.zoom, self.window.left
        first, _, wide, _ = cv2.boundingRect(self.mask.view(np.uint8))
        return slice(max(int(first * zoom + left), 0), math.ceil((first + wide - 1) * zoom + left) + 1)

    @property
    def evenness(self) -> float:
        """Share of its strongest contrast that most of it has."""
        return median(self.strength[self.mask])

    def box(self, look: _Look) -> Box:
        """What a closer look has to hold: the speck, and what is round its centre, with some way beyond."""
        half, (y, x) = look.half_px, look.centre
        beyond = 2 * look.sigma_px + 2 * self.window.zoom
        rows, columns = self.rows, self.columns
        return Box(
            min(rows.start - beyond, y - half), min(columns.start - beyond, x - half),
            max(rows.stop + beyond, y + half), max(columns.stop + beyond, x + half),
        )  # fmt: skip

    def near(self) -> tuple[slice, slice]:
        """The part of the window that the speck and its surroundings take up."""
        left, top, wide, high = cv2.boundingRect(self.mask.view(np.uint8))
        return (
            slice(max(top - _AROUND_PX, 0), top + high + _AROUND_PX),
            slice(max(left - _AROUND_PX, 0), left + wide + _AROUND_PX),
        )


@dataclass(frozen=True)
class _Look:
    """What is known of a speck before it is cut out; `centre` and `sigma_px` in working pixels."""

    centre: tuple[int, int]
    sigma_px: float
    direction: NDArray[np.float64]
    smoothed: float
    on_produce: bool
    least: float = 0.0
    """Share of the peak's contrast that all of it has at the least."""

    @property
    def half_px(self) -> float:
        """Half of the first window, in working pixels."""
        return _REACH * max(self.sigma_px, 0.8) + 2

    def at(self, window: Window) -> _Cut | None:
        """The speck as it shows in a window."""
        zoom = window.zoom
        seed = round((self.centre[0] - window.top) / zoom), round((self.centre[1] - window.left) / zoom)
        seed = min(max(seed[0], 0), window.residual.shape[0] - 1), min(max(seed[1], 0), window.residual.shape[1] - 1)
        sigma = max(self.sigma_px / zoom, 0.8)
        cut = _half_contrast(window.lost, self.direction, seed, sigma, self.smoothed, self.on_produce, self.least)
        return None if cut is None else _Cut(window, *cut)


def _half_contrast(
    lost: FloatArray,
    direction: NDArray[np.float64],
    seed: tuple[int, int],
    sigma: float,
    smoothed: float,
    on_produce: bool,
    least: float,
) -> tuple[MaskArray, FloatArray, FloatArray] | None:
    # Blur mixes light, not density: of a dark body half of the light lost is where its edge is, half of the density well inside.
    y = np.asarray(lost @ direction.astype(np.float32), dtype=np.float32)
    if smoothed:
        y = np.asarray(cv2.GaussianBlur(y, (0, 0), smoothed), dtype=np.float32)
    around = y[_ring(y.shape, seed, sigma)]
    base = median(around) if len(around) else 0.0
    # A ring that lies within a large body says nothing of its surroundings; the surface's own level, zero, does.
    base = 0.0 if base > _WITHIN * float(y[seed]) else base
    y = y - base
    spread = 1.4826 * median(np.abs(around - base)) if len(around) else 0.0
    reach = max(1, round(sigma))
    first, left = max(seed[0] - reach, 0), max(seed[1] - reach, 0)
    near = y[first : seed[0] + reach + 1, left : seed[1] + reach + 1]
    peak = float(near.max())
    if peak <= 0:
        return None
    at = np.unravel_index(int(near.argmax()), near.shape)
    seed = (first + int(at[0]), left + int(at[1]))
    # On produce the surroundings themselves vary, so only what is well above their spread can belong to the body.
    extent = max(least, 0.5 if on_produce else _EXTENT, min(0.6, (2.0 if on_produce else 2.5) * spread / peak))
    body = _connected(y > extent * peak, seed)
    radius = max(1, round(1.2 * sigma))
    size = 2 * radius + 1
    local = cv2.dilate(np.where(body, y, np.float32(0)), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))
    local = np.asarray(cv2.GaussianBlur(local, (0, 0), 0.5 * radius), dtype=np.float32)
    # A dark head or a shine must not set the measure for the rest of the body.
    local = np.minimum(local, _ABOVE_MEDIAN * median(local[body]))
    contrast = y / np.maximum(local, extent * peak)
    allowed = cv2.dilate(body.view(np.uint8), np.ones((3, 3), np.uint8)) > 0
    mask = _connected((contrast > 0.5) & allowed, seed)
    # Beyond the body and its rim, what is as dark belongs to something else: the outline must not run round that too.
    others = cv2.dilate(mask.view(np.uint8), np.ones((3, 3), np.uint8)) == 0
    return mask, np.where(others, np.minimum(contrast, np.float32(0.49)), contrast), y / peak


def _ring(shape: tuple[int, ...], seed: tuple[int, int], sigma: float) -> MaskArray:
    down, across = ((np.arange(n, dtype=np.int32) - middle) ** 2 for n, middle in zip(shape, seed, strict=True))
    squared = down[:, None] + across
    # Whole numbers against whole ones, which need no other type.
    return np.asarray((squared > math.floor((3.0 * sigma) ** 2)) & (squared < math.ceil((7.5 * sigma) ** 2)))


def _connected(mask: MaskArray, seed: tuple[int, int]) -> MaskArray:
    """The part of `mask` that hangs together with `seed`; the seed's own pixel is always in it."""
    filled = mask.astype(np.uint8)
    filled[seed] = 1
    cv2.floodFill(filled, None, (seed[1], seed[0]), (2,), flags=8)
    return np.asarray(filled == 2)


def _tone(window: FloatArray, mask: MaskArray, contrast: FloatArray) -> Tone:
    luminance = window @ _LUMINANCE
    around = contrast < 0.25
    base = float(luminance[around].mean()) if around.any() else 0.0
    return Tone.DARKER if float(luminance[mask].mean()) >= base else Tone.LIGHTER


def surface_name(on_produce: bool, ground: str) -> Surface:
    """What the table calls the surface a speck lies on."""
    return Surface.PRODUCE if on_produce else Surface(ground)
