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
from scipy.special import ndtr

from calib.edge import EdgeProfile, Values
from vision.light import decode_srgb, encode_srgb

_STEP_PX = 0.25
_SURELY = 25.0
"""By how much less the squared errors (in standard deviations) of a sharpened edge must be to be believed."""
_LEAST_OVERSHOOT, _NAMED_OVERSHOOT = 0.002, 0.005
"""Of the step: from which an edge that no plain blur explains may be sharpened (one out of focus is no Gaussian's either, but never
runs over), and from which it is called so."""
_NOISE_FLOOR = 0.0025
"""Of a bin, as a share of the step: rounding and the edge's own roughness."""


_POOR = 1.3
"""Squared error a bin, in its own variance, from which a plain blur does not explain an edge."""
_USUAL_AMOUNT, _USUAL_LOG_RADIUS = (0.8, 0.8), (np.log(1.2), 0.6)
"""Mean and spread of cameras' unsharp masks (common practice, no source): what an edge can't tell of its mask, these do."""


@dataclass(frozen=True)
class Blur:
    """`blur_px` without the sharpening; `overshoot` as a share of the step; `fitted` (n,) the edge as it was fitted, on its places."""

    blur_px: float
    overshoot: float
    sharpened: bool
    fitted: Values


@dataclass(frozen=True)
class _Task:
    profile: EdgeProfile
    weight: Values
    grid: Values


def fit_blur(profile: EdgeProfile) -> Blur:
    """Blur and sharpening of an edge. Standard deviations in pixels of the shot, along the edge's normal."""
    from scipy.optimize import least_squares  # here and not above: only shots with a slip should pay for it

    rising = np.maximum.accumulate(np.clip(profile.light, 0, 1))
    low, high = np.interp([0.16, 0.84], rising + np.arange(len(rising)) * 1e-9, profile.place_px)
    start = float(np.clip((high - low) / 2, 0.3, 8))
    reach = min(float(np.abs(profile.place_px).max()), max(7 * start, 8.0) + 4)
    near = np.abs(profile.place_px) <= reach
    spread = profile.noise / np.sqrt(np.maximum(profile.count, 1))
    weight = np.where(near, 1 / np.hypot(spread, _NOISE_FLOOR), 0.0)
    task = _Task(profile, weight, np.arange(-reach - 10, reach + 10, _STEP_PX))
    plain = least_squares(_errors_plain, [np.log(start), 0, 0, 1], args=(task,), max_nfev=20)
    overshoot = _overshoot(profile, weight)
    poor = 2 * float(plain.cost) > _POOR * np.count_nonzero(weight)
    if overshoot > _NAMED_OVERSHOOT or (overshoot > _LEAST_OVERSHOOT and poor):
        best, encoded = _sharpened(task, start)
        if 2 * float(plain.cost - best.cost) > _SURELY:
            named = overshoot > _NAMED_OVERSHOOT
            return Blur(float(np.exp(best.x[0])), overshoot, named, _drawn(best.x, task, encoded))
    whole = np.array([plain.x[0], 0.0, 0.0, *plain.x[1:]])
    return Blur(float(np.exp(plain.x[0])), overshoot, False, _drawn(whole, task, True))


def _sharpened(task: _Task, start_px: float) -> tuple[Any, bool]:
    """The best fit with an unsharp mask, and whether it worked on encoded values, which is tried first."""
    from scipy.optimize import least_squares

    fits = []
    for encoded, radius in ((True, 1.2), (False, 1.2)):
        found = least_squares(
            _errors_masked, [np.log(start_px * 1.2), 0.8, np.log(radius), 0, 0, 1], args=(task, encoded), max_nfev=30,
            bounds=([np.log(0.25), 0, np.log(0.5), -3, -0.3, 0.7], [np.log(9), 3, np.log(4), 3, 0.3, 1.3]),
        )  # fmt: skip
        fits.append((found, encoded))
        if found.cost < 0.8 * np.count_nonzero(task.weight):
            break
    return min(fits, key=lambda fit: float(fit[0].cost))


def _errors_masked(values: Values, task: _Task, encoded: bool) -> Values:
    usual = [
        (values[1] - _USUAL_AMOUNT[0]) / _USUAL_AMOUNT[1],
        (values[2] - _USUAL_LOG_RADIUS[0]) / _USUAL_LOG_RADIUS[1],
    ]
    return np.concatenate([_errors(values, task, encoded), usual])


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
