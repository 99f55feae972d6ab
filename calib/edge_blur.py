"""The blur under a camera's own sharpening, fitted to an edge.

A camera sharpens by an unsharp mask: to each value is added a share of what it differs by from its surroundings. That raises MTF50 but
shows nothing that the blur has hidden. So the edge is fitted with a Gaussian blur and an unsharp mask on top of it; the mask may
work on encoded values, as in cameras, or on light.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import ndtr

from calib.edge import EdgeProfile, Values
from vision.light import decode_srgb, encode_srgb

_STEP_PX = 0.25
_SURELY = 15.0
"""By how much less the squared errors (in standard deviations) of a sharpened edge must be to be believed."""
_LEAST_OVERSHOOT = 0.005
_NOISE_FLOOR = 0.004
"""Of a bin, as a share of the step: rounding and the edge's own roughness."""


@dataclass(frozen=True)
class Blur:
    """`blur_px` without the sharpening, `plain_px` as if there were none; `overshoot` as a share of the step."""

    blur_px: float
    plain_px: float
    amount: float
    radius_px: float
    overshoot: float
    sharpened: bool


@dataclass(frozen=True)
class _Task:
    profile: EdgeProfile
    weight: Values
    grid: Values


def fit_blur(profile: EdgeProfile) -> Blur:
    """Blur and sharpening of an edge. Standard deviations in pixels of the shot, along the edge's normal."""
    rising = np.maximum.accumulate(np.clip(profile.light, 0, 1))
    low, high = np.interp([0.16, 0.84], rising + np.arange(len(rising)) * 1e-9, profile.place_px)
    start = float(np.clip((high - low) / 2, 0.3, 8))
    reach = min(float(np.abs(profile.place_px).max()), max(7 * start, 8.0) + 4)
    near = np.abs(profile.place_px) <= reach
    spread = profile.noise / np.sqrt(np.maximum(profile.count, 1))
    weight = np.where(near, 1 / np.hypot(spread, _NOISE_FLOOR), 0.0)
    task = _Task(profile, weight, np.arange(-reach - 10, reach + 10, _STEP_PX))
    plain = least_squares(_errors_plain, [np.log(start), 0, 0, 1], args=(task,), max_nfev=20)
    plain_px = float(np.exp(plain.x[0]))
    overshoot = _overshoot(profile, weight)
    best = _sharpened(task, start, float(plain.cost)) if overshoot > _LEAST_OVERSHOOT else plain
    surely = 2 * float(plain.cost - best.cost) > _SURELY
    return Blur(
        blur_px=float(np.exp(best.x[0])) if surely else plain_px,
        plain_px=plain_px,
        amount=float(best.x[1]) if surely else 0.0,
        radius_px=float(np.exp(best.x[2])) if surely else 0.0,
        overshoot=overshoot,
        sharpened=surely,
    )


def _sharpened(task: _Task, start_px: float, plain_cost: float) -> Any:
    """The best fit with an unsharp mask, which is tried in encoded values first, as cameras do it."""
    best = None
    for encoded, radius in ((True, 1.0), (False, 1.2), (True, 2.2)):
        found = least_squares(
            _errors, [np.log(start_px * 1.2), 0.8, np.log(radius), 0, 0, 1], args=(task, encoded), max_nfev=25,
            bounds=([np.log(0.25), 0, np.log(0.5), -3, -0.3, 0.7], [np.log(9), 3, np.log(4), 3, 0.3, 1.3]),
        )  # fmt: skip
        if best is None or found.cost < best.cost:
            best = found
        if best.cost < max(0.03 * plain_cost, 0.8 * np.count_nonzero(task.weight)):
            break
    return best


def _errors_plain(values: Values, task: _Task) -> Values:
    return _errors(np.array([values[0], 0.0, 0.0, *values[1:]]), task, True)


def _overshoot(profile: EdgeProfile, weight: Values) -> float:
    """How far the edge runs over its levels, the larger of both sides; five bins are averaged so that noise is none."""
    smooth = np.convolve(np.pad(profile.light, 2, mode="edge"), np.full(5, 0.2), mode="valid")[weight > 0]
    return float(max(smooth.max() - 1, -smooth.min(), 0.0))


def _errors(values: Values, task: _Task, encoded: bool) -> Values:
    return np.asarray((_drawn(values, task, encoded) - task.profile.light) * task.weight)


def _drawn(values: Values, task: _Task, encoded: bool) -> Values:
    """The edge for log blur, amount, log radius, shift, level of the dark and of the light side."""
    p = task.profile
    step = p.high - p.low
    share = values[4] + (values[5] - values[4]) * ndtr((task.grid - values[3]) / np.exp(values[0]))
    light = np.clip(p.low + step * share, 0, 1)
    if values[1] > 0:
        seen = encode_srgb(light) if encoded else light
        seen = np.clip(seen + values[1] * (seen - _smooth(seen, float(np.exp(values[2])))), 0, 1)
        light = decode_srgb(seen) if encoded else seen
    return np.asarray(np.interp(p.place_px, task.grid, (light - p.low) / step))


def _smooth(values: NDArray[np.float64], sigma_px: float) -> Values:
    half = int(np.ceil(3.5 * sigma_px / _STEP_PX))
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) * _STEP_PX / sigma_px) ** 2)
    return np.convolve(np.pad(values, half, mode="edge"), kernel / kernel.sum(), mode="valid")
