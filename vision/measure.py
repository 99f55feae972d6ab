"""Size, form and colour of specks: the outline at half contrast, in pixels of the shot; colours against what is round it.

Length is that of the body: for straight ones the largest Feret diameter, for bent ones the length along the curve. Legs and
antennae are taken off first, as whatever is thinner than about a third of the body, because they are not length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from vision.arrays import depth_within, mean_of_channels, medians
from vision.colour import ciede2000, lab_of_density, luminance_density
from vision.contour import Form, trace
from vision.edges import blur_of, edge_slopes, evenness
from vision.midline import middle_line
from vision.types import MaskArray, Measures, Speck

_LEG = 0.34
"""What is thinner than this share of the body's half-width is no body."""
_CUT_IN_TWO = 0.25
"""Area of the second largest part that is left without legs, over the largest's, from which it is no foot."""
_BENT = 0.9
"""Solidity from which an outline is compact: nothing of it is bent far."""
_SLIM = 0.45
"""Ratio of the Feret diameters below which it is looked along whether it bends."""
_LONG = 1.8
"""Length over width below which a body has no middle line worth speaking of."""


@dataclass(frozen=True)
class Measured:
    """A speck with its measures and what the ranker needs beyond them; lengths in pixels of the speck's window."""

    speck: Speck
    measures: Measures
    form: Form
    body: Form
    """The outline without legs and antennae."""
    build: Build
    body_density: NDArray[np.float64]
    around_density: NDArray[np.float64]
    body_lab: NDArray[np.float64]
    around_lab: NDArray[np.float64]
    around_spread: float
    """Standard deviation of the luminance density in the surroundings."""
    edge_evenness: float
    """How much of the slope of its steeper edge its softer one has, 0..1; see edges.py."""


def measure_specks(specks: Sequence[Speck], step: int) -> tuple[Measured, ...]:
    """Measures of every speck that has an outline; `step` is the number of shot pixels per working pixel."""
    traced = [(speck, form) for speck in specks if (form := trace(speck.contrast * _grown(speck.mask))) is not None]
    if not traced:
        return ()
    colours = [_colours(speck) for speck, _ in traced]
    body = np.array([c[0] for c in colours])
    around = np.array([c[1] for c in colours])
    body_lab, around_lab = lab_of_density(body), lab_of_density(around)
    delta_e = ciede2000(body_lab, around_lab)
    density = luminance_density(body) - luminance_density(around)
    out = []
    for k, (speck, form) in enumerate(traced):
        out.append(
            _measured(
                speck,
                form,
                step,
                float(delta_e[k]),
                float(density[k]),
                (body[k], around[k], body_lab[k], around_lab[k], colours[k][2]),
            )
        )
    return _widths_without_blur(out, step)


def shot_blur_px(measured: Sequence[Measured]) -> float | None:
    """The blur of a shot's sharper edges, a standard deviation in its pixels; None where it has too few.

    Bodies may be soft by themselves or lie too deep, but none is sharper than the shot.
    """
    strong = [
        m.measures.blur_px
        for m in measured
        if m.measures.snr > 12 and abs(m.measures.density) > 0.08 and m.measures.equivalent_diameter_px > 5
    ]
    return float(np.percentile(strong, 20)) if len(strong) >= 4 else None


def _widths_without_blur(measured: list[Measured], step: int) -> tuple[Measured, ...]:
    """The same with the shot's blur taken off the widths; a thin body's own edges make it look sharper than it is."""
    wide = [m for m in measured if m.measures.width_px > 6 * m.measures.blur_px]
    shot = shot_blur_px(wide) or 0.0
    out = []
    for m in measured:
        blur = float(np.hypot(max(shot, m.measures.blur_px), m.speck.smoothed_px * m.speck.zoom * step))
        out.append(replace(m, measures=replace(m.measures, width_px=without_blur(m.measures.width_px, blur))))
    return tuple(out)


def _grown(mask: MaskArray) -> MaskArray:
    return np.asarray(cv2.dilate(mask.view(np.uint8), np.ones((3, 3), np.uint8)) > 0)


def _measured(
    speck: Speck,
    form: Form,
    step: int,
    delta_e: float,
    density: float,
    colours: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], float],
) -> Measured:
    body = _without_legs(speck, form)
    build = build_of(body)
    slopes = edge_slopes(speck, form.points)
    blur = blur_of(slopes, speck)
    x, y, angle = _place(speck)
    f = speck.zoom * step
    outline = in_shot(speck, form.points, step).astype(np.float32)
    low, high = np.floor(outline.min(axis=0)), np.ceil(outline.max(axis=0))
    centre = in_shot(speck, np.array([[x, y]]), step).astype(np.float32)[0]
    measures = Measures(
        x_px=float(centre[0]),
        y_px=float(centre[1]),
        left_px=max(int(low[0]), 0),
        top_px=max(int(low[1]), 0),
        wide_px=int(high[0] - max(low[0], 0)) + 1,
        high_px=int(high[1] - max(low[1], 0)) + 1,
        angle_deg=angle,
        length_px=build.length * f,
        width_px=build.width * f,
        max_feret_px=form.max_feret * f,
        min_feret_px=form.min_feret * f,
        area_px=form.area * f * f,
        equivalent_diameter_px=form.equivalent_diameter * f,
        aspect_ratio=form.aspect_ratio,
        circularity=form.circularity,
        solidity=form.solidity,
        delta_e=delta_e,
        density=density,
        snr=speck.snr,
        blur_px=blur * f,
        outline_px=outline,
    )
    return Measured(speck, measures, form, body, build, *colours, evenness(slopes))


def in_shot(speck: Speck, points: NDArray[np.float64], step: int) -> NDArray[np.float64]:
    """Points (n, 2) of a speck's window in pixels of the shot."""
    return np.asarray((points * speck.zoom + (speck.left, speck.top)) * step + (step - 1) / 2)


def _without_legs(speck: Speck, form: Form) -> Form:
    """The outline of what is left when everything thinner than a third of the body is opened away."""
    if form.solidity > _BENT:
        return form
    radius = round(_LEG * float(depth_within(speck.mask).max()))
    if radius < 1:
        return form
    mask = cv2.copyMakeBorder(speck.mask.view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=(0,))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(cv2.morphologyEx(mask, cv2.MORPH_OPEN, kernel))
    if count < 2:
        return form
    largest = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
    # Legs do not outlast the opening. Where two large parts do, it has cut a line in two at a thin place.
    areas = np.sort(stats[1:, cv2.CC_STAT_AREA])
    if count > 2 and areas[-2] > _CUT_IN_TWO * areas[-1]:
        return form
    kept = _grown(labels == largest)[1:-1, 1:-1]
    return trace(speck.contrast * kept) or form


@dataclass(frozen=True)
class Build:
    """How a body is built: its length (along the curve where it is bent) and width, in the units of its outline, and its bend."""

    length: float
    width: float
    straightness: float
    """Distance of its ends / length along its middle line, 1 for a straight body."""
    winding_rad: float = 0.0
    """The smaller of its turns to the left and to the right: nought for a C, not for an S."""
    bend_rad: float = 0.0
    """The larger of them."""
    line: NDArray[np.float64] | None = None
    """(n, 2): its middle line from tip to tip; None for compact bodies."""


def build_of(body: Form) -> Build:
    """How the body within an outline is built; compact and straight ones by their Feret diameters."""
    if body.solidity > _BENT and body.aspect_ratio > _SLIM:
        return Build(body.max_feret, body.min_feret, 1.0)
    line = middle_line(body.points)
    if line.length < _LONG * line.width:
        return Build(body.max_feret, line.width if body.solidity < _BENT else body.min_feret, 1.0)
    turns = sorted((line.left_turn_rad, line.right_turn_rad))
    return Build(max(line.length, body.max_feret), line.width, line.straightness, turns[0], turns[1], line.points)


def without_blur(width: float, blur: float) -> float:
    """The width of a bar that a Gaussian blur of standard deviation `blur` shows at half its own contrast as `width`.

    A bar wider than about five standard deviations keeps its width; a narrower one never looks thinner than 2.35 of them. Those
    that are hardly wider than that are taken at what can still be told.
    """
    seen, true = _bars()
    return float(np.interp(width / max(blur, 1e-6), seen, true) * blur) if width < seen[-1] * blur else width


@lru_cache(maxsize=1)
def _bars() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Widths at half contrast as seen, and the bars' own, both in standard deviations of the blur."""
    true = np.linspace(1.2, 6.0, 49)
    x = np.linspace(0, 6, 1201)
    profile = ndtr(x[None, :] + true[:, None] / 2) - ndtr(x[None, :] - true[:, None] / 2)
    half = (profile > 0.5 * profile[:, :1]).sum(axis=1)
    return 2 * x[half], true


def _place(speck: Speck) -> tuple[float, float, float]:
    """Centre x, y in window pixels and direction in degrees (0..180, clockwise as seen) from the moments of the contrast."""
    rows, cols = np.nonzero(speck.mask)
    weight = np.clip(speck.contrast[rows, cols], 0.05, 1).astype(np.float64)
    total = weight.sum()
    x, y = float((cols * weight).sum() / total), float((rows * weight).sum() / total)
    dx, dy = cols - x, rows - y
    xx, yy, xy = (dx * dx * weight).sum(), (dy * dy * weight).sum(), (dx * dy * weight).sum()
    angle = float(np.rad2deg(0.5 * np.arctan2(2 * xy, xx - yy))) % 180.0
    return x, y, angle


def _colours(speck: Speck) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Mean density (3,) of the body and of its surroundings against the ground's light, and the surroundings' spread."""
    # The rim is a mixture of body and surroundings; of small bodies nothing but rim is left.
    core = speck.mask & (speck.contrast > 0.9)
    if np.count_nonzero(core) < 0.4 * np.count_nonzero(speck.mask):
        core = speck.mask & (speck.contrast > 0.7)
    core = core if np.count_nonzero(core) >= 3 else speck.mask
    grown = speck.mask.view(np.uint8)
    gap = cv2.dilate(grown, np.ones((5, 5), np.uint8))
    ring = (cv2.dilate(grown, np.ones((13, 13), np.uint8)) > gap) & (speck.contrast < 0.5)
    if np.count_nonzero(ring) < 8:
        ring = gap == 0
    surface = np.array(speck.surface_density)
    beside = speck.residual[ring]
    around = medians(beside) if len(beside) else np.zeros(3)
    spread = float(mean_of_channels(beside).std()) if len(beside) else 0.0
    return surface + speck.residual[core].mean(axis=0), surface + around, spread
