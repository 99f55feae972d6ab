"""What the shot itself says of its light, sharpness and noise, what that lets it show, and what could not be searched."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from vision.light import decode_srgb, encode_srgb
from vision.measure import Measured
from vision.types import FloatArray, Light, LitFrom, MaskArray, ShotQuality, Surfaces, Usable

MTF50_OF_BLUR = 0.18739
"""MTF50 of a Gaussian blur, in cycles per pixel, times its standard deviation in pixels: sqrt(ln 2 / 2) / pi."""
_BURNT_OUT = 0.05
"""Share of the picture at full scale from which the light is too strong to judge by."""
_TOO_DARK = 0.04
"""Linear light of the ground below which noise and rounding decide."""
_BLACK = 0.004
"""Linear light of about one level in a hundred of 8 bits."""
_BLUR_LIMIT_MM = 0.11
"""Blur (standard deviation) from which a thrips, 0.2-0.3 mm wide (from memory), melts into its surroundings."""
_BLUR_LIMIT_PX = 5.0
EYE_MM = 0.17
"""What an ordinary eye resolves at 0.6 m: one arc minute (common practice, no source)."""
_TWO_PIXELS_OVER_EYE = 2 / EYE_MM
_SILHOUETTE = 1.4
"""Density beyond which produce lit from below shows nothing of its surface."""
_NOMINAL_CONTRAST = 0.15
"""Density of the speck the stated limit is for: a pale aphid in water, not the faintest larva."""
_ROSE = 5.0
"""Signal to noise for reliable seeing (Rose)."""
_LEAST_PRODUCE = 0.02
"""Share of produce in the picture from which its limit is the produce's, which is not known yet."""
_GRID_PX = 32


def measure_quality(
    light: Light, surfaces: Surfaces, measured: Sequence[Measured], unsearched: MaskArray
) -> ShotQuality:
    """Numbers of shots.csv from the light, the surfaces and the specks of a shot."""
    level = 10.0 ** light.log_level.mean(axis=2)
    low, high = np.percentile(level, [5, 95])
    blur = _blur_px(measured)
    return ShotQuality(
        panel_level=float(np.median(level)),
        clipped=float(light.clipped.mean()),
        uneven=float((high - low) / max(high, 1e-6)),
        sharpness_cy_px=None if blur is None else MTF50_OF_BLUR / blur,
        noise=_noise(light.density, surfaces.ground, float(np.median(level))),
        unsearched=float(unsearched.mean()),
    )


def _blur_px(measured: Sequence[Measured]) -> float | None:
    """The blur of the sharper edges: bodies may be soft by themselves or lie too deep, but none is sharper than the shot."""
    strong = [
        m.measures.blur_px
        for m in measured
        if m.measures.snr > 12 and abs(m.measures.density) > 0.08 and m.measures.equivalent_diameter_px > 5
    ]
    return float(np.percentile(strong, 20)) if len(strong) >= 4 else None


def _noise(density: FloatArray, ground: MaskArray, level: float) -> float:
    """Pixel-to-pixel spread of the ground's density: from differences of neighbours, so that slow changes don't count.

    Never less than what eight bits round away at that level: a phone smooths its pictures until neighbours are equal.
    """
    left, right = density[:, ::3, :-1:3], density[:, ::3, 1::3]
    pair = ground[::3, :-1:3] & ground[::3, 1::3]
    if pair.sum() < 16:
        return 0.0
    difference = (left - right).mean(axis=0)[pair]
    # The 80th percentile of a normal deviate's size is 1.2816 sigma; the median would be nought on most JPEGs.
    spread = float(np.percentile(np.abs(difference), 80)) / 1.2816 / np.sqrt(2)
    around = encode_srgb(np.array(max(level, 1e-4)))
    rounding = float(np.log10(decode_srgb(around + 1 / 510) / decode_srgb(around - 1 / 510))) / np.sqrt(12)
    return float(max(spread, rounding))


def find_unsearched(light: Light, surfaces: Surfaces, lit_from: LitFrom) -> MaskArray:
    """Cells of about 32 pixels that could not be searched: outside, burnt out, or produce too dark to show its surface."""
    h, w = surfaces.ground.shape
    size = (max(1, round(w / _GRID_PX)), max(1, round(h / _GRID_PX)))
    lost = surfaces.outside | light.clipped
    if lit_from == LitFrom.BELOW:
        lost |= surfaces.produce & (light.density.min(axis=0) > _SILHOUETTE)
    share = cv2.resize(lost.astype(np.float32), size, interpolation=cv2.INTER_AREA).reshape(size[1], size[0])
    return np.asarray(share > 0.5)


def limits_mm(quality: ShotQuality, px_per_mm: float | None, surfaces: Surfaces) -> tuple[float | None, float | None]:
    """Diameter of the smallest round speck and width of the smallest thin one (six times as long) the bare ground could show.

    A speck of density 0.15 in the shot's own noise and blur reaches a matched-filter signal-to-noise ratio of five, and is two
    pixels wide. None without a scale, without a known blur, and with produce in view, whose texture sets another limit.
    """
    bare = surfaces.ground.mean() > 0.5 and surfaces.produce.mean() < _LEAST_PRODUCE
    if px_per_mm is None or quality.sharpness_cy_px is None or not bare:
        return None, None
    blur = MTF50_OF_BLUR / quality.sharpness_cy_px
    sizes = np.arange(0.5, 200, 0.1)
    noise = max(quality.noise, 1e-4)

    def smallest(long_over_wide: float) -> float:
        area = np.pi / 4 * sizes**2 * long_over_wide
        across = (sizes / 4) ** 2 / ((sizes / 4) ** 2 + blur**2)
        along = (sizes * long_over_wide / 4) ** 2 / ((sizes * long_over_wide / 4) ** 2 + blur**2)
        ratio = _NOMINAL_CONTRAST * np.sqrt(area * np.sqrt(across * along)) / noise
        enough = (ratio >= _ROSE) & (sizes >= 2.0) & (sizes >= 1.2 * blur)
        return float(sizes[int(enough.argmax())] / px_per_mm) if enough.any() else float(sizes[-1] / px_per_mm)

    return smallest(1.0), smallest(6.0)


def judge_shot(
    quality: ShotQuality, px_per_mm: float | None, produce_share: float, ground_share: float
) -> tuple[Usable, tuple[str, ...]]:
    """Whether the shot can show what it is meant to, and the sentences that say what limits it and what to do."""
    wrong: list[str] = []
    limits: list[str] = []
    if quality.clipped > _BURNT_OUT:
        wrong.append(f"Over-exposed: {100 * quality.clipped:.0f}% of the picture is burnt out; expose less.")
    if quality.panel_level < _BLACK:
        wrong.append("Too dark: hardly any light reached the camera; more light, or expose longer.")
    elif quality.panel_level < _TOO_DARK:
        limits.append("The ground is dark: specks paler than it are searched, dark ones may not show.")
    blur = None if quality.sharpness_cy_px is None else MTF50_OF_BLUR / quality.sharpness_cy_px
    if blur is not None and (blur > _BLUR_LIMIT_PX if px_per_mm is None else blur / px_per_mm > _BLUR_LIMIT_MM):
        wrong.append("Out of focus or moved: the sharpest edges are soft; hold still, focus on the produce.")
    if quality.unsearched > 0.5:
        wrong.append("Most of the picture could not be searched.")
    if ground_share + produce_share < 0.05:
        wrong.append("Neither ground nor produce was made out.")
    if px_per_mm is None:
        limits.append("No scale: sizes are not known; give --px-per-mm or a profile.")
    elif px_per_mm < _TWO_PIXELS_OVER_EYE:
        limits.append(
            f"{px_per_mm:.1f} px/mm is an overview: an eye sees {EYE_MM} mm, which takes {_TWO_PIXELS_OVER_EYE:.0f} px/mm."
        )
    return (Usable.NO if wrong else Usable.YES), (*wrong, *limits)
