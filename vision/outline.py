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

from vision.fine import Box, Window, Windows
from vision.scales import ScaleMap
from vision.types import FloatArray, MaskArray, Speck, Surface, Tone

_GROWTHS = 3
"""How often a window may double."""
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
_NATURAL = np.float32(-np.log(10))
"""Turns a density into the natural logarithm of the light that is left."""
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""Weights of red, green and blue in luminance (IEC 61966-2-1)."""


def cut_out(
    windows: Windows,
    scale: ScaleMap,
    centre: tuple[int, int],
    direction: NDArray[np.float64],
    on_produce: bool,
    signal: float,
    likely: float,
    glanced: tuple[float, ...],
    surface_density: tuple[float, float, float],
    response: tuple[float, ...],
) -> Speck | None:
    """The speck at `centre` (row, column in working pixels), or None where nothing of a body's size stands out there.

    `direction` (3,) is the colour direction in which it stands out most: inverse covariance times contrast (Fisher, 1936).
    """
    smoothed = 0.0 if signal > _NEEDS_NO_SMOOTHING else _SMOOTHING
    # Two halvings finer than where it stood out, an outline is mostly ten pixels wide; of large ones one halving is plenty.
    finer = 2 if scale.level <= _SMALL_LEVEL else 1
    level, sigma_px = max(windows.finest, scale.level - finer), scale.sigma_px
    look = _Look(centre, sigma_px, direction, smoothed, on_produce)
    seen = _seen_whole(windows, level, look)
    if seen is None:
        return None
    found, look = seen
    # What stood out at too coarse a scale is cut out again at its own, so that it does not matter where it was noticed.
    width_px = found.width_px
    own = max(windows.finest, math.floor(math.log2(max(width_px, 1e-3) / _ACROSS_PX)))
    if own < level:
        closer = replace(look, sigma_px=min(sigma_px, _SIGMA_OF_WIDTH * width_px))
        found = closer.at(windows.of(own, found.box(closer.sigma_px, centre))) or found
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


def _seen_whole(windows: Windows, level: int, look: _Look) -> tuple[_Cut, _Look] | None:
    """The speck at a level, in a window that grows until it holds it, or its core where it runs out into something else; and the look
    that shows it so."""
    half = _REACH * max(look.sigma_px, 0.8) + 2
    first = found = look.at(windows.around(level, *look.centre, half))
    for _ in range(_GROWTHS):
        if found is None or not found.goes_on:
            break
        # Among produce much runs on and on: the window grows at a coarser level, so that its pixels do not become more.
        level, half = min(level + windows.with_produce, len(windows.pyramid) - 1), 2 * half
        found = look.at(windows.around(level, *look.centre, half))
    if first is None or found is None:
        return None
    evenly = float(np.median(found.strength[found.mask])) >= _EVENLY
    if (
        found is first
        or not windows.with_produce
        or evenly
        or found.width_px <= _WIDEST * look.sigma_px / _SIGMA_OF_WIDTH
    ):
        return found, look
    # Long bodies run out of their first window, but no wider than they stood out. What does is a body and the rim, the shade or the
    # piece of produce that it clings to; they part where the contrast is higher.
    for least in _TIGHTER:
        closer = replace(look, least=least)
        core = closer.at(first.window)
        if core is not None and not core.goes_on:
            return core, closer
    return first, look


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
        depth = cv2.distanceTransform(np.pad(self.mask, 1).astype(np.uint8), cv2.DIST_L2, 5)
        return 2 * float(depth.max()) * self.window.zoom

    def box(self, sigma_px: float, centre: tuple[int, int]) -> Box:
        """What a closer look has to hold: the speck, and what is round its centre, with some way beyond."""
        rows, columns = np.flatnonzero(self.mask.any(axis=1)), np.flatnonzero(self.mask.any(axis=0))
        zoom, half = self.window.zoom, _REACH * max(sigma_px, 0.8) + 2
        beyond = 2 * sigma_px + 2 * zoom
        top, left = self.window.top, self.window.left
        return Box(
            min(top + rows[0] * zoom - beyond, centre[0] - half), min(left + columns[0] * zoom - beyond, centre[1] - half),
            max(top + rows[-1] * zoom + beyond, centre[0] + half), max(left + columns[-1] * zoom + beyond, centre[1] + half),
        )  # fmt: skip

    def near(self) -> tuple[slice, slice]:
        """The part of the window that the speck and its surroundings take up."""
        rows, columns = np.flatnonzero(self.mask.any(axis=1)), np.flatnonzero(self.mask.any(axis=0))
        return (
            slice(max(int(rows[0]) - _AROUND_PX, 0), int(rows[-1]) + _AROUND_PX + 1),
            slice(max(int(columns[0]) - _AROUND_PX, 0), int(columns[-1]) + _AROUND_PX + 1),
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

    def at(self, window: Window) -> _Cut | None:
        """The speck as it shows in a window."""
        zoom = window.zoom
        seed = round((self.centre[0] - window.top) / zoom), round((self.centre[1] - window.left) / zoom)
        seed = min(max(seed[0], 0), window.residual.shape[0] - 1), min(max(seed[1], 0), window.residual.shape[1] - 1)
        sigma = max(self.sigma_px / zoom, 0.8)
        cut = _half_contrast(window.residual, self.direction, seed, sigma, self.smoothed, self.on_produce, self.least)
        return None if cut is None else _Cut(window, *cut)


def _half_contrast(
    window: FloatArray,
    direction: NDArray[np.float64],
    seed: tuple[int, int],
    sigma: float,
    smoothed: float,
    on_produce: bool,
    least: float,
) -> tuple[MaskArray, FloatArray, FloatArray] | None:
    # Blur mixes light, not density: of a dark body half of the light lost is where its edge is, half of the density well inside.
    y = np.asarray(_light_lost(window) @ direction.astype(np.float32), dtype=np.float32)
    if smoothed:
        y = np.asarray(cv2.GaussianBlur(y, (0, 0), smoothed), dtype=np.float32)
    around = _ring(y.shape, seed, sigma)
    base = float(np.median(y[around])) if around.any() else 0.0
    # A ring that lies within a large body says nothing of its surroundings; the surface's own level, zero, does.
    base = 0.0 if base > _WITHIN * float(y[seed]) else base
    y = y - base
    spread = 1.4826 * float(np.median(np.abs(y[around]))) if around.any() else 0.0
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
    local = cv2.dilate(
        np.where(body, y, 0).astype(np.float32), cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    )
    local = cv2.GaussianBlur(local, (0, 0), 0.5 * radius)
    # A dark head or a shine must not set the measure for the rest of the body.
    local = np.minimum(local, _ABOVE_MEDIAN * float(np.median(local[body])))
    contrast = (y / np.maximum(local, extent * peak)).astype(np.float32)
    allowed = cv2.dilate(body.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    mask = _connected((contrast > 0.5) & allowed, seed)
    # Beyond the body and its rim, what is as dark belongs to something else: the outline must not run round that too.
    others = cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8)) == 0
    return (
        mask,
        np.where(others, np.minimum(contrast, 0.49), contrast).astype(np.float32),
        (y / peak).astype(np.float32),
    )


def _light_lost(density: FloatArray) -> FloatArray:
    """Share of the light lost at a density against the surroundings; negative where there is more."""
    return np.asarray(1 - np.exp(np.maximum(density, np.float32(-1)) * _NATURAL), dtype=np.float32)


def _ring(shape: tuple[int, ...], seed: tuple[int, int], sigma: float) -> MaskArray:
    yy, xx = np.ogrid[: shape[0], : shape[1]]
    squared = (yy - seed[0]) ** 2 + (xx - seed[1]) ** 2
    return np.asarray((squared > (3.0 * sigma) ** 2) & (squared < (7.5 * sigma) ** 2))


def _connected(mask: MaskArray, seed: tuple[int, int]) -> MaskArray:
    """The part of `mask` that hangs together with `seed`; the seed's own pixel is always in it."""
    mask = mask.copy()
    mask[seed] = True
    labels = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)[1]
    return np.asarray(labels == labels[seed])


def _tone(window: FloatArray, mask: MaskArray, contrast: FloatArray) -> Tone:
    luminance = window @ _LUMINANCE
    around = contrast < 0.25
    base = float(luminance[around].mean()) if around.any() else 0.0
    return Tone.DARKER if float(luminance[mask].mean()) >= base else Tone.LIGHTER


def surface_name(on_produce: bool, ground: str) -> Surface:
    """What the table calls the surface a speck lies on."""
    return Surface.PRODUCE if on_produce else Surface(ground)
