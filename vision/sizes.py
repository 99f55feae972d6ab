"""Sizes of a speck on the ground's plane, and how far they may be off.

Where the shot has one scale, a size is its pixels divided by it. Where the camera was tilted or its lens bends lines, the outline is
laid on the ground's plane first and measured there, because one direction is then foreshortened and the other is not.
"""

from __future__ import annotations

import math

import numpy as np

from vision.contour import form_of
from vision.geometry import ground_mm, height_excess, relative_length_error
from vision.measure import Measured, build_of, in_shot
from vision.types import Setup, SizesMm

MOST_LENGTH_ERROR = 0.05
"""Relative error of a length (at 95 %) beyond which no size is given."""
_COVERAGE = 2.0
"""Standard deviations for about 95 % (GUM)."""
_PIECE_HEIGHT_MM = 20.0
"""How high a floret or a mushroom stands above the ground (common practice, no source)."""
_CAMERA_MM = 250.0
"""Distance of the camera where nothing tells it: the near end of what a phone on a stand has (common practice, no source)."""


def sizes_mm(m: Measured, setup: Setup, step: int) -> SizesMm | None:
    """Place and sizes of a speck; None without a scale, or where a length would be off by more than 5 % (at 95 %)."""
    x = m.measures
    if setup.px_per_mm is None:
        return None
    s = setup.px_per_mm
    if setup.ground_map is None:
        return SizesMm(
            x.x_px / s, x.y_px / s, x.length_px / s, x.width_px / s, x.max_feret_px / s, x.min_feret_px / s,
            x.area_px / s**2, x.equivalent_diameter_px / s, x.aspect_ratio, x.circularity, x.solidity,
        )  # fmt: skip
    if not _COVERAGE * scale_error(m, setup) <= MOST_LENGTH_ERROR:
        return None
    place, outline = (
        ground_mm(setup.ground_map, points)
        for points in (np.array([[x.x_px, x.y_px]]), np.asarray(x.outline_px, dtype=np.float64))
    )
    if not (np.isfinite(place).all() and np.isfinite(outline).all()):
        return None
    form = form_of(outline)
    body = form if m.body is m.form else form_of(ground_mm(setup.ground_map, in_shot(m.speck, m.body.points, step)))
    build = build_of(body)
    return SizesMm(
        float(place[0, 0]), float(place[0, 1]), build.length, build.width, form.max_feret, form.min_feret,
        form.area, form.equivalent_diameter, form.aspect_ratio, form.circularity, form.solidity,
    )  # fmt: skip


def scale_error(m: Measured, setup: Setup) -> float:
    """Relative standard uncertainty of a length at the speck, from the ground's map alone; 0 where one scale was given."""
    if setup.ground_map is None:
        return 0.0
    return float(relative_length_error(setup.ground_map, np.array([[m.measures.x_px, m.measures.y_px]]))[0])


def size_uncertainty(m: Measured, setup: Setup) -> float:
    """Relative standard uncertainty of length and width: outline and blur, the map's own, and, on produce, its height.

    What lies higher is nearer to the camera and reads too long; a speck on a piece is somewhere between 0 and the piece's full
    height, so the error is taken as uniform over that range (its standard deviation is the range over the square root of 12)
    about half of it.
    """
    x = m.measures
    # Half a pixel at either end, and half the blur, is what an outline may be off by.
    outline = math.hypot(0.7, 0.5 * x.blur_px) / max(x.length_px, 1.0)
    parts = [outline, scale_error(m, setup)]
    if m.speck.on_produce:
        most = height_excess(_PIECE_HEIGHT_MM, setup.camera_mm or _CAMERA_MM)
        parts += [most / math.sqrt(12), most / 2]
    return min(math.hypot(*parts), 1.0)
