"""Printed pieces seen in a shot -> the map from its pixels to millimetres on the ground's plane, with honest errors.

A strip is twenty millimetres wide and the plane is wanted sixty millimetres beside it, so a homography left to itself swings. What
holds it is that a camera took the picture: square pixels, its axis near the picture's middle, a focal length about the picture's
width. The most probable camera and pose are sought (maximum a posteriori); where the points will not have them, the free
homography is taken with its wider errors.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from calib.bundle import Bundle, LensPrior, Piece, fit_bundle
from calib.bundle_map import map_of
from calib.sight import Camera, Free
from calib.slip.layout import STRIP
from calib.slip.view import PieceView
from vision.geometry import Points, distorted, straightened
from vision.types import GroundMap, Lens

NOT_FLAT_PX = 0.3
"""How far the points may be off a flat print, beyond their own noise."""
_FOCAL_USUAL, _FOCAL_SPREAD = 1.0, 0.5
"""Focal length over the picture's long side, and the spread of its logarithm, where the file says nothing: a phone's 26 mm (film)
is 0.72, its 2x 1.45 (common practice, no source)."""
_FOCAL_TOLD = 0.04
"""The same where the file gives it: it is rounded to a millimetre and the picture may be cropped a little."""
_FOCAL_KNOWN = 0.01
_FOCAL_SIGMAS = 4.0
"""Beyond this the file's focal length is not that of this picture: it was cropped, or zoomed digitally."""
_UNUSUAL = 25.0
"""Squared standard deviations of focal length and axis together from which a stretched print is thought of."""
_LONGEST, _SHORTEST = 12.0, 0.25
"""Focal lengths over the long side that no camera at this work has."""
_CENTRE_SPREAD, _CENTRE_KNOWN = 0.02, 0.001
"""Of the axis from the picture's middle, as a share of the long side: phones move the lens against shake."""
_ONE_PIECE_LENS = LensPrior(0.01, 0.0, sought=False)
"""What phones leave of k1 after their own correction (from memory)."""
_MANY_PIECES_LENS = LensPrior(0.05, 0.02, sought=True)
_NO_LENS = LensPrior(0.0, 0.0, sought=False)
_TELL_LENS = 3
"""Pieces from which the lens can be told apart from prints that do not lie flat."""
_FREE_BETTER = 30.0
"""By how much less the squared errors (in their own standard deviations) of a free homography must be before it is believed."""
_STRETCH_SPREAD = 0.03
_STRETCH = (0.004, 0.06)
"""Stretches of a print in one direction that are told."""
_STRETCH_BETTER = 25.0


@dataclass(frozen=True)
class GroundFit:
    """The ground's plane from the pieces in one shot; `ground_map` is None where there is none to be had."""

    ground_map: GroundMap | None
    residual_px: float
    """Root mean square distance of the points from a flat print, beyond their own noise."""
    tilt_deg: float
    """Between the camera's axis and the plane's normal."""
    focal_px: float | None
    """None where the points would not have a camera."""
    words: tuple[str, ...]
    """What is wrong with the print or how it lies, in sentences."""
    distance_mm: float | None = None
    """From the camera to the plane, at right angles to it."""

    @property
    def flat(self) -> bool:
        return self.residual_px <= NOT_FLAT_PX


def fit_ground(
    pieces: Sequence[PieceView], width_px: int, height_px: int, lens: Lens | None, focal_hint_px: float | None
) -> GroundFit:
    """The plane under one or more flat pieces that lie on it anywhere; at least four points of one are needed.

    `lens`: the camera's, from several shots before; `focal_hint_px`: what the file says. Each is None where it is not known.
    """
    seen = _pieces(pieces, lens)
    if not seen:
        return GroundFit(None, 0.0, 0.0, None, ("The slip is hidden too far: lay it where all of it shows.",))
    prior = _NO_LENS if lens is not None else _MANY_PIECES_LENS if len(seen) >= _TELL_LENS else _ONE_PIECE_LENS
    camera = _camera(width_px, height_px, lens, focal_hint_px)
    doubt = None
    try:
        fit = fit_bundle(seen, camera, prior)
        if float((camera.prior(fit.values[: camera.size]) ** 2).sum()) > _UNUSUAL:
            doubt = _stretch(seen, camera, prior, fit, fit)
        if focal_hint_px is not None and lens is None and abs(fit.values[0]) > _FOCAL_SIGMAS * camera.focal_spread:
            camera = _camera(width_px, height_px, None, None)
            fit = fit_bundle(seen, camera, prior)
        free = fit if _explained(fit) else fit_bundle(seen, Free(camera.middle, camera.focal_px), prior)
    except ValueError:
        return GroundFit(None, 0.0, 0.0, None, ("The slip is hidden too far: lay it where all of it shows.",))
    share = camera.seen(fit.values[:9])[9] / camera.long_px
    contradicted = fit.chi2 - free.chi2 > _FREE_BETTER * max(1.0, free.excess)
    if contradicted or not _SHORTEST < share < _LONGEST:
        stretch = _stretch(seen, camera, prior, fit, free)
        if stretch is not None:
            said = (
                f"The print is stretched in one direction, by about {abs(stretch):.0%}, so no size can be taken from it: print "
                "the slip at 100 %, without fitting it to the page.",
            )
            return GroundFit(None, fit.residual_px, 0.0, None, said)
    best = free if contradicted else fit
    words = _flatness_words(best)
    if doubt is not None and not words:
        words = (
            f"The print looks stretched in one direction by about {abs(doubt):.1%}, or the picture was cropped: measure the slip's "
            "50.0 mm bar with a ruler, and give the picture as the camera made it.",
        )
    return _told(best, words, pieces, lens, width_px, height_px)


def _explained(fit: Bundle) -> bool:
    """Whether what is left is no more than the points' own noise, so that nothing can be better by much."""
    return fit.chi2 < 2 * sum(int(kept.sum()) for kept in fit.kept) + _FREE_BETTER


def _pieces(pieces: Sequence[PieceView], lens: Lens | None) -> list[Piece]:
    """What can be used, the longest first."""
    out = []
    for view in pieces:
        px = straightened(lens, view.points_px)
        good = np.isfinite(px).all(axis=1)
        if good.sum() >= 4:
            out.append(Piece(view.points_mm[good], px[good], view.sigma_px[good]))
    return sorted(out, key=lambda p: -float(np.ptp(p.px, axis=0).max()))


def _camera(width_px: int, height_px: int, lens: Lens | None, hint_px: float | None) -> Camera:
    long_px = float(max(width_px, height_px))
    if lens is not None:
        middle = np.array([lens.centre_x_px, lens.centre_y_px])
        return Camera(middle, long_px, lens.focal_px, _FOCAL_KNOWN, _CENTRE_KNOWN)
    middle = np.array([(width_px - 1) / 2, (height_px - 1) / 2])
    if hint_px is not None:
        return Camera(middle, long_px, hint_px, _FOCAL_TOLD, _CENTRE_SPREAD)
    return Camera(middle, long_px, _FOCAL_USUAL * long_px, _FOCAL_SPREAD, _CENTRE_SPREAD)


def _stretch(seen: list[Piece], camera: Camera, prior: LensPrior, fit: Bundle, free: Bundle) -> float | None:
    """By how much the print is stretched along its long side against its short one, where that explains what is seen."""
    found = fit_bundle(seen, camera, prior, stretch_spread=_STRETCH_SPREAD)
    share = camera.seen(found.values[:9])[9] / camera.long_px
    flat = found.residual_px <= NOT_FLAT_PX
    explains = (
        flat
        and fit.cost - found.cost > _STRETCH_BETTER
        and found.chi2 - free.chi2 < _FREE_BETTER * max(1.0, free.excess)
    )
    value = float(found.values[camera.size + 2])
    return value if explains and _STRETCH[0] < abs(value) < _STRETCH[1] and _SHORTEST < share < _LONGEST else None


def _told(
    fit: Bundle, words: tuple[str, ...], pieces: Sequence[PieceView], lens: Lens | None, width_px: int, height_px: int
) -> GroundFit:
    seen = fit.sight.seen(fit.values[: fit.sight.size])
    plane, focal = seen[:9].reshape(3, 3), float(seen[9])
    tilt, distance, own_focal = 0.0, None, None
    if isinstance(fit.sight, Camera):
        normal = np.cross(plane[:, 0], plane[:, 1])
        tilt, own_focal = float(np.rad2deg(np.arccos(min(abs(normal[2]), 1.0)))), focal
        distance = abs(float(normal @ plane[:, 2]))
    at = _quoted_at(pieces, lens)
    return GroundFit(map_of(fit, lens, at, width_px, height_px), fit.residual_px, tilt, own_focal, words, distance)


def _flatness_words(fit: Bundle) -> tuple[str, ...]:
    off = fit.residual_px
    if off <= NOT_FLAT_PX:
        return ()
    return (
        f"The slip does not lie flat, or the lens bends straight lines: its points are off by {off:.1f} px. Press it flat; if that "
        "does not help, measure the lens with several shots of the slip.",
    )


def _quoted_at(pieces: Sequence[PieceView], lens: Lens | None) -> Points:
    """Where the scale is quoted (2,): the strip's middle as seen, or the middle of all other pieces."""
    strips = [piece for piece in pieces if piece.name == STRIP]
    centres = []
    for piece in strips[:1] or pieces:
        to_px, _ = cv2.findHomography(piece.points_mm, straightened(lens, piece.points_px))
        if to_px is not None:
            middle = piece.outline_mm.mean(axis=0).reshape(1, 1, 2)
            centres.append(
                distorted(lens, np.asarray(cv2.perspectiveTransform(middle, to_px), dtype=np.float64).reshape(1, 2))[0]
            )
    return np.asarray(np.mean(centres, axis=0))
