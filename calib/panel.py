"""Blank shots of a light panel -> its even light, its fixed marks, its noise.

The light is kept as a coarse map per channel, free of dust: medians within cells first, then the mean of what no mark covers.
Averaging n shots lowers the map's noise as 1/sqrt(n) (temporal noise of EMVA 1288; here relative, because a phone's numbers are
no photon counts).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from calib.marks import as_bytes, find_marks, stands_out
from vision.errors import ProfileError
from vision.light import linear_light
from vision.types import EvenLight, FixedMark, FloatArray, MaskArray, Shot

_WORKING_PIXELS = 4.5e6
_CELL = 16
"""Working pixels to a cell of the map: fine enough for the mottling of the lamps, coarse enough that noise averages out."""
_SUB = 4
_LEAST_SIDE_PX = 128
_MOST_CLIPPED = 0.01
_LEAST_LEVEL = 0.05
_LEAST_PANEL_SHARE = 0.4
_EDGE_OF_PANEL = 0.25
"""Cells at the picture's edge with less than this share of the panel's light are not the panel."""
_MOST_MARKS = 400
_MOST_DOUBTFUL = 60

Triple = tuple[float, float, float]


@dataclass(frozen=True)
class PanelMeasurement:
    """What blank shots say of a panel. Marks and light in pixels of the shots and in linear light 0..1."""

    even_light: EvenLight
    marks: tuple[FixedMark, ...]
    """Doubtful ones first."""
    moved: tuple[FixedMark, ...]
    """Seen in some of the blanks only: dust that moved, or an insect."""
    noise: Triple
    """Standard deviation of optical density from pixel to pixel in one shot: red, green, blue."""
    noise_from: str
    """'time': between shots of the same scene; 'place': within the only shot, which counts the panel's own texture too."""
    level: float
    """Median linear light of the panel (mean of the channels)."""
    uneven: float
    """(max - min) / max of the panel's light, 5th to 95th percentile."""
    panel_share: float
    """Share of the picture that the panel fills, 0..1."""
    exposure_spread: float
    """Largest over smallest exposure among the blanks."""
    shot_sha256: tuple[str, ...]
    px_per_mm: float | None


def measure_panel(shots: Sequence[Shot], px_per_mm: float | None = None) -> PanelMeasurement:
    """Even light, fixed marks and noise from one or more shots of the empty panel, all of one size.

    Raises ProfileError with a sentence where the shots differ in size, are too bright or too dark, or do not show an empty panel.
    """
    _refuse_unlike(shots)
    step = max(1, math.ceil(math.sqrt(shots[0].width_px * shots[0].height_px / _WORKING_PIXELS)))
    lights = [_reduced(shot.pixels, step) for shot in shots]
    high, wide = lights[0].shape[:2]
    grid = (round(high / _CELL), round(wide / _CELL))
    cells = np.stack([_cell_medians(light, grid) for light in lights])
    for shot, own in zip(shots, cells, strict=True):
        _refuse_dark(shot, own)
    gains = _gains(cells)
    first = np.asarray(np.median(cells / gains[:, None, None, :], axis=0), dtype=np.float32)
    panel = _panel_cells(first)
    level = _without_things(first, panel)

    spread = np.asarray(cv2.resize(level, (wide, high), interpolation=cv2.INTER_LINEAR), dtype=np.float32)
    relative = _relative_level(spread, level, panel)
    inside = cv2.resize(panel.astype(np.uint8), (wide, high), interpolation=cv2.INTER_NEAREST) > 0
    for light, gain in zip(lights, gains, strict=True):
        light /= np.maximum(spread * gain, 1e-6)
    densities = [_mean_density(light) for light in lights]
    refined = np.mean([_refine(r, d, relative, inside, grid) for r, d in zip(lights, densities, strict=True)], axis=0)
    level = np.clip(level * refined, 1e-5, 1.0).astype(np.float32)
    change = np.log10(refined).mean(axis=2).astype(np.float32)
    change = cv2.resize(change, (wide, high), interpolation=cv2.INTER_LINEAR)
    densities = [np.asarray(density + change, dtype=np.float32) for density in densities]
    found = find_marks(densities, relative, inside, step, px_per_mm)
    _refuse_littered(found.fixed, found.area)

    noise, noise_from = measure_noise(shots)
    on_panel = level.mean(axis=2)[panel]
    low, top = np.percentile(on_panel, [5, 95])
    return PanelMeasurement(
        even_light=EvenLight(level=level, width_px=shots[0].width_px, height_px=shots[0].height_px),
        marks=found.fixed,
        moved=found.moved,
        noise=noise,
        noise_from=noise_from,
        level=float(np.median(on_panel)),
        uneven=float((top - low) / top),
        panel_share=float(panel.mean()),
        exposure_spread=float(gains.mean(axis=1).max() / gains.mean(axis=1).min()),
        shot_sha256=tuple(shot.sha256 for shot in shots),
        px_per_mm=px_per_mm,
    )


def measure_noise(shots: Sequence[Shot]) -> tuple[Triple, str]:
    """Standard deviation of one shot's optical density from pixel to pixel per channel, and 'time' or 'place'.

    Between two shots the difference holds the noise of both, hence the square root of 2 (EMVA 1288 takes temporal noise the same
    way, in absolute units). Slow changes of light within a tile are taken out first. All shots have one size.
    """
    side = min(64, shots[0].height_px, shots[0].width_px)
    tops = np.linspace(0, shots[0].height_px - side, 8).astype(int)
    lefts = np.linspace(0, shots[0].width_px - side, 8).astype(int)
    windows = [(slice(t, t + side), slice(x, x + side)) for t in tops for x in lefts]
    bright = [w for w in windows if as_bytes(shots[0].pixels[w]).mean() > 40] or windows
    if len(shots) == 1:
        return _spread([_detail(_log(shots[0].pixels[w])) for w in bright]), "place"
    pairs = list(pairwise(shots))
    differences = [_detail(_log(a.pixels[w]) - _log(b.pixels[w])) / math.sqrt(2) for a, b in pairs for w in bright]
    return _spread(differences), "time"


def _log(pixels: NDArray[Any]) -> FloatArray:
    return np.asarray(np.log10(np.maximum(linear_light(pixels), 1e-4)), dtype=np.float32)


def _detail(values: FloatArray) -> FloatArray:
    width = 9
    slow = cv2.blur(values, (width, width))
    # The mean of n values holds 1/n of the noise it is taken from.
    return np.asarray((values - slow) / math.sqrt(1 - 1 / width**2), dtype=np.float32)


def _spread(tiles: list[FloatArray]) -> Triple:
    """Per channel, without specks: standard deviation after cutting at 4 of it, twice."""
    values = np.concatenate([tile.reshape(-1, 3) for tile in tiles])
    out = []
    for channel in values.T:
        for _ in range(2):
            channel = channel[np.abs(channel) <= 4 * channel.std() + 1e-9]
        out.append(float(channel.std()))
    return out[0], out[1], out[2]


def _refuse_unlike(shots: Sequence[Shot]) -> None:
    if not shots:
        raise ProfileError("A panel profile needs at least one shot of the empty panel.")
    size = (shots[0].width_px, shots[0].height_px)
    if min(size) < _LEAST_SIDE_PX:
        raise ProfileError(
            f"{shots[0].name} is {size[0]} x {size[1]} pixels; a panel profile needs {_LEAST_SIDE_PX} or more each way."
        )
    for shot in shots:
        own = (shot.width_px, shot.height_px)
        if own != size:
            raise ProfileError(
                f"{shot.name} is {own[0]} x {own[1]} pixels and {shots[0].name} is {size[0]} x {size[1]}: "
                "take all blanks with the same camera, held the same way up."
            )
        # Camera processing often stops one step short of full scale, so the last two values of 8 bit count.
        full = 254 if shot.pixels.dtype == np.uint8 else 254 * 257
        clipped = float((cv2.inRange(shot.pixels, (0, 0, 0), (full - 1,) * 3) == 0).mean())
        if clipped > _MOST_CLIPPED:
            raise ProfileError(
                f"{shot.name} is over-exposed: {100 * clipped:.0f}% of it is at full scale. "
                "Expose less, until no part of the panel is pure white."
            )


def _refuse_dark(shot: Shot, cells: FloatArray) -> None:
    level = float(np.percentile(cells.mean(axis=2), 75))
    if level < _LEAST_LEVEL:
        raise ProfileError(
            f"{shot.name} is too dark: the panel reads {100 * level:.1f}% of full scale. "
            "Is the panel on? Expose more, to about half of full scale."
        )


def _refuse_littered(marks: tuple[FixedMark, ...], area: float) -> None:
    doubtful = sum(mark.doubtful for mark in marks)
    if doubtful > _MOST_DOUBTFUL or len(marks) > _MOST_MARKS or area > 0.03:
        raise ProfileError(
            f"This is not a shot of an empty panel: {len(marks)} marks, {doubtful} of which could be insects, "
            f"cover {100 * area:.1f}% of it. Wipe the panel and take the blanks again."
        )


def _reduced(pixels: NDArray[Any], step: int) -> FloatArray:
    """Linear light, the mean of `step` x `step` pixels: (h // step, w // step, 3), float32; in bands, to spare memory."""
    high, wide = pixels.shape[0] // step, pixels.shape[1] // step
    out = np.empty((high, wide, 3), dtype=np.float32)
    band = 128
    for top in range(0, high, band):
        rows = min(band, high - top)
        linear = linear_light(pixels[top * step : (top + rows) * step, : wide * step])
        out[top : top + rows] = cv2.resize(linear, (wide, rows), interpolation=cv2.INTER_AREA) if step > 1 else linear
    return out


def _cell_medians(light: FloatArray, grid: tuple[int, int]) -> FloatArray:
    """Per cell the median of 4 x 4 part means: dust over less than half of them leaves it alone."""
    small = cv2.resize(light, (grid[1] * _SUB, grid[0] * _SUB), interpolation=cv2.INTER_AREA)
    return np.asarray(np.median(small.reshape(grid[0], _SUB, grid[1], _SUB, 3), axis=(1, 3)), dtype=np.float32)


def _gains(cells: FloatArray) -> FloatArray:
    """(n, 3): exposure and white balance of each blank against their mean, which phones change from shot to shot."""
    mean = cells.mean(axis=0)
    bright = mean.mean(axis=2) > _EDGE_OF_PANEL * np.percentile(mean.mean(axis=2), 90)
    ratio = np.median(cells[:, bright] / np.maximum(mean[bright], 1e-6), axis=1)
    return np.asarray(ratio / np.exp(np.log(np.maximum(ratio, 1e-6)).mean(axis=0)), dtype=np.float32)


def _panel_cells(level: FloatArray) -> MaskArray:
    """Cells that show the panel: all, save a dark surround that touches the picture's edge."""
    mean = level.mean(axis=2)
    dark = mean < _EDGE_OF_PANEL * np.percentile(mean, 90)
    labels, _ = ndimage.label(dark)
    border = np.unique(np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]]))
    beyond = np.isin(labels, border[border > 0])
    # The panel's rim runs through the cells next to the surround.
    panel = ~ndimage.binary_dilation(beyond, np.ones((3, 3)), iterations=2) if beyond.any() else ~beyond
    if panel.mean() < _LEAST_PANEL_SHARE:
        raise ProfileError(
            f"The panel fills only {100 * panel.mean():.0f}% of the picture: go closer, so that it fills the picture."
        )
    return np.asarray(panel)


def _without_things(level: FloatArray, panel: MaskArray) -> FloatArray:
    """The map with what covers whole cells taken out, and the panel's light carried on where the panel ends.

    Raises ProfileError where so much is covered that the shot is not one of an empty panel.
    """
    logs = np.log10(np.maximum(level, 1e-6))
    shape = np.stack([_smooth_shape(logs[..., c], panel) for c in range(3)], axis=2)
    darker = (shape - logs).mean(axis=2)
    sizes = np.bincount(ndimage.label((darker > 0.10) & panel)[0].ravel())[1:] / panel.sum()
    if sizes.size and (sizes.max() > 0.005 or sizes.sum() > 0.02):
        raise ProfileError(
            f"This is not a shot of an empty panel: something dark covers {100 * sizes.sum():.1f}% of it. Take everything "
            "off, wipe the panel, and fill the picture with it."
        )
    rest = np.where(panel[..., None], logs - shape, 0.0)
    near = np.stack([ndimage.median_filter(rest[..., c], size=11, mode="nearest") for c in range(3)], axis=2)
    local = (near - rest).mean(axis=2)
    usual = 1.4826 * float(np.median(np.abs(local[panel])))
    things = ndimage.binary_dilation((local > max(0.03, 5 * usual)) & panel, np.ones((3, 3)))
    known = (panel & ~things).astype(np.float64)[..., None]
    total, weight = (ndimage.gaussian_filter(v, (1.0, 1.0, 0)) for v in (rest * known, known))
    filled = np.where(known > 0, logs, shape + (total + 1e-3 * near) / (weight + 1e-3))
    if not panel.all():
        _, (rows, columns) = ndimage.distance_transform_edt(~panel, return_indices=True)
        filled = filled[rows, columns]
    return np.asarray(np.power(10.0, filled), dtype=np.float32)


def _smooth_shape(values: NDArray[Any], panel: MaskArray) -> NDArray[np.float64]:
    """Polynomial of the fourth degree through the panel's cells, things on it weighed out (Tukey's biweight)."""
    y, x = np.meshgrid(*(np.linspace(-1, 1, n) for n in values.shape), indexing="ij")
    terms = np.stack([x**i * y**j for i in range(5) for j in range(5 - i)], axis=2)
    known, target = terms[panel], values[panel].astype(np.float64)
    weight = np.ones(len(target))
    for _ in range(6):
        weighted = known * weight[:, None]
        factors = np.linalg.solve(weighted.T @ known + 1e-9 * np.eye(known.shape[1]), weighted.T @ target)
        away = target - known @ factors
        limit = max(6 * float(np.median(np.abs(away))), 0.01)
        weight = np.clip(1 - (away / limit) ** 2, 0, None) ** 2
    return np.asarray(terms @ factors)


def _relative_level(spread: FloatArray, level: FloatArray, panel: MaskArray) -> FloatArray:
    return np.asarray(spread.mean(axis=2) / float(np.median(level.mean(axis=2)[panel])), dtype=np.float32)


def _mean_density(ratio: FloatArray) -> FloatArray:
    """-log10 of the light ratio, mean of the channels, (h, w) float32; black counts as density 4."""
    product = np.maximum(ratio[..., 0] * ratio[..., 1] * ratio[..., 2], 1e-12)
    return np.asarray(-np.log10(product) / 3, dtype=np.float32)


def _refine(
    ratio: FloatArray, density: FloatArray, relative: FloatArray, inside: MaskArray, grid: tuple[int, int]
) -> FloatArray:
    """Per cell and channel the mean of the light ratio where no mark lies; 1 where marks leave too little to go by."""
    bare = (inside & ~stands_out(density, relative, inside)).astype(np.float32)
    size = (grid[1], grid[0])
    share = cv2.resize(bare, size, interpolation=cv2.INTER_AREA)[..., None]
    total = cv2.resize(ratio * bare[..., None], size, interpolation=cv2.INTER_AREA)
    return np.asarray(np.where(share > 0.3, total / np.maximum(share, 1e-6), 1.0), dtype=np.float32)
