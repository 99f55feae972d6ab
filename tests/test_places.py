"""Where a search looks: at bodies of any width it looks at their own scale, however plain they are.

A disc of diameter d answers a Laplacian of Gaussian most at a smoothing of d / sqrt(8), 0.35 of its diameter (Lindeberg 1998, "Feature
detection with automatic scale selection", from memory).
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from vision.foreground import find_surfaces
from vision.pipeline import see_light
from vision.specks import search_places
from vision.types import Setup, Shot

LINDEBERG = 8**-0.5
PX_PER_MM = 20.0


def panel_with_disc(across_px: float, light_of_disc: float) -> np.ndarray:
    """A panel whose light falls off slowly, with a disc in its middle and some noise, as 8 bits of sRGB."""
    rng = np.random.default_rng(1)
    rows, columns = np.indices((600, 800), np.float32)
    light = 0.75 - 0.2 * ((columns / 800 - 0.3) ** 2 + (rows / 600 - 0.6) ** 2)
    inside = np.clip(across_px / 2 - np.hypot(rows - 300, columns - 400) + 0.5, 0, 1)
    light = cv2.GaussianBlur(light * (1 - inside * (1 - light_of_disc)), (0, 0), 0.8)
    light = np.clip(light + rng.normal(0, 0.004, light.shape), 0, 1)
    encoded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.repeat(np.rint(encoded * 255).astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("light_of_disc", [0.05, 0.3, 0.7])
@pytest.mark.parametrize("across_px", [8, 12, 18, 26, 40, 60])
def test_a_disc_is_looked_at_at_its_own_scale(across_px: int, light_of_disc: float) -> None:
    shot = Shot(panel_with_disc(across_px, light_of_disc), "0" * 64, "drawn")
    light = see_light(shot, Setup(px_per_mm=PX_PER_MM))
    scale = PX_PER_MM / light.step
    search = search_places(light, find_surfaces(light.density, None, scale), scale, shot.pixels)
    assert search is not None
    spots = search.in_shot(np.arange(len(search.places.row)), light.step)
    away = np.hypot(spots.row_px - 300, spots.column_px - 400)
    on_it = away < across_px / 4
    assert on_it.any()
    off = np.where(on_it, np.abs(np.log(spots.sigma_px / (LINDEBERG * across_px))), np.inf)
    best = int(off.argmin())
    assert off[best] < np.log(2)
    # It is cut out from where it stands out most, which may be finer: so its outline does not depend on how it came to be looked at.
    cut_from = int(search.places.finer[best])
    assert away[cut_from] < across_px / 2
    assert search.places.signal[cut_from] >= search.places.signal[best]
    assert spots.sigma_px[cut_from] <= spots.sigma_px[best]


def test_where_all_is_looked_at_no_place_comes_twice() -> None:
    shot = Shot(panel_with_disc(26, 0.05), "0" * 64, "drawn")
    light = see_light(shot, Setup(px_per_mm=PX_PER_MM))
    scale = PX_PER_MM / light.step
    search = search_places(light, find_surfaces(light.density, None, scale), scale, shot.pixels, everything=True)
    assert search is not None
    assert np.array_equal(search.places.finer, np.arange(len(search.places.row)))
