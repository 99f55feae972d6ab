"""The numbers a speck is ranked by: physical, named, one list.

Those in millimetres are NaN where the scale is unknown; the ranker has learned to do without them. Everything else is a ratio,
an angle-free form, an optical density or a CIELAB difference, so that it means the same at any resolution and exposure.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.arrays import depth_within, mean_of_channels
from vision.glance import KEPT
from vision.grain import grain_round
from vision.limbs import count_spokes, hollow
from vision.looks import SIGMA_OF_WIDTH, Looks, Spots
from vision.measure import Measured
from vision.patches import Bodies
from vision.types import FloatArray, LitFrom, MaskArray, Speck, Surfaces, Tone

FEATURES: tuple[str, ...] = (
    "length_mm", "width_mm", "equivalent_mm", "blur_mm",
    "aspect", "circularity", "solidity", "body_solidity", "straightness", "winding", "bend", "legs",
    "spokes", "spokes_far", "hollow", "holes",
    "density", "density_red", "density_green", "density_blue", "delta_e",
    "delta_l", "delta_a", "delta_b", "body_l", "body_a", "body_b", "around_l", "around_a", "around_b",
    "snr", "response_finer", "response_coarser", "response_far_coarser",
    "middle_to_rim", "unevenness", "darkest", "lightest", "end_contrast", "taper", "pear",
    "blur_to_width", "edge_evenness", "around_spread", "around_to_contrast", "grain", "along_grain",
    "glance", *KEPT, "patch_own", "patch_along", "siblings", "crowd", "crowd_strength",
    "on_produce", "lighter", "lit_above", "rim_distance", "at_picture_edge", "ground_share", "ground_round", "neutral",
)  # fmt: skip


ALONG = FEATURES.index("patch_along")
"""What the networks say of the picture turned along a speck (net.py); NaN where there is none."""
_NEXT_PX = 7
"""Window pixels across of what counts as next to a speck."""
_FAINT = 0.05
"""Density below which a share of it says little."""


def features_of(
    measured: Sequence[Measured], surfaces: Surfaces, lit_from: LitFrom, px_per_mm: float | None, step: int,
    looks: Looks | None = None,
) -> NDArray[np.float32]:  # fmt: skip
    """One row a speck, one column for each of FEATURES, float32; `px_per_mm` is that of the shot or None; what networks say of
    a speck's picture is NaN without `looks`."""
    if not measured:
        return np.zeros((0, len(FEATURES)), np.float32)
    own = np.array([_own(m, px_per_mm) for m in measured], dtype=np.float32)
    patch = _patches(measured, looks)
    company = _company(measured)
    place = _places(measured, surfaces, lit_from, step)
    out = np.concatenate([own, patch, company, place], axis=1)
    assert out.shape[1] == len(FEATURES)
    return np.asarray(out, dtype=np.float32)


def _own(m: Measured, px_per_mm: float | None) -> list[float]:
    """What the speck itself shows, in the order of FEATURES up to 'patch_own'."""
    x, body = m.measures, m.body
    mm = float("nan") if px_per_mm is None else 1 / px_per_mm
    lab = m.body_lab - m.around_lab
    channel = m.body_density - m.around_density
    contrast = max(abs(x.density), 1e-3)
    return [
        x.length_px * mm, x.width_px * mm, x.equivalent_diameter_px * mm, x.blur_px * mm,
        x.width_px / max(x.length_px, 1e-6), x.circularity, x.solidity, body.solidity, m.build.straightness,
        m.build.winding_rad, m.build.bend_rad, _legs(m),
        *count_spokes(m.speck.mask, m.speck.contrast), *hollow(m.speck.mask),
        x.density, *(float(v) for v in channel), x.delta_e,
        *(float(v) for v in lab), *(float(v) for v in m.body_lab), *(float(v) for v in m.around_lab),
        *_responses(m), *_inside(m),
        x.blur_px / max(x.width_px, 1e-6), m.edge_evenness, m.around_spread, m.around_spread / contrast,
        *grain_round(m.speck, x.angle_deg),
        m.speck.likely, *m.speck.glanced,
    ]  # fmt: skip


def _patches(measured: Sequence[Measured], looks: Looks | None) -> NDArray[np.float32]:
    """What the networks say of the picture round each speck's own middle, at its own size, and of that turned along it: (n, 2)."""
    if looks is None:
        return np.full((len(measured), 2), np.nan, np.float32)
    bodies = bodies_of(measured)
    spots = Spots(bodies.row_px, bodies.column_px, SIGMA_OF_WIDTH * np.maximum(bodies.width_px, 1.0))
    return np.stack([looks.at(spots), looks.along(bodies)], axis=1)


def bodies_of(measured: Sequence[Measured]) -> Bodies:
    """Where specks lie and how long, wide and turned they are."""
    all_of = [m.measures for m in measured]
    rows = [(x.y_px, x.x_px, x.length_px, x.width_px, x.angle_deg) for x in all_of]
    return Bodies(*np.array(rows, np.float64).reshape(-1, 5).T)


def _legs(m: Measured) -> float:
    """Area at a quarter of the contrast over area at half: legs, antennae and halos are fainter than bodies."""
    faint = (m.speck.contrast > 0.25) & (cv2.dilate(m.speck.mask.view(np.uint8), np.ones((7, 7), np.uint8)) > 0)
    return float(np.count_nonzero(faint) / max(int(np.count_nonzero(m.speck.mask)), 1))


def _responses(m: Measured) -> tuple[float, float, float, float]:
    """Log signal to noise, and how it falls off at finer and coarser scales: points, edges and blobs differ there."""
    response = np.asarray(m.speck.response)
    k = int(response.argmax())
    top = max(float(response[k]), 1e-3)

    def at(n: int) -> float:
        return float(response[n] / top) if 0 <= n < len(response) else 0.0

    return float(np.log10(max(m.speck.snr, 1.0))), at(k - 2), at(k + 2), at(k + 4)


def _inside(m: Measured) -> list[float]:
    """How the contrast is spread over the body: middle against rim, darkest and lightest parts, ends, taper, pear shape."""
    speck = m.speck
    rows, cols = np.nonzero(speck.mask)
    value = mean_of_channels(speck.residual[rows, cols]) - float(
        m.around_density.mean() - np.mean(speck.surface_density)
    )
    sign = 1.0 if speck.tone == Tone.DARKER else -1.0
    value = sign * value.astype(np.float64)
    mean = float(value.mean()) if abs(value.mean()) > 1e-3 else 1e-3
    depth = depth_within(speck.mask, 3)[rows, cols]
    deep = depth >= 0.6 * depth.max()
    rim = depth <= max(1.0, 0.35 * depth.max())
    angle = np.deg2rad(m.measures.angle_deg)
    along = (cols - cols.mean()) * np.cos(angle) + (rows - rows.mean()) * np.sin(angle)
    spread = float(along.std()) + 1e-6
    first, last = along < -0.8 * spread, along > 0.8 * spread
    ends = abs(value[first].mean() - value[last].mean()) / abs(mean) if first.any() and last.any() else 0.0
    scaled = along / spread
    ordered = np.sort(value)
    low, high = ordered[int(0.05 * (len(ordered) - 1))], ordered[int(np.ceil(0.95 * (len(ordered) - 1)))]
    return [
        float(value[deep].mean() / (value[rim].mean() if abs(value[rim].mean()) > 1e-3 else 1e-3)),
        float(value.std() / abs(mean)), float(high / mean), float(low / mean), float(min(ends, 9.0)),
        float((scaled**4).mean()), float(abs((scaled**3).mean())),
    ]  # fmt: skip


def _company(measured: Sequence[Measured]) -> NDArray[np.float32]:
    """Log count of specks alike in colour and size (buds come in crowds, insects do not), and how crowded the place is."""
    n = len(measured)
    lab = np.array([m.body_lab for m in measured])
    size = np.log(np.array([max(m.measures.equivalent_diameter_px, 0.5) for m in measured]))
    surface = np.array([m.speck.on_produce for m in measured])
    places = np.array([(m.measures.x_px, m.measures.y_px) for m in measured])
    strength = np.array([m.speck.snr for m in measured])
    reach = 4.0 * np.exp(size)
    out = np.zeros((n, 3), np.float32)
    for k in range(n):
        alike = (np.abs(lab - lab[k]).sum(axis=1) < 12) & (np.abs(size - size[k]) < 0.4) & (surface == surface[k])
        near = np.hypot(*(places - places[k]).T) < reach[k] + 8
        near[k] = False
        out[k] = (
            np.log1p(alike.sum() - 1),
            np.log1p(near.sum()),
            np.log1p(strength[near].max() / max(strength[k], 1e-3)) if near.any() else 0.0,
        )
    return out


def _places(measured: Sequence[Measured], surfaces: Surfaces, lit_from: LitFrom, step: int) -> NDArray[np.float32]:
    """Where it lies: on what, lit how, how far (in its own lengths, at most 9) from an outline of produce or panel."""
    distance = _rim_distance(surfaces)
    shrink = surfaces.ground.shape[0] / distance.shape[0]
    h, w = surfaces.ground.shape
    rows = []
    for m in measured:
        x, y = m.measures.x_px / step, m.measures.y_px / step
        i = min(int(y / shrink), distance.shape[0] - 1)
        j = min(int(x / shrink), distance.shape[1] - 1)
        length = max(m.measures.length_px / step, 1.0)
        box = m.measures
        edge = (
            box.left_px <= step or box.top_px <= step
            or box.left_px + box.wide_px >= w * step - step or box.top_px + box.high_px >= h * step - step
        )  # fmt: skip
        rows.append(
            [
                float(m.speck.on_produce), float(m.speck.tone == Tone.LIGHTER), float(lit_from == LitFrom.ABOVE),
                min(float(distance[i, j]) * shrink / length, 9.0), float(edge), *_on_ground(m.speck, surfaces), _neutral(m),
            ]
        )  # fmt: skip
    return np.array(rows, np.float32)


def _on_ground(speck: Speck, surfaces: Surfaces) -> tuple[float, float]:
    """Share of the speck, and of what is next to it, that is ground: a gap between two pieces is, with produce round it."""
    next_to_it = cv2.dilate(speck.mask.view(np.uint8), np.ones((_NEXT_PX, _NEXT_PX), np.uint8)) > speck.mask
    (n, m), (h, w) = speck.mask.shape, surfaces.ground.shape
    y = np.clip((speck.top + np.arange(n) * speck.zoom).astype(np.intp), 0, h - 1)
    x = np.clip((speck.left + np.arange(m) * speck.zoom).astype(np.intp), 0, w - 1)
    ground = surfaces.ground[y[:, None], x]
    return _share_of(ground, speck.mask), _share_of(ground, next_to_it)


def _share_of(ground: MaskArray, mask: MaskArray) -> float:
    return float(np.count_nonzero(ground & mask) / max(int(np.count_nonzero(mask)), 1))


def _neutral(m: Measured) -> float:
    """How unlike the channels' densities against the ground's light are: shaded ground, seen through a gap, is darker in all alike."""
    return float(np.ptp(m.body_density) / (abs(float(m.body_density.mean())) + _FAINT))


def _rim_distance(surfaces: Surfaces) -> FloatArray:
    """Distance to the next outline of produce or panel, in pixels of a picture a quarter as large."""
    ground = np.ascontiguousarray(surfaces.ground[::4, ::4]).astype(np.uint8)
    if ground.all() or not ground.any():
        return np.full(ground.shape, 1e4, np.float32)
    inward = cv2.distanceTransform(ground, cv2.DIST_L2, 3)
    outward = cv2.distanceTransform(1 - ground, cv2.DIST_L2, 3)
    return np.asarray(np.maximum(inward, outward) - 0.5, dtype=np.float32)
