"""The panel's light as a coarse map, free of what lies on the panel: cells, smooth shape, and the blanks divided by both.

Maps have shape (gh, gw, 3), linear light; grid point (i, j) lies at the centre of cell (i, j) of a gh x gw division of the picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from calib.marks import stands_out
from vision.errors import ProfileError
from vision.light import linear_light
from vision.types import FloatArray, MaskArray

_SUB = 4
FINER = 2
"""How many times finer than its cells the map is in the end, each way."""
_NEAR_CELLS = 11
"""Cells of the finer map round one over which detail and noise are compared."""
_CAUTION = 1.5
"""How many times the noise's variance detail must have to count."""
_LEAST_PANEL_SHARE = 0.4
_EDGE_OF_PANEL = 0.25
"""Cells at the picture's edge with less than this share of the panel's light are not the panel."""


def reduced(pixels: NDArray[Any], step: int) -> FloatArray:
    """Linear light, the mean of `step` x `step` pixels: (h // step, w // step, 3), float32; in bands, to spare memory."""
    high, wide = pixels.shape[0] // step, pixels.shape[1] // step
    out = np.empty((high, wide, 3), dtype=np.float32)
    band = 128
    for top in range(0, high, band):
        rows = min(band, high - top)
        linear = linear_light(pixels[top * step : (top + rows) * step, : wide * step])
        out[top : top + rows] = cv2.resize(linear, (wide, rows), interpolation=cv2.INTER_AREA) if step > 1 else linear
    return out


def cell_medians(light: FloatArray, grid: tuple[int, int]) -> FloatArray:
    """Per cell the median of 4 x 4 part means: dust over less than half of them leaves it alone."""
    small = cv2.resize(light, (grid[1] * _SUB, grid[0] * _SUB), interpolation=cv2.INTER_AREA)
    return np.asarray(np.median(small.reshape(grid[0], _SUB, grid[1], _SUB, 3), axis=(1, 3)), dtype=np.float32)


def gains_of(cells: FloatArray) -> FloatArray:
    """(n, 3): exposure and white balance of each blank against their mean, which phones change from shot to shot."""
    mean = cells.mean(axis=0)
    bright = mean.mean(axis=2) > _EDGE_OF_PANEL * np.percentile(mean.mean(axis=2), 90)
    ratio = np.median(cells[:, bright] / np.maximum(mean[bright], 1e-6), axis=1)
    return np.asarray(ratio / np.exp(np.log(np.maximum(ratio, 1e-6)).mean(axis=0)), dtype=np.float32)


def panel_cells(level: FloatArray) -> MaskArray:
    """Cells that show the panel: all, save a dark surround that touches the picture's edge."""
    mean = level.mean(axis=2)
    dark = mean < _EDGE_OF_PANEL * np.percentile(mean, 90)
    labels, _ = ndimage.label(dark)
    border = np.unique(np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]]))
    beyond = np.isin(labels, border[border > 0])
    # The panel's rim runs through the cells next to the surround.
    panel = ~ndimage.binary_dilation(beyond, np.ones((3, 3)))
    if panel.mean() < _LEAST_PANEL_SHARE:
        raise ProfileError(
            f"The panel fills only {100 * panel.mean():.0f}% of the picture: go closer, so that it fills the picture."
        )
    return np.asarray(panel)


def without_things(level: FloatArray, panel: MaskArray) -> tuple[FloatArray, FloatArray]:
    """The map with what covers whole cells taken out and the panel's light carried on where it ends, and its smooth shape.

    Raises ProfileError where so much is covered that the shot is not one of an empty panel.
    """
    logs = np.log10(np.maximum(level, 1e-6)).astype(np.float64)
    shape = _smooth_shape(logs, panel)
    darker = (shape - logs).mean(axis=2)
    sizes = np.bincount(ndimage.label((darker > 0.10) & panel)[0].ravel())[1:] / panel.sum()
    if sizes.size and (sizes.max() > 0.005 or sizes.sum() > 0.02):
        raise ProfileError(
            f"This is not a shot of an empty panel: something dark covers {100 * sizes.sum():.1f}% of it. Take everything "
            "off, wipe the panel, and fill the picture with it."
        )
    rest = np.where(panel[..., None], logs - shape, 0.0)
    near = ndimage.median_filter(rest.mean(axis=2), size=11, mode="nearest")
    local = near - rest.mean(axis=2)
    usual = 1.4826 * float(np.median(np.abs(local[panel])))
    things = ndimage.binary_dilation((local > max(0.03, 5 * usual)) & panel, np.ones((3, 3)))
    known = (panel & ~things).astype(np.float64)[..., None]
    total, weight = (ndimage.gaussian_filter(v, (1.0, 1.0, 0)) for v in (rest * known, known))
    filled = np.where(known > 0, logs, shape + (total + 1e-3 * near[..., None]) / (weight + 1e-3))
    if not panel.all():
        _, (rows, columns) = ndimage.distance_transform_edt(~panel, return_indices=True)
        filled = filled[rows, columns]
    filled = np.power(10.0, filled).astype(np.float32)
    return filled, np.where(panel[..., None], np.power(10.0, shape), filled).astype(np.float32)


def _smooth_shape(logs: NDArray[np.float64], panel: MaskArray) -> NDArray[np.float64]:
    """Polynomials of the fourth degree through the panel's cells, things on it weighed out (Tukey's biweight)."""
    y, x = np.meshgrid(*(np.linspace(-1, 1, n) for n in panel.shape), indexing="ij")
    terms = np.stack([x**i * y**j for i in range(5) for j in range(5 - i)], axis=2)
    known, target = terms[panel], logs[panel]
    weight = np.ones(len(target))
    for _ in range(6):
        weighted = known * weight[:, None]
        factors = np.linalg.solve(weighted.T @ known + 1e-9 * np.eye(known.shape[1]), weighted.T @ target)
        away = np.abs((target - known @ factors).mean(axis=1))
        weight = np.clip(1 - (away / max(6 * float(np.median(away)), 0.01)) ** 2, 0, None) ** 2
    return np.asarray(terms @ factors)


@dataclass(frozen=True)
class Flat:
    """The blanks against their even light: `level` (gh, gw, 3); densities, grain as in `find_marks` and panel (h, w), working pixels."""

    level: FloatArray
    densities: list[FloatArray]
    grain: FloatArray
    inside: MaskArray


def flattened(
    lights: list[FloatArray], gains: FloatArray, level: FloatArray, shape: FloatArray, panel: MaskArray
) -> Flat:
    """Divides the blanks by their even light, taken anew where no mark lies. Overwrites `lights`.

    `level` is good enough to tell the marks, but darker where one runs through a cell; `shape` is smooth and free of them. So the
    map is the shape times the cells' means against it, and then once more against that, which sharpens it.
    """
    high, wide = lights[0].shape[:2]
    spread = _light_at(shape, wide, high)
    relative = spread.mean(axis=2) / float(np.median(level.mean(axis=2)[panel]))
    # Relative noise grows as 1/sqrt(light) (EMVA 1288, linear camera model).
    grain = np.asarray(1 / np.sqrt(np.maximum(relative, 0.05)), dtype=np.float32)
    # Next to its last cells the map has only guesses, which would read as marks.
    searched = ndimage.binary_erosion(panel, np.ones((3, 3)), border_value=1).astype(np.uint8)
    inside = cv2.resize(searched, (wide, high), interpolation=cv2.INTER_NEAREST) > 0
    for light, gain in zip(lights, gains, strict=True):
        light /= spread * gain
    plain = [_mean_density(light) for light in lights]
    guess = level / shape
    densities = _against(plain, guess)
    factor = _bare_means(lights, densities, grain, inside, guess)
    once = _light_at(factor, wide, high)
    for light in lights:
        light /= once
    factor = factor * _bare_means(lights, _against(plain, factor), grain, inside, np.ones_like(factor))
    densities = _against(plain, factor)
    coarse = np.clip(shape * factor, 1e-5, 1.0)
    for light in lights:
        light *= spread * once
    fine = _finer(coarse, lights, densities, grain, inside)
    return Flat(np.clip(fine, 1e-5, 1.0).astype(np.float32), densities, grain, inside)


def _finer(
    coarse: FloatArray, lights: list[FloatArray], densities: list[FloatArray], grain: FloatArray, inside: MaskArray
) -> FloatArray:
    """The map on twice as fine a grid, where rows of lamps 10 mm apart keep their height. Overwrites `lights`.

    Between cell centres the map is read as straight lines, which flattens its tops; so it is set right twice by what it leaves.
    """
    high, wide = lights[0].shape[:2]
    fine = _light_at(coarse, FINER * coarse.shape[1], FINER * coarse.shape[0])
    before: FloatArray | None = None
    for _ in range(2):
        spread = _light_at(fine, wide, high)
        for light in lights:
            light *= 1 / spread if before is None else before / spread
        before = spread
        fine = fine * _bare_means(lights, densities, grain, inside, np.ones_like(fine))
    return _without_noise(fine, _light_at(coarse, fine.shape[1], fine.shape[0]))


def _without_noise(fine: FloatArray, coarse: FloatArray) -> FloatArray:
    """The finer map with its detail kept only where it is more than noise, which in cells a quarter as large is twice as strong.

    Lamps darken all channels alike and noise does not: the channels' mean is the detail, what they differ by the noise (Wiener's
    filter, with the variances of the surroundings).
    """
    detail = np.log(np.maximum(fine, 1e-6) / np.maximum(coarse, 1e-6))
    common = detail.mean(axis=2)
    away = detail - common[..., None]
    noise, power = (
        cv2.blur(np.asarray(v, np.float32), (_NEAR_CELLS, _NEAR_CELLS)) for v in ((away**2).mean(axis=2), common**2)
    )
    # Of three channels the differences hold two thirds of the noise's variance, and the mean one third.
    kept = np.clip(1 - _CAUTION * (noise / 2) / np.maximum(power, 1e-12), 0, 1)
    return np.asarray(coarse * np.exp(common * kept)[..., None], dtype=np.float32)


def _against(densities: list[FloatArray], factor: FloatArray) -> list[FloatArray]:
    """Densities against a map that is brighter by `factor` (gh, gw, 3)."""
    high, wide = densities[0].shape
    change = spread_out(np.log10(factor).mean(axis=2, keepdims=True, dtype=np.float32), wide, high)[..., 0]
    return [density + change for density in densities]


def _bare_means(
    ratios: list[FloatArray],
    densities: list[FloatArray],
    grain: FloatArray,
    inside: MaskArray,
    otherwise: FloatArray,
) -> FloatArray:
    """Per cell and channel the mean of the light ratio where no mark lies; `otherwise` where nothing near is bare."""
    size = (otherwise.shape[1], otherwise.shape[0])
    means = []
    for ratio, density in zip(ratios, densities, strict=True):
        bare = (inside & ~stands_out(density, grain, inside)).astype(np.float32)
        share = np.asarray(cv2.resize(bare, size, interpolation=cv2.INTER_AREA))[..., None]
        total = np.asarray(cv2.resize(ratio * bare[..., None], size, interpolation=cv2.INTER_AREA))
        # A cell that a mark fills takes from those next to it; on a bare cell this weighs nothing.
        near_share, near_total = (ndimage.gaussian_filter(v, (1.0, 1.0, 0)) for v in (share, total))
        means.append((total + 0.02 * near_total + 1e-4 * otherwise) / (share + 0.02 * near_share + 1e-4))
    return np.asarray(np.mean(means, axis=0), dtype=np.float32)


def _light_at(cells: FloatArray, wide: int, high: int) -> FloatArray:
    """`spread_out` of something positive, kept so where a steep edge would carry it below zero."""
    return np.asarray(np.maximum(spread_out(cells, wide, high), 0.5 * cells.min()), dtype=np.float32)


def spread_out(cells: FloatArray, wide: int, high: int) -> FloatArray:
    """A map (gh, gw, n) at every pixel: bilinear between cell centres, carried on with the same slope to the picture's edge."""
    out = np.asarray(cv2.resize(cells, (wide, high), interpolation=cv2.INTER_LINEAR), dtype=np.float32)
    out = out.reshape(high, wide, cells.shape[2])
    # Within half a cell of the edge `resize` repeats the last value.
    for lines, size, line in ((out, high, cells), (out.swapaxes(0, 1), wide, cells.swapaxes(0, 1))):
        beyond = 0.5 - (np.arange(size) + 0.5) * line.shape[0] / size
        beyond = beyond[beyond > 0].astype(np.float32)
        for edge, slope in ((lines, line[0] - line[1]), (lines[::-1], line[-1] - line[-2])):
            along = np.asarray(cv2.resize(slope[None], (lines.shape[1], 1), interpolation=cv2.INTER_LINEAR))
            edge[: len(beyond)] += beyond[:, None, None] * along.reshape(1, lines.shape[1], cells.shape[2])
    return out


def _mean_density(ratio: FloatArray) -> FloatArray:
    """-log10 of the light ratio, mean of the channels, (h, w) float32; black counts as density 4."""
    product = np.maximum(ratio[..., 0] * ratio[..., 1] * ratio[..., 2], 1e-12)
    return np.asarray(-np.log10(product) / 3, dtype=np.float32)
