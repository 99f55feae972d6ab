"""Shots of the printed strip on a plane, seen by a pinhole camera: drawn here, apart from vision/render, so that tests of the slip
lean on nothing but geometry.

Linear light throughout; the strip is rasterised finely from its ink, laid on the plane with its homography on a picture twice as
fine, averaged down, blurred, sharpened, made noisy and encoded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.slip.ink import ink_of
from calib.slip.layout import strip
from calib.slip.raster import coverage
from calib.slip.view import SlipText
from vision.light import decode_srgb, encode_srgb
from vision.types import Shot

STRIP_MIDDLE_MM = np.array([strip().wide_mm / 2, strip().high_mm / 2])
_FINE_PX_PER_MM = 60
_FOLD = 2


@dataclass(frozen=True)
class Camera:
    """A pinhole camera above the plane: `to_px` (3, 3) maps millimetres of the strip to pixels."""

    to_px: NDArray[np.float64]
    width_px: int
    height_px: int

    def seen(self, points_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        out = np.column_stack([points_mm, np.ones(len(points_mm))]) @ self.to_px.T
        return np.asarray(out[:, :2] / out[:, 2:])

    def px_per_mm(self, at_mm: NDArray[np.float64]) -> float:
        """Geometric mean of the two local scales."""
        h = 1e-3
        steps = np.array([[h, 0.0], [0.0, h]])
        ahead = self.seen(at_mm + steps) - self.seen(at_mm - steps)
        return float(np.sqrt(abs(np.linalg.det(ahead / (2 * h)))))


def camera(
    px_per_mm: float,
    tilt_deg: float = 0.0,
    towards_deg: float = 0.0,
    turn_deg: float = 0.0,
    focal: float = 0.9,
    at: tuple[float, float] = (0.0, 0.0),
    size: tuple[int, int] = (1600, 1200),
) -> Camera:
    """`focal` in picture widths; `at`: where the strip's middle lies, as shares of the picture from its middle."""
    width, height = size
    f = focal * width
    matrix = np.array([[f, 0, (width - 1) / 2], [0, f, (height - 1) / 2], [0, 0, 1.0]])
    a, t = np.deg2rad(towards_deg), np.deg2rad(tilt_deg)
    turn = (
        cv2.Rodrigues(np.array([np.cos(a), np.sin(a), 0]) * t)[0]
        @ cv2.Rodrigues(np.array([0, 0, np.deg2rad(turn_deg)]))[0]
    )
    place = np.array([at[0] * width / px_per_mm, at[1] * height / px_per_mm, f / px_per_mm])
    axes = np.column_stack([turn[:, 0], turn[:, 1], place - turn[:, :2] @ STRIP_MIDDLE_MM])
    return Camera(matrix @ axes, width, height)


@lru_cache(maxsize=4)
def strip_light(text: SlipText | None = None, white: float = 0.85, black: float = 0.03) -> NDArray[np.float32]:
    """The strip's reflectance (h, w, 3) at 60 px/mm."""
    piece = strip()
    h, w = round(piece.high_mm * _FINE_PX_PER_MM), round(piece.wide_mm * _FINE_PX_PER_MM)
    out = np.full((h, w, 3), white, np.float32)
    for colour, rings in ink_of(piece, text).rings.items():
        cover = coverage([ring * _FINE_PX_PER_MM for ring in rings], h, w)[..., None]
        ink = (decode_srgb(np.array(colour) / 255) * (white - black) + black).astype(np.float32)
        out = out * (1 - cover) + cover * ink
    return out


@dataclass(frozen=True)
class Fault:
    """What the shot went through, in this order."""

    smear_px: float = 0.0
    smear_deg: float = 0.0
    defocus_px: float = 0.0
    blur_px: float = 1.0
    noise: float = 0.006
    sharpen: float = 0.0
    radius_px: float = 1.0
    jpeg: int | None = 92


def scene(
    cam: Camera,
    ground: float = 0.6,
    discs_mm: Sequence[tuple[float, float, float, float]] = (),
    strips: Sequence[NDArray[np.float64]] = (np.eye(3),),
    printed: NDArray[np.float32] | None = None,
) -> NDArray[np.float32]:
    """Linear light (h, w, 3) twice as fine as the shot: ground, strips (each moved on the plane by a (3, 3) matrix), and discs
    (x, y, radius, light) in millimetres of the first strip."""
    fine = strip_light() if printed is None else printed
    double = np.array([[_FOLD, 0, (_FOLD - 1) / 2], [0, _FOLD, (_FOLD - 1) / 2], [0, 0, 1.0]])
    size = (cam.width_px * _FOLD, cam.height_px * _FOLD)
    light = np.full((size[1], size[0], 3), ground, np.float32)
    less = max(1, int(_FINE_PX_PER_MM / (cam.px_per_mm(STRIP_MIDDLE_MM) * _FOLD)))
    small = cv2.resize(fine, (fine.shape[1] // less, fine.shape[0] // less), interpolation=cv2.INTER_AREA)
    wide, high = fine.shape[1] / small.shape[1], fine.shape[0] / small.shape[0]
    to_mm = np.array([[wide, 0, wide / 2], [0, high, high / 2], [0, 0, _FINE_PX_PER_MM]]) / _FINE_PX_PER_MM
    for move in strips:
        whole = double @ cam.to_px @ move @ to_mm
        cv2.warpPerspective(small, whole, size, light, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_TRANSPARENT)
    for x, y, radius, value in discs_mm:
        ring = np.linspace(0, 2 * np.pi, 96, endpoint=False)
        points = cam.seen(np.column_stack([x + radius * np.cos(ring), y + radius * np.sin(ring)]))
        fold = np.rint((points * _FOLD + (_FOLD - 1) / 2) * 16).astype(np.int32)
        cv2.fillPoly(light, [fold], (value, value, value), cv2.LINE_AA, 4)
    return light


def photographed(light: NDArray[Any], fault: Fault = Fault(), seed: int = 0, name: str = "a.jpg") -> Shot:
    """The shot of a scene."""
    h, w = light.shape[0] // _FOLD, light.shape[1] // _FOLD
    out = cv2.resize(light, (w, h), interpolation=cv2.INTER_AREA)
    if fault.smear_px:
        out = cv2.filter2D(out, -1, _smear(fault.smear_px, fault.smear_deg))
    if fault.defocus_px:
        out = cv2.filter2D(out, -1, _disc(fault.defocus_px))
    if fault.blur_px:
        out = cv2.GaussianBlur(out, (0, 0), fault.blur_px)
    out = out + np.random.default_rng(seed).normal(0, fault.noise, out.shape).astype(np.float32)
    seen = encode_srgb(np.clip(out, 0, 1))
    if fault.sharpen:
        seen = seen + fault.sharpen * (seen - cv2.GaussianBlur(seen, (0, 0), fault.radius_px))
    levels = np.clip(np.rint(seen * 255), 0, 255).astype(np.uint8)
    if fault.jpeg is not None:
        coded = cv2.imencode(".jpg", levels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, fault.jpeg])[1]
        levels = np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1])
    return Shot(levels, f"{seed:064d}", name)


def _smear(length_px: float, angle_deg: float) -> NDArray[np.float64]:
    half = int(length_px) + 2
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    a = np.deg2rad(angle_deg)
    along, across = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
    kernel = np.clip(length_px / 2 + 0.5 - np.abs(along), 0, 1) * np.clip(1 - np.abs(across), 0, 1)
    return np.asarray(kernel / kernel.sum())


def _disc(radius_px: float) -> NDArray[np.float64]:
    half = int(radius_px) + 2
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    kernel = np.clip(radius_px + 0.5 - np.hypot(x, y), 0, 1)
    return np.asarray(kernel / kernel.sum())
