"""A camera's lens from several shots of something flat and printed, taken by hand at different tilts.

Tilts tell focal length, axis and distortion (Zhang 2000, through OpenCV). On a stand the plane never tilts; there plane and
distortion are fitted together by fit_ground, from the slip laid in several places.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.errors import ProfileError
from vision.geometry import Points
from vision.types import Lens

View = tuple[Points, Points]
"""Points (n, 2) of the flat thing in millimetres, and the same as seen in pixels."""

LEAST_VIEWS = 4
"""Zhang's method needs two tilts; with four, one bad view shows."""
_FEWEST_POINTS = 8
_LEAST_FIELD = 0.3
"""Share of the picture inside a line drawn round all points."""
_LEAST_TILT_DEG = 10.0
"""Between the views that differ most."""
_FOCAL_KNOWN = 0.02
_LARGE_RMS_PX = 1.0


@dataclass(frozen=True)
class LensFit:
    """The lens from views held by hand."""

    lens: Lens
    rms_px: float
    """Root mean square distance of the points from where they should be seen."""
    focal_known: bool
    """Whether the focal length is known within 2 % (one standard deviation)."""
    words: tuple[str, ...]


def lens_from_views(views: Sequence[View], width_px: int, height_px: int) -> LensFit:
    """The lens from LEAST_VIEWS and more views of one flat thing at different tilts; each view with eight points or more.

    Raises ProfileError with a sentence where the views are too few, too alike or too small.
    """
    usable = [(mm, px) for mm, px in views if len(mm) >= _FEWEST_POINTS]
    if len(usable) < LEAST_VIEWS:
        raise ProfileError(
            f"{len(usable)} views of something flat do not tell the lens: {LEAST_VIEWS} or more are needed, better eight, from different "
            "sides."
        )
    _check_field([px for _, px in usable], width_px, height_px)
    flat = [np.column_stack([mm, np.zeros(len(mm))]).astype(np.float32) for mm, _ in usable]
    seen = [np.asarray(px, dtype=np.float32).reshape(-1, 1, 2) for _, px in usable]
    long_px = float(max(width_px, height_px))
    guess = np.array([[long_px, 0, (width_px - 1) / 2], [0, long_px, (height_px - 1) / 2], [0, 0, 1.0]])
    flags = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3 | cv2.CALIB_USE_INTRINSIC_GUESS
    try:
        rms, k, factors, turns, _, sigma, _, _ = cv2.calibrateCameraExtended(
            flat, seen, (width_px, height_px), guess, np.zeros(5), flags=flags
        )
    except cv2.error as error:
        raise ProfileError("The lens can't be told from these shots: take them anew, at different tilts.") from error
    _check_tilts([np.asarray(turn, dtype=np.float64) for turn in turns])
    f = factors.ravel()
    lens = Lens(float(k[0, 0]), float(k[0, 2]), float(k[1, 2]), float(f[0]), float(f[1]), width_px, height_px)
    if not np.isfinite([rms, lens.focal_px, lens.k1, lens.k2]).all() or not 0.2 < lens.focal_px / long_px < 20:
        raise ProfileError("The lens can't be told from these shots: take them anew, nearer and at different tilts.")
    words: tuple[str, ...] = ()
    if rms > _LARGE_RMS_PX:
        words = (
            f"The points are off by {rms:.1f} px: the slip was bent, a shot was blurred, or the camera zoomed between the shots.",
        )
    return LensFit(lens, float(rms), float(sigma.ravel()[0]) < _FOCAL_KNOWN * lens.focal_px, words)


def _check_field(seen: Sequence[Points], width_px: int, height_px: int) -> None:
    hull = cv2.convexHull(np.concatenate([np.asarray(px, dtype=np.float32).reshape(-1, 2) for px in seen]))
    share = cv2.contourArea(hull) / (width_px * height_px)
    if share < _LEAST_FIELD:
        raise ProfileError(
            f"The views fill a small part of the picture, {share:.0%}: some must reach its corners, where a lens bends most."
        )


def _check_tilts(turns: Sequence[Points]) -> None:
    normals = np.stack([np.asarray(cv2.Rodrigues(turn)[0])[:, 2] for turn in turns])
    most = float(np.rad2deg(np.arccos(np.clip((normals @ normals.T).min(), -1, 1))))
    if most < _LEAST_TILT_DEG:
        raise ProfileError(
            f"All views look the same way, within {most:.0f} degrees: tilt the camera by 20 to 30 degrees, each time to another side."
        )
