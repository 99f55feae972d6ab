"""How flat a blank reads after the correction: root mean square of the means over 2 mm."""

from __future__ import annotations

import math

import cv2
import numpy as np

from calib.even_light import reduced
from calib.marks import PX_PER_MM_UNKNOWN
from vision.types import EvenLight, FixedMark, Shot

_SIDE_MM = 2.0
_TILES_PX = 6e6


def flatness(
    shot: Shot, even_light: EvenLight | None, px_per_mm: float | None = None, marks: tuple[FixedMark, ...] = ()
) -> tuple[float, float, float]:
    """Relative standard deviation of the means over 2 mm x 2 mm of a blank's light, red, green, blue.

    With `even_light` each is divided by the map first, which may be of another exposure and colour; None: as the panel is. Tiles on
    which a mark lies are left out, and so are the parts that are cut off at the right and below. Without a scale a millimetre is
    taken as 20 pixels.
    """
    side = max(1, round(_SIDE_MM * (px_per_mm or PX_PER_MM_UNKNOWN)))
    step = max(1, min(side // 8, math.ceil(math.sqrt(shot.width_px * shot.height_px / _TILES_PX))))
    tile = max(1, round(side / step))
    light = reduced(shot.pixels, step)
    if even_light is not None:
        gh, gw = even_light.level.shape[:2]
        across, down = step * gw / shot.width_px, step * gh / shot.height_px
        warp = np.array([[across, 0, 0.5 * across - 0.5], [0, down, 0.5 * down - 0.5]])
        size = (light.shape[1], light.shape[0])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        light /= cv2.warpAffine(even_light.level, warp, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    high, wide = light.shape[0] // tile, light.shape[1] // tile
    means = light[: high * tile, : wide * tile].reshape(high, tile, wide, tile, 3).mean(axis=(1, 3), dtype=np.float64)
    bare = np.ones((high, wide), bool)
    for mark in marks:
        x, y, reach = mark.x_px / side, mark.y_px / side, mark.radius_px / side + 0.5
        rows, columns = np.ogrid[0:high, 0:wide]
        bare &= (np.abs(columns + 0.5 - x) > reach) | (np.abs(rows + 0.5 - y) > reach)
    kept = means[bare]
    red, green, blue = kept.std(axis=0) / kept.mean(axis=0)
    return float(red), float(green), float(blue)
