"""The weave of a cloth, or any other pattern that repeats all over the ground: measured in the shot and taken out.

A weave is noise whose power stands at a few frequencies. Its spectrum is the median of those of many tiles, so that what lies on
the cloth does not count; where the spectrum rises far over what is round it, the picture is divided by the rise. That is what the
best linear detector does with noise of a known spectrum (prewhitening: North 1943; Van Trees), and it costs a body only the little
of itself that lies at the weave's own frequencies.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

from vision.arrays import median, medians
from vision.light import over_channels
from vision.types import FloatArray, MaskArray

_TILE_PX = 96
_MOST_TILES = 120
_LEAST_TILES = 6
_WHOLE = 0.98
"""Share of a tile that must be bare ground."""
_RISE = 6.0
"""How many times its neighbourhood's a frequency's power must be to belong to a pattern: chance gives less than twice, in a median."""
_AROUND = 21
"""Width of that neighbourhood, in frequencies of a tile."""
_OUT = 3.0
"""Standard deviations of the ground beyond which a pixel shows something that lies on it."""
_SLOWEST = 4
"""Waves in a tile below which a change is no weave but the light's, or a body."""
_WOVEN, _CROSSED_DEG, _OF_ALL = 20.0, 60.0, 0.15
"""How many times the power of all directions at a frequency that of a thread's is at least; how far two directions of thread are apart;
what part of all that changes threads are: buds rise less than fourfold, leaves that lie side by side more, but not crosswise, and the
blocks of a JPEG do both, but are a hundredth of what changes (drawn shots of ours, eight hands)."""


def weave_gain(grey: FloatArray, ground: MaskArray) -> NDArray[np.float32] | None:
    """By how much to weaken each frequency, (96, 49) float32 over those of a real transform of a tile; None where nothing repeats.

    `grey` (h, w): density less its slow change; `ground` (h, w): where the pattern is looked for.
    """
    power = _median_power(grey, ground)
    if power is None:
        return None
    # A floor a frequency's power is compared with: the median of those round it, which a few peaks do not move.
    level = np.log(power + 1e-12).astype(np.float32)
    shifted = np.fft.fftshift(level)
    wrapped = np.asarray(cv2.copyMakeBorder(shifted, _AROUND, _AROUND, _AROUND, _AROUND, cv2.BORDER_WRAP), np.float32)
    floor = _running_median(wrapped, _AROUND)[_AROUND:-_AROUND, _AROUND:-_AROUND]
    rise = np.fft.ifftshift(np.exp(np.maximum(shifted - floor, 0)))
    waves = np.fft.fftfreq(_TILE_PX, 1 / _TILE_PX)
    rise[np.hypot(waves[:, None], waves[None, :]) < _SLOWEST] = 1
    if (rise > _RISE).sum() < 2:
        return None
    # A stretched weave is not at one frequency: what rises beside a peak belongs to it.
    peak = cv2.dilate(_wrapped((rise > _RISE).astype(np.uint8)), np.ones((5, 5), np.uint8))[2:-2, 2:-2] > 0
    gain = np.where(peak, 1 / np.maximum(rise, 1), 1).astype(np.float32)
    return np.ascontiguousarray(gain[:, : _TILE_PX // 2 + 1])


def is_woven(grey: FloatArray, where: MaskArray) -> bool:
    """Whether what is seen is a cloth: something repeats along two directions that cross, as threads do and no produce does.

    `grey` (h, w): density; `where` (h, w): the part of it that is asked about.
    """
    power = _median_power(grey - cv2.GaussianBlur(grey, (0, 0), _TILE_PX / 8), where)
    if power is None:
        return False
    waves = np.fft.fftfreq(_TILE_PX, 1 / _TILE_PX)
    radius = np.hypot(waves[:, None], waves[None, :])
    ring, level = np.rint(radius).astype(np.intp), np.log(power + 1e-12)
    usual = np.array([np.median(level[ring == r]) for r in range(ring.max() + 1)])
    quick = radius >= _SLOWEST
    threads = (level - usual[ring] > np.log(_WOVEN)) & quick & (radius < _TILE_PX / 2 - 1)
    if not threads.any() or power[threads].sum() < _OF_ALL * power[quick].sum():
        return False
    rows, columns = np.nonzero(threads)
    angle = np.degrees(np.arctan2(waves[rows], waves[columns]))
    apart = np.abs(angle[:, None] - angle[None, :]) % 180
    return bool(np.minimum(apart, 180 - apart).max() >= _CROSSED_DEG)


def take_out(planes: FloatArray, gain: NDArray[np.float32]) -> None:
    """Takes the pattern out of (3, h, w) density, in place.

    What stands far out of the pattern is no part of it: it is cut down before the pattern is read, or every dark body would ring.
    """
    h, w = planes.shape[1:]
    high, wide = fft.next_fast_len(h, real=True), fft.next_fast_len(w, real=True)
    finer = 1 - _read_gain(gain, high, wide)

    def channel(c: int) -> None:
        spread = 1.4826 * float(np.median(np.abs(planes[c, ::5, ::5])))
        spectrum = fft.rfft2(np.clip(planes[c], -_OUT * spread, _OUT * spread), s=(high, wide))
        spectrum *= finer
        planes[c] -= fft.irfft2(spectrum, s=(high, wide))[:h, :w]

    over_channels(channel)


def _read_gain(gain: NDArray[np.float32], high: int, wide: int) -> FloatArray:
    """The gain at the frequencies of a real transform of (high, wide) pixels, read bilinearly between those of a tile."""
    wrapped = np.concatenate([gain, gain[:1]], axis=0)
    y = np.mod(np.fft.fftfreq(high) * _TILE_PX, _TILE_PX).astype(np.float32)
    x = (np.fft.rfftfreq(wide) * _TILE_PX).astype(np.float32)
    grid_x, grid_y = np.meshgrid(x, y)
    return np.asarray(cv2.remap(wrapped, grid_x, grid_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32)


def _median_power(grey: FloatArray, ground: MaskArray) -> NDArray[np.float64] | None:
    h, w = grey.shape
    taper = np.hanning(_TILE_PX).astype(np.float32)
    window = np.outer(taper, taper)
    tiles = []
    step = max(_TILE_PX // 2, int(np.sqrt(h * w / _MOST_TILES)))
    for top in range(0, h - _TILE_PX + 1, step):
        for left in range(0, w - _TILE_PX + 1, step):
            part = slice(top, top + _TILE_PX), slice(left, left + _TILE_PX)
            if np.count_nonzero(ground[part]) / _TILE_PX**2 >= _WHOLE:
                tiles.append((grey[part] - median(grey[part].ravel())) * window)
    if len(tiles) < _LEAST_TILES:
        return None
    spectra = np.abs(fft.fft2(np.stack(tiles), axes=(1, 2))) ** 2
    flat = medians(spectra.reshape(len(tiles), -1))
    return flat.reshape(_TILE_PX, _TILE_PX).astype(np.float64)


def _running_median(values: FloatArray, size: int) -> FloatArray:
    low, high = float(values.min()), float(values.max())
    eight = np.round((values - low) / max(high - low, 1e-6) * 255).astype(np.uint8)
    return np.asarray(cv2.medianBlur(eight, size).astype(np.float32) / 255 * (high - low) + low, dtype=np.float32)


def _wrapped(values: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.asarray(cv2.copyMakeBorder(values, 2, 2, 2, 2, cv2.BORDER_WRAP), dtype=np.uint8)
