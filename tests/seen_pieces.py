"""Printed pieces as a camera sees them: points put through a camera model that the fits do not share code with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.slip.layout import Piece, corner, strip
from calib.slip.view import PieceView

Points = NDArray[np.float64]


@dataclass(frozen=True)
class Pose:
    """A camera over the plane: it looks at the plane's point `at_mm` there where `axis_px` is, from `distance_mm`."""

    focal_px: float
    axis_px: tuple[float, float]
    distance_mm: float
    tilt_deg: float = 0.0
    towards_deg: float = 0.0
    turn_deg: float = 0.0
    k1: float = 0.0
    k2: float = 0.0

    @property
    def turn(self) -> Points:
        """(3, 3): the plane's axes in the camera's."""
        a, b, c = np.deg2rad([self.towards_deg, self.tilt_deg, self.turn_deg])
        about = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
        lean = np.array([[np.cos(b), 0, np.sin(b)], [0, 1, 0], [-np.sin(b), 0, np.cos(b)]])
        spin = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
        return np.asarray(about @ lean @ about.T @ spin)

    def seen(self, points_mm: Points, height_mm: Points | float = 0.0) -> Points:
        """(n, 2) pixels of (n, 2) places on the plane, or at a height above it."""
        lifted = np.column_stack([points_mm, np.broadcast_to(-np.asarray(height_mm, float), len(points_mm))])
        x, y, z = (lifted @ self.turn.T + (0, 0, self.distance_mm)).T
        u, v = x / z, y / z
        r2 = u * u + v * v
        bent = 1 + self.k1 * r2 + self.k2 * r2 * r2
        return np.column_stack([u * bent, v * bent]) * self.focal_px + self.axis_px


def lying(piece: Piece, angle_deg: float, middle_mm: tuple[float, float], points_mm: Points | None = None) -> Points:
    """(n, 2) on the plane: points of a piece (its saddle points) when its middle lies at `middle_mm`, turned by `angle_deg`."""
    points = (piece.saddles_mm if points_mm is None else points_mm) - piece.outline_mm.mean(axis=0)
    a = np.deg2rad(angle_deg)
    return np.asarray(points @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + middle_mm)


def view(
    piece: Piece,
    seen_px: Points,
    rng: np.random.Generator,
    sigma_px: float = 0.05,
    keep: NDArray[np.bool_] | None = None,
    stretch: tuple[float, float] = (1.0, 1.0),
) -> PieceView:
    """What would be found of it: its points with noise. `keep` (n,): those not covered."""
    keep = np.ones(len(seen_px), dtype=bool) if keep is None else keep
    noisy = seen_px[keep] + rng.normal(0, max(sigma_px, 1e-12), (int(keep.sum()), 2))
    spread = np.full(len(noisy), max(sigma_px, 1e-3))
    many = len(piece.markers)
    return PieceView(
        piece.name, piece.saddles_mm[keep] / stretch, noisy, spread, piece.outline_mm, piece.edges, many, many
    )


def any_pose(
    rng: np.random.Generator, px_per_mm: float, width_px: int, height_px: int, most_tilt: float = 30.0
) -> Pose:
    """A camera as people hold them: 24 to 80 mm of film, the axis a little off the middle."""
    focal = float(np.exp(rng.uniform(np.log(0.66), np.log(2.2)))) * max(width_px, height_px)
    axis = np.array([(width_px - 1) / 2, (height_px - 1) / 2]) + rng.normal(0, 0.01 * width_px, 2)
    return Pose(
        focal, (float(axis[0]), float(axis[1])), focal / px_per_mm,
        float(rng.uniform(0, most_tilt)), float(rng.uniform(0, 360)), float(rng.uniform(0, 360)),
    )  # fmt: skip


def strip_in_view(rng: np.random.Generator, pose: Pose, width_px: int, height_px: int) -> tuple[Points, Points]:
    """Where the strip lies so that all of it is in the picture: its saddle points on the plane, and as seen."""
    piece = strip()
    reach = 0.5 * max(width_px, height_px) / pose.focal_px * pose.distance_mm
    for share in np.linspace(1, 0, 400):
        middle = rng.uniform(-reach, reach, 2) * share
        mm = lying(piece, float(rng.uniform(0, 360)), (float(middle[0]), float(middle[1])))
        px = pose.seen(mm)
        if (px > 0).all() and (px < (width_px - 1, height_px - 1)).all():
            return mm, px
    raise ValueError("no room for the strip")


def corner_pieces(
    pose: Pose, width_px: int, height_px: int, rng: np.random.Generator
) -> tuple[list[Piece], list[Points]]:
    """The four corner pieces, each as near its corner of the picture as it fits, a little turned: points on the plane."""
    pieces, places = [], []
    for number, (sx, sy) in enumerate(((-1, -1), (1, -1), (1, 1), (-1, 1)), start=1):
        piece, angle = corner(number), float(rng.uniform(-8, 8)) - pose.turn_deg
        for share in np.linspace(1, 0.2, 200):
            away = 0.5 * share * np.array([width_px * sx, height_px * sy]) / pose.focal_px * pose.distance_mm * 1.2
            a = np.deg2rad(-pose.turn_deg)
            middle = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) @ away
            outline = pose.seen(lying(piece, angle, (float(middle[0]), float(middle[1])), piece.outline_mm))
            if (outline > 0).all() and (outline < (width_px - 1, height_px - 1)).all():
                pieces.append(piece)
                places.append(lying(piece, angle, (float(middle[0]), float(middle[1]))))
                break
    return pieces, places


def apart(found_mm: Points, true_mm: Points, centre: tuple[Points, Points], near: tuple[Points, Points]) -> Points:
    """(n,): distances of found from true places, both taken from the centre, after the turn that lays `near` (m, 2) best."""
    found, true = found_mm - centre[0], true_mm - centre[1]
    u, _, v = np.linalg.svd((near[0] - centre[0]).T @ (near[1] - centre[1]))
    return np.asarray(np.hypot(*(found @ (u @ v) - true).T))
