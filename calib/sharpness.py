"""How sharp a shot is: on the slip's slanted edges, or as far as its own edges tell; and whether it moved or was out of focus.

Blur is taken as the second moments of what a point becomes: along each edge's normal its variance is that of the fitted blur, and
where four chequers meet, the middle is no longer grey when the blur runs along a diagonal. So the three moments of the blur
are known from edges of two directions and the saddle points between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.edge import EdgeProfile, Point, edge_profile, falls_to, frequency_response, together
from calib.edge_blur import Blur, fit_blur
from vision.light import linear_light
from vision.types import Sharpness

Edge = tuple[Point, Point, float]
"""Both ends in shot pixels, and the even print on either side in pixels."""

_LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""Of linear sRGB (IEC 61966-2-1)."""
_ONE_WAY = 1.8
"""Variance of the blur along its longer over that along its shorter axis from which the shot moved."""
_LEAST_SMEAR_PX = 1.8
_LENS_BLUR_PX = 0.8
"""What a good lens leaves (from memory); what goes beyond it is out of focus."""
_LEAST_DEFOCUS_PX = 2.2


@dataclass(frozen=True)
class Crossing:
    """A saddle point of the print: where it is in the shot, and steps of half a chequer along both rows, in pixels."""

    at_px: Point
    right_px: Point
    down_px: Point


def measure_sharpness(
    pixels: NDArray[Any], edges: Sequence[Edge], crossings: Sequence[Crossing] = ()
) -> Sharpness | None:
    """Sharpness on printed edges of a shot (h, w, 3), uint8 or uint16; None where no edge can be read."""
    if not edges:
        return None
    points = np.array([end for edge in edges for end in edge[:2]] + [c.at_px for c in crossings])
    room = max(edge[2] for edge in edges) + 4
    left, top = (max(int(v), 0) for v in points.min(axis=0) - room)
    right, bottom = (int(v) for v in points.max(axis=0) + room)
    light = linear_light(pixels[top : bottom + 1, left : right + 1]) @ _LUMINANCE
    shift = np.array([left, top])

    def moved(point: Point) -> Point:
        return float(point[0] - shift[0]), float(point[1] - shift[1])

    profiles = [edge_profile(light, moved(a), moved(b), width) for a, b, width in edges]
    groups = _by_direction([p for p in profiles if p is not None])
    if not groups:
        return None
    blurs = [fit_blur(group) for group in groups]
    moments = _moments(groups, blurs, _diagonal(light, [(moved(c.at_px), c) for c in crossings], groups))
    return _sharpness(groups, blurs, moments)


def _by_direction(profiles: list[EdgeProfile]) -> list[EdgeProfile]:
    """Profiles of edges whose normals differ by less than 20 degrees, taken together; the noisiest are left out."""
    groups: list[list[EdgeProfile]] = []
    for p in sorted(profiles, key=lambda p: p.noise):
        for group in groups:
            if abs(np.dot(group[0].normal, p.normal)) > np.cos(np.deg2rad(20)):
                # An edge with dirt on it or half covered is far noisier than its neighbours.
                if p.noise < 2.5 * group[0].noise + 0.01:
                    group.append(p)
                break
        else:
            groups.append([p])
    return [together(group) for group in groups]


def _diagonal(
    light: NDArray[Any], crossings: Sequence[tuple[Point, Crossing]], groups: list[EdgeProfile]
) -> tuple[Any, float] | None:
    """The axes of the chequers (2, 2) and the correlation of the blur along them, from the middles of the saddle points.

    Of four chequers under a Gaussian blur of correlation rho the middle is (2 / pi) arcsin(rho) of half the step away from grey
    (Sheppard 1899, orthant probabilities; from memory).
    """
    half = float(np.mean([p.high - p.low for p in groups])) / 2
    seen, axes = [], []
    for (x, y), crossing in crossings:
        right, down = np.array(crossing.right_px), np.array(crossing.down_px)
        at = np.array([x, y])
        corners = np.array([at + right + down, at - right - down, at + right - down, at - right + down])
        values = _sampled(light, np.vstack([corners, at[None]]))
        if not np.isfinite(values).all():
            continue
        one, other = values[:2].mean(), values[2:4].mean()
        if abs(one - other) < 0.3 * half:
            continue
        seen.append((values[4] - (one + other) / 2) / half * np.sign(one - other))
        axes.append([right / np.hypot(*right), down / np.hypot(*down)])
    if len(seen) < 6:
        return None
    return np.mean(axes, axis=0), float(np.sin(np.pi / 2 * np.clip(np.median(seen), -0.95, 0.95)))


def _sampled(light: NDArray[Any], points: NDArray[np.float64]) -> NDArray[np.float64]:
    maps = points.astype(np.float32).reshape(1, -1, 2)
    out = cv2.remap(
        light, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=float("nan")
    )
    return np.asarray(out, dtype=np.float64).ravel()


def _moments(groups: list[EdgeProfile], blurs: list[Blur], diagonal: tuple[Any, float] | None) -> NDArray[np.float64]:
    """Covariance (2, 2) of the blur in pixels of the shot."""
    rows = [[n[0] ** 2, 2 * n[0] * n[1], n[1] ** 2] for n in (g.normal for g in groups)]
    values = [b.blur_px**2 for b in blurs]
    if len(groups) == 1:
        return np.asarray(np.eye(2) * values[0])
    # Nothing said, the blur is the same in all directions: held weakly.
    rows += [[0.03, 0.0, -0.03], [0.0, 0.03, 0.0]]
    values += [0.0, 0.0]
    if diagonal is not None:
        (u, v), rho = diagonal
        rows.append([u[0] * v[0], u[0] * v[1] + u[1] * v[0], u[1] * v[1]])
        values.append(rho * float(np.mean([b.blur_px**2 for b in blurs])))
    xx, xy, yy = np.linalg.lstsq(np.array(rows), np.array(values), rcond=None)[0]
    return np.array([[xx, xy], [xy, yy]])


def moved_or_soft(
    moments: NDArray[np.float64], one_way: float = _ONE_WAY, least_smear_px: float = _LEAST_SMEAR_PX
) -> tuple[float, float, float]:
    """Length and direction (degrees) of a smear, and radius of a circle of confusion, in pixels; 0 for what there is none of.

    A smear of length L adds L^2 / 12 to the variance along it, a disc of radius R adds R^2 / 4 in every direction.
    """
    values, vectors = np.linalg.eigh(moments)
    shorter, longer = max(float(values[0]), 0.04), float(values[1])
    smear = float(np.sqrt(max(12 * (longer - shorter), 0.0)))
    if longer / shorter > one_way and smear > least_smear_px:
        return smear, float(np.rad2deg(np.arctan2(vectors[1, 1], vectors[0, 1]))) % 180, 0.0
    defocus = float(2 * np.sqrt(max((longer + shorter) / 2 - _LENS_BLUR_PX**2, 0.0)))
    return 0.0, 0.0, defocus if defocus > _LEAST_DEFOCUS_PX else 0.0


def _sharpness(groups: list[EdgeProfile], blurs: list[Blur], moments: NDArray[np.float64]) -> Sharpness:
    both = [frequency_response(group, blur.fitted) for group, blur in zip(groups, blurs, strict=True)]
    frequency, mean = both[0][0], np.mean([response for _, response in both], axis=0)
    blur_px = float(np.sqrt(np.mean([b.blur_px**2 for b in blurs])))
    smear, direction, defocus = moved_or_soft(moments)
    return Sharpness(
        blur_px=blur_px,
        mtf50_cy_px=falls_to(frequency, mean, 0.5) or 1.0,
        mtf10_cy_px=falls_to(frequency, mean, 0.1),
        overshoot=max(b.overshoot for b in blurs),
        sharpened=any(b.sharpened for b in blurs),
        from_slip=True,
        smear_px=smear,
        smear_deg=direction,
        defocus_px=defocus,
    )
