"""Markers in a shot: where they are, which they are, and whether they are seen from behind."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.slip.layout import BITS, MARKER_CELLS, all_pieces, marker_bits
from calib.slip.view import Points
from vision.types import FloatArray

COARSE = 3
"""Shot pixels per pixel of the first look: a marker's cell is then still about 3 pixels at 8 px/mm."""
_SHARPEN = 2.0
_SHARPEN_PX = 1.5
_SMALLEST_PX = 24
"""Side of a marker in the shot: half of what it is at 8 px/mm and 30 degrees of tilt."""
_ENOUGH = 3
"""Of our markers read plainly: then those that are too blurred to be read are not needed."""
_FLAT = 2.0
"""Standard deviation of a marker's cells, in grey levels, below which there is no marker."""
_RESEMBLES = 0.8
"""Correlation of the cells with the print."""
_CELL_PX = 6
"""Of the picture of a marker that a sighting is laid upon."""


@dataclass(frozen=True)
class Sighting:
    """One marker: number, corners (4, 2) in shot pixels, clockwise from the top left of what is seen, and whether that is the
    mirror image of the print."""

    number: int
    corners_px: Points
    mirrored: bool

    @property
    def side_px(self) -> float:
        return float(np.sqrt(abs(cv2.contourArea(self.corners_px.astype(np.float32)))))


def our_numbers() -> tuple[int, ...]:
    """Numbers of the markers that are printed on our pieces."""
    return tuple(marker.number for piece in all_pieces() for marker in piece.markers)


def look_for_markers(grey: NDArray[np.uint8], step: int = COARSE) -> list[Sighting]:
    """All markers of the dictionary, ours and others, in `grey` (h, w) looked at with 1/step of its resolution."""
    if min(grey.shape) < step * 8:
        return []
    small = grey if step == 1 else shrunk(grey, step)
    if min(small.shape) < 4 * MARKER_CELLS:
        return []
    soft = cv2.GaussianBlur(small, (0, 0), _SHARPEN_PX)
    sharp = np.asarray(cv2.addWeighted(small, 1 + _SHARPEN, soft, -_SHARPEN, 0), dtype=np.uint8)
    found, numbers, quads = _detector(4 * _SMALLEST_PX / step / max(small.shape)).detectMarkers(sharp)
    sightings = []
    behind = our_numbers()
    count = _plain_count()
    for corners, each in zip(found, np.ravel(numbers).astype(int) if numbers is not None else (), strict=True):
        number, places = int(each), corners.reshape(4, 2).astype(np.float64) * step + (step - 1) / 2
        sightings.append(
            Sighting(number, places, False) if number < count else Sighting(behind[number - count], places, True)
        )
    if sum(s.number in behind for s in sightings) >= _ENOUGH:
        return sightings
    doubtful = (_taken_for(sharp, np.reshape(corners, (4, 2)).astype(np.float32)) for corners in quads)
    return sightings + [replace(s, corners_px=s.corners_px * step + (step - 1) / 2) for s in doubtful if s]


def _taken_for(picture: NDArray[np.uint8], corners: NDArray[np.float32]) -> Sighting | None:
    """A square whose cells are too blurred to be read one by one, as that of our markers which it resembles; or None."""
    cells = _cells(picture, corners)
    spread = float(cells.std())
    if spread < _FLAT:
        return None
    alike = _patterns() @ ((cells - cells.mean()) / spread).ravel() / cells.size
    best = int(np.argmax(alike))
    if alike[best] < _RESEMBLES:
        return None
    number, from_behind, turn = best // 8, best // 4 % 2 == 1, best % 4
    # The pattern was turned against the clock, so the print's top left is found that many corners further on.
    return Sighting(our_numbers()[number], np.roll(corners.astype(np.float64), turn, axis=0), from_behind)


@lru_cache(maxsize=1)
def _patterns() -> NDArray[np.float64]:
    """(n * 8, 36) our markers' cells with mean 0 and standard deviation 1: each, its mirror image, and four turns of both."""
    rows = [
        np.rot90(_bits(number, from_behind), turn).ravel().astype(np.float64)
        for number in our_numbers()
        for from_behind in (False, True)
        for turn in range(4)
    ]
    return np.array([(row - row.mean()) / row.std() for row in rows])


def shrunk(grey: NDArray[np.uint8], step: int) -> NDArray[np.uint8]:
    """Means of step x step pixels; what is left over at the right and the bottom is dropped."""
    h, w = grey.shape[0] // step, grey.shape[1] // step
    return np.asarray(cv2.resize(grey[: h * step, : w * step], (w, h), interpolation=cv2.INTER_AREA), dtype=np.uint8)


@lru_cache(maxsize=1)
def _plain_count() -> int:
    return len(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50).bytesList)


@lru_cache(maxsize=1)
def _dictionary() -> cv2.aruco.Dictionary:
    """DICT_4X4_50 and, after it, the mirror images of our own markers."""
    plain = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    behind = [
        cv2.aruco.Dictionary.getByteListFromBits(np.ascontiguousarray(marker_bits(n)[1:-1, -2:0:-1]))
        for n in our_numbers()
    ]
    return cv2.aruco.Dictionary(np.concatenate([plain.bytesList, *behind]), BITS, plain.maxCorrectionBits)


def _detector(smallest: float) -> cv2.aruco.ArucoDetector:
    """A detector of markers whose perimeter is at least `smallest` of the picture's longer side."""
    how = cv2.aruco.DetectorParameters()
    # The border of a blurred cell says little: only its middle is read.
    how.perspectiveRemoveIgnoredMarginPerCell = 0.3
    how.perspectiveRemovePixelPerCell = 5
    how.adaptiveThreshWinSizeMin, how.adaptiveThreshWinSizeMax, how.adaptiveThreshWinSizeStep = 7, 15, 8
    how.adaptiveThreshConstant = 7
    how.minOtsuStdDev = 3
    how.polygonalApproxAccuracyRate = 0.06
    how.minMarkerPerimeterRate = smallest
    return cv2.aruco.ArucoDetector(_dictionary(), how)


def laid_upon(grey: NDArray[np.uint8], seen: Sighting) -> Sighting | None:
    """The sighting with its corners laid upon the picture as a whole (Evangelidis & Psarakis 2008, enhanced correlation), to
    about a tenth of a cell's blur; None where the picture does not look like that marker."""
    template, inside = _template(seen.number, seen.mirrored)
    reach = seen.side_px * 0.9
    middle = seen.corners_px.mean(axis=0)
    step = max(1, int(seen.side_px / (MARKER_CELLS * _CELL_PX)))
    x0, y0 = np.maximum(np.floor(middle - reach), 0).astype(int)
    x1, y1 = np.ceil(middle + reach).astype(int) + 1
    part = grey[y0:y1, x0:x1]
    if min(part.shape) < 2 * MARKER_CELLS * step:
        return None
    part = shrunk(part, step) if step > 1 else np.ascontiguousarray(part)
    at = np.array([x0, y0]) + (step - 1) / 2
    start = cv2.getPerspectiveTransform(
        inside.astype(np.float32), ((seen.corners_px - at) / step).astype(np.float32)
    ).astype(np.float32)
    try:
        likeness, warp = cv2.findTransformECC(
            template,
            part,
            start,
            cv2.MOTION_HOMOGRAPHY,
            (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 20, 1e-3),
            np.full(part.shape, 255, np.uint8),
            3,
        )
    except cv2.error:
        return None
    if likeness < 0.7:
        return None
    corners = cv2.perspectiveTransform(inside[None], warp.astype(np.float64))[0] * step + at
    return Sighting(seen.number, corners, seen.mirrored)


@lru_cache(maxsize=16)
def _template(number: int, from_behind: bool) -> tuple[NDArray[np.uint8], Points]:
    """The marker with a white cell round it, uint8, and its corners (4, 2) in pixels of that picture."""
    cells = np.pad(_bits(number, from_behind), 1, constant_values=1) * 255
    picture = np.kron(cells, np.ones((_CELL_PX, _CELL_PX))).astype(np.uint8)
    a, b = _CELL_PX - 0.5, (MARKER_CELLS + 1) * _CELL_PX - 0.5
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), 1.0), dtype=np.uint8), np.array(
        [[a, a], [b, a], [b, b], [a, b]]
    )


def likeness(grey: NDArray[np.uint8], seen: Sighting) -> float:
    """Correlation, -1..1, of the cells seen between the corners with the printed ones; 0 where they are not all in the picture."""
    h, w = grey.shape
    corners_px = seen.corners_px
    if not np.isfinite(corners_px).all() or (corners_px < 0).any() or (corners_px > np.array([w - 1, h - 1])).any():
        return 0.0
    cells = _cells(grey, corners_px)
    if float(cells.std()) < _FLAT:
        return 0.0
    printed = _bits(seen.number, seen.mirrored).astype(np.float64)
    return float(np.corrcoef(cells.ravel(), printed.ravel())[0, 1])


def _cells(picture: NDArray[np.uint8], corners_px: Points | NDArray[np.float32]) -> FloatArray:
    """(6, 6) mean of the middle of each cell between the four corners."""
    side = MARKER_CELLS * _CELL_PX
    ends = np.array([[0, 0], [side, 0], [side, side], [0, side]], np.float32) - np.float32(0.5)
    to_marker = cv2.getPerspectiveTransform(corners_px.astype(np.float32), ends)
    flat = cv2.warpPerspective(picture, to_marker, (side, side), flags=cv2.INTER_LINEAR)
    cells = flat.reshape(MARKER_CELLS, _CELL_PX, MARKER_CELLS, _CELL_PX)[:, 1:-1, :, 1:-1]
    return np.asarray(cells.mean(axis=(1, 3)), dtype=np.float32)


def _bits(number: int, from_behind: bool) -> NDArray[np.uint8]:
    bits = marker_bits(number)
    return np.ascontiguousarray(bits[:, ::-1]) if from_behind else bits
