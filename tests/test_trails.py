"""A miner's trail in a leaf is one candidate, whole, in light that shines through: pale or dark, with veins across it.

The leaf is drawn here; how long the trail is follows from its course alone.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy import ndimage

from vision.pipeline import inspect
from vision.rank import shipped_ranker
from vision.render.camera import srgb_encode
from vision.types import Candidate, Cut, Setup, Shot

pytestmark = pytest.mark.slow

_PX_PER_MM = 20.0
_HIGH, _WIDE = 1000, 1400
_TURNS = np.linspace(0, 1, 400)
_COURSE = np.stack(
    [300 + 800 * _TURNS, 500 + 120 * np.sin(8.2 * _TURNS + 3.2) + 40 * np.sin(25 * _TURNS)], axis=1
)  # fmt: skip
_LENGTH_MM = float(np.hypot(*np.diff(_COURSE, axis=0).T).sum()) / _PX_PER_MM


def _flags(density: float, gap: slice = slice(0, 0)) -> tuple[Candidate, ...]:
    """Of a leaf with veins along it and a trail 0.6 mm wide in it, `density` denser than the leaf."""
    rng = np.random.default_rng(1)
    veins = ndimage.gaussian_filter1d(rng.normal(0, 1, _HIGH), 3)
    texture = 0.02 * veins[:, None] / veins.std() + 0.1 * ndimage.gaussian_filter(rng.normal(0, 1, (_HIGH, _WIDE)), 4)
    leaf = np.abs(np.arange(_HIGH) - 500)[:, None] < 330
    planes = np.where(leaf[..., None], np.array([0.45, 0.22, 0.6]) + texture[..., None], 0.0)
    trail = np.zeros((_HIGH, _WIDE), np.uint8)
    for part in (_COURSE[: gap.start], _COURSE[gap.stop :]) if gap.stop else (_COURSE,):
        cv2.polylines(trail, [np.rint(part * 8).astype(np.int32)], False, 1, 12, cv2.LINE_8, 3)
    planes += density * trail[..., None] * np.array([0.9, 0.6, 1.0])
    light = ndimage.gaussian_filter(0.75 * 10**-planes, (1, 1, 0))
    light += rng.normal(0, 1, light.shape) * np.sqrt(8e-5 * light)
    pixels = np.round(255 * np.clip(srgb_encode(np.clip(light, 0, 1)), 0, 1)).astype(np.uint8)
    shot = Shot(np.ascontiguousarray(pixels), "0" * 64, "leaf")
    return inspect(shot, Setup(px_per_mm=_PX_PER_MM), None, shipped_ranker(), Cut(min_score=0.0)).candidates


def _whole(flags: tuple[Candidate, ...]) -> list[Candidate]:
    """Flags as long as the trail, and as narrow as one, on its course."""
    middle = _COURSE.mean(axis=0)
    return [
        c
        for c in flags
        if c.sizes is not None
        and c.sizes.length_mm == pytest.approx(_LENGTH_MM, rel=0.08)
        and 0.3 < c.sizes.width_mm < 1.2
        and np.hypot(*(np.array([c.measures.x_px, c.measures.y_px]) - middle)) < 3 * _PX_PER_MM
    ]


@pytest.mark.parametrize("density", [-0.25, 0.25], ids=["pale", "dark"])
def test_is_found_whole_once(density: float) -> None:
    (trail,) = _whole(_flags(density))
    assert trail.shape == "trail"


@pytest.mark.parametrize("density", [-0.25, 0.25], ids=["pale", "dark"])
def test_is_joined_over_a_gap(density: float) -> None:
    (trail,) = _whole(_flags(density, slice(195, 205)))
    assert trail.shape == "trail"
