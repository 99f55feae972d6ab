"""A printed piece where the shot shows it: its outline, its edges and its saddle points in pixels."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.sharpness import Crossing, Edge
from calib.slip.layout import CHEQUER_MM
from calib.slip.view import PieceView, Points
from vision.light import linear_light


class Shown:
    """A piece and the homography from its millimetres to the shot's pixels."""

    def __init__(self, piece: PieceView) -> None:
        self.piece = piece
        found, _ = cv2.findHomography(piece.points_mm, piece.points_px)
        self._to_px = np.asarray(found, dtype=np.float64)

    def seen(self, points_mm: Any) -> Points:
        """Points (n, 2) of the piece in pixels."""
        points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 1, 2)
        return np.asarray(cv2.perspectiveTransform(points, self._to_px), dtype=np.float64).reshape(-1, 2)

    @property
    def outline_px(self) -> Points:
        return self.seen(self.piece.outline_mm)

    def edges(self) -> list[Edge]:
        """The printed edges, each with the even print on either side in pixels of the direction that has fewer."""
        out = []
        for edge in self.piece.edges:
            x, y = edge.start_mm
            start, end, right, down = self.seen([edge.start_mm, edge.end_mm, (x + 1, y), (x, y + 1)])
            fewer = float(min(np.hypot(*(right - start)), np.hypot(*(down - start))))
            out.append((_point(start), _point(end), edge.room_mm * fewer))
        return out

    def crossings(self) -> list[Crossing]:
        """The saddle points that were found, with steps of half a chequer."""
        half = CHEQUER_MM / 2
        at, right, down = (self.seen(self.piece.points_mm + step) for step in ((0, 0), (half, 0), (0, half)))
        return [Crossing(_point(a), _point(r - a), _point(d - a)) for a, r, d in zip(at, right, down, strict=True)]


def _point(xy: NDArray[np.float64]) -> tuple[float, float]:
    return float(xy[0]), float(xy[1])


def black_over_white(pixels: NDArray[Any], edges: Sequence[Edge]) -> float | None:
    """Light of the print's dark side against its light side, from (h, w, 3) sRGB; None where no edge is seen whole."""
    ratios = []
    for start, end, room_px in edges:
        a, b = np.array(start), np.array(end)
        across = np.array([a[1] - b[1], b[0] - a[0]]) / max(float(np.hypot(*(b - a))), 1e-9) * room_px * 0.6
        along = a + np.linspace(0.2, 0.8, 20)[:, None] * (b - a)
        sides = []
        for points in (along + across, along - across):
            x, y = np.rint(points).astype(int).T
            if min(x.min(), y.min()) < 0 or x.max() >= pixels.shape[1] or y.max() >= pixels.shape[0]:
                break
            sides.append(float(np.median(linear_light(pixels[y, x][None])[0].mean(axis=1))))
        if len(sides) == 2 and max(sides) > 0:
            ratios.append(min(sides) / max(sides))
    return float(np.median(ratios)) if ratios else None
