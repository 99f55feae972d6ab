"""Edges across: the edge-spread function and the spatial frequency response of ISO 12233 (e-SFR).

Every pixel near a slanted straight edge is projected on the edge's normal; collected in quarters of a pixel they give the
edge-spread function four times finer than the pixels are. Its derivative is transformed to the spatial frequency response, and the
derivative's own response is divided out (ISO 12233:2014 section 6.2, read second-hand). Light is linear throughout.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Point = tuple[float, float]

FOLD = 4
"""Bins in a pixel."""
_ENDS = 0.06
"""Of an edge's length, left off at either end: a corner is no edge."""
_SLICES = 24
_LEAST_STEP = 0.02
"""Linear light between the two sides below which there is no edge to speak of."""
_LEAST_LENGTH_PX, _LEAST_ROOM_PX = 12.0, 4.0


@dataclass(frozen=True)
class EdgeProfile:
    """One edge, or several of one direction taken together, across.

    `place_px` (n,) from dark to light in quarters of a pixel; `light` (n,) is 0 on the dark side and 1 on the light one; `noise` is
    the standard deviation of one pixel as a share of the step, `count` (n,) how many pixels a bin holds; `low` and `high` are the
    linear light of the two sides; `normal` points from dark to light, in pixels of the shot.
    """

    place_px: Values
    light: Values
    count: Values
    noise: float
    low: float
    high: float
    normal: tuple[float, float]


def edge_profile(light: NDArray[Any], start: Point, end: Point, room_px: float) -> EdgeProfile | None:
    """The edge between two points of a picture (h, w) of linear light, with `room_px` of even print on either side.

    None where it is cut off by the picture, too short, burnt out, or no edge.
    """
    a, b = np.array(start, float), np.array(end, float)
    length = float(np.hypot(*(b - a)))
    if not length >= _LEAST_LENGTH_PX or not room_px >= _LEAST_ROOM_PX:
        return None
    low, high = np.minimum(a, b) - room_px - 2, np.maximum(a, b) + room_px + 2
    if (low < 0).any() or high[0] >= light.shape[1] - 1 or high[1] >= light.shape[0] - 1:
        return None
    ys, xs = np.mgrid[int(low[1]) : int(high[1]) + 1, int(low[0]) : int(high[0]) + 1]
    values = light[ys, xs].astype(np.float64)
    way = (b - a) / length
    along = (xs - a[0]) * way[0] + (ys - a[1]) * way[1]
    across = (ys - a[1]) * way[0] - (xs - a[0]) * way[1]
    inside = (along > _ENDS * length) & (along < (1 - _ENDS) * length) & (np.abs(across) < room_px + 1)
    return _across(values[inside], along[inside], across[inside], way, length, 0.92 * room_px)


def _across(
    values: Values, along: Values, across: Values, way: Values, length: float, reach: float
) -> EdgeProfile | None:
    normal = np.array([-way[1], way[0]])
    sides = [values[(s * across > 0.6 * reach) & (np.abs(across) < reach)] for s in (-1, 1)]
    if min(len(side) for side in sides) < 20:
        return None
    left, right = (float(np.median(side)) for side in sides)
    if right < left:
        across, normal, left, right = -across, -normal, right, left
    if right - left < _LEAST_STEP or right > 0.99:
        return None
    for _ in range(2):
        line = _straight_line(values, along, across, (left, right), length, reach)
        if line is None:
            return None
        across = (across - np.polyval(line, along)) * np.cos(np.arctan(line[0]))
    near = np.abs(across) < reach
    d, v = across[near], values[near]
    far = np.abs(d) > 0.55 * reach
    levels = [_level(d[far & side], v[far & side]) for side in (d < 0, d > 0)]
    low, high = levels[0][0], levels[1][0]
    if high - low < _LEAST_STEP:
        return None
    # Uneven light tilts either side; what is left of it is an even step.
    v = v - np.where(d < 0, levels[0][1], levels[1][1]) * d
    bins = np.floor(d * FOLD).astype(int)
    first = int(bins.min())
    count = np.bincount(bins - first).astype(float)
    total = np.bincount(bins - first, v)
    some = count > 0
    mean = np.interp(np.arange(len(count)), np.flatnonzero(some), total[some] / count[some])
    place = (np.arange(len(count)) + first + 0.5) / FOLD
    noise = float(np.std((v - np.interp(d, place, mean))[far])) / (high - low)
    return EdgeProfile(
        place, (mean - low) / (high - low), count, noise, low, high, (float(normal[0]), float(normal[1]))
    )


def _straight_line(
    values: Values, along: Values, across: Values, levels: tuple[float, float], length: float, reach: float
) -> Values | None:
    """Slope and offset of the edge: where it lies in each of 24 slices, those with dirt on them weighed down."""
    near = np.abs(across) < reach
    share = np.clip((values[near] - levels[0]) / (levels[1] - levels[0]), -0.3, 1.3)
    slices = np.clip((along[near] / length * _SLICES).astype(int), 0, _SLICES - 1)
    count = np.bincount(slices, minlength=_SLICES)
    good = count > 0.5 * np.median(count)
    if good.sum() < 6:
        return None
    # How much of a slice is light says where in it the edge is.
    where = np.bincount(slices, 0.5 - share, minlength=_SLICES)[good] / count[good] * 2 * reach
    at = np.bincount(slices, along[near], minlength=_SLICES)[good] / count[good]
    weight = np.ones(len(at))
    line = np.zeros(2)
    for _ in range(4):
        line = np.polyfit(at, where, 1, w=weight)
        off = np.abs(where - np.polyval(line, at))
        weight = 1 / (1 + (off / max(2 * float(np.median(off)), 0.02)) ** 2)
    return line


def _level(place: Values, values: Values) -> tuple[float, float]:
    """Light of one side carried on to the edge, and its slope; the slope only where it is more than noise."""
    slope, level = np.polyfit(place, values, 1)
    error = float(np.std(values - np.polyval((slope, level), place))) / max(np.std(place) * np.sqrt(len(place)), 1e-9)
    return (float(level), float(slope)) if abs(slope) > 4 * error else (float(np.median(values)), 0.0)


def together(profiles: list[EdgeProfile]) -> EdgeProfile:
    """Edges of one direction as one, each bin the mean over all pixels it holds."""
    low = max(p.place_px[0] for p in profiles)
    high = min(p.place_px[-1] for p in profiles)
    cut = [(p.place_px >= low - 0.01) & (p.place_px <= high + 0.01) for p in profiles]
    count = np.sum([p.count[c] for p, c in zip(profiles, cut, strict=True)], axis=0)
    total = np.sum([p.light[c] * p.count[c] for p, c in zip(profiles, cut, strict=True)], axis=0)
    some = count > 0
    place = profiles[0].place_px[cut[0]]
    mean = np.interp(place, place[some], total[some] / count[some])
    normal = np.mean([np.array(p.normal) * np.sign(np.dot(p.normal, profiles[0].normal)) for p in profiles], axis=0)
    normal /= np.hypot(*normal)
    noise, dark, bright = (float(np.mean([getattr(p, name) for p in profiles])) for name in ("noise", "low", "high"))
    return EdgeProfile(place, mean, count, noise, dark, bright, (float(normal[0]), float(normal[1])))


def frequency_response(profile: EdgeProfile, fitted: Values) -> tuple[Values, Values]:
    """Frequencies in cycles per pixel (0 to 1) and the response there, 1 at 0.

    `fitted` (n,) is a smooth curve through the profile. The standard's Hamming window over the whole line-spread function would narrow
    a wide one where the print leaves little room, and the noise of its flanks lifts the response's tail; so the window is laid over
    what the curve leaves of the profile alone.
    """
    slope = np.array([0.5, 0.0, -0.5])
    rest = np.convolve(profile.light - fitted, slope, mode="same")
    rest[[0, -1]] = 0
    reach = max(float(np.abs(profile.place_px).max()), 1.0)
    window = 0.54 + 0.46 * np.cos(np.pi * profile.place_px / reach)
    whole = np.convolve(np.pad(fitted, 1, mode="edge"), slope, mode="valid") + rest * window
    size = 2048
    frequency = np.fft.rfftfreq(size, 1 / FOLD)
    shown = frequency <= 1
    response = np.abs(np.fft.rfft(whole, size))[shown]
    x = np.maximum(2 * np.pi * frequency[shown] / FOLD, 1e-9)
    corrected = response / max(float(response[0]), 1e-9) * np.minimum(x / np.sin(x), 10.0)
    return np.asarray(frequency[shown]), np.asarray(corrected)


def falls_to(frequency: Values, response: Values, share: float) -> float | None:
    """The lowest frequency at which the response is down to `share`; None where it never is."""
    below = np.flatnonzero(response < share)
    if not len(below) or below[0] == 0:
        return None
    k = int(below[0])
    back = (response[k - 1] - share) / (response[k - 1] - response[k])
    return float(frequency[k - 1] + (frequency[k] - frequency[k - 1]) * back)
