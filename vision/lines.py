"""Thin bodies: the signal along short lines, in several directions.

A round filter sees a thrips five times as long as wide with half of what could be seen at best; adding what lies before and behind
along the body's own direction gets most of the rest back.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np

from vision.types import FloatArray, MaskArray

_DIRECTIONS = 6
_SPACING = 1.5
"""Distance of one sample from the next, in standard deviations of the smoothing."""
_TAPS = (-2, -1, 1, 2)
_FAINTER = 0.92
"""Weight of the best of several directions against the one round filter: the best of six is larger by chance alone."""
_SAMPLED = 7


def add_lines(
    signal: FloatArray, grey: FloatArray, mask: MaskArray, sigma_px: float, threads: ThreadPoolExecutor
) -> None:
    """Raises `signal` (h, w) to that along the best line through each pixel where that is more.

    `grey` (h, w): signed signal to noise, its noise of unit variance; `sigma_px`: the smoothing it has had, in its own pixels.
    """
    h, w = grey.shape
    reach = int(np.ceil(2 * _SPACING * sigma_px))
    if min(h, w) <= 4 * reach:
        return
    inner = slice(reach, h - reach), slice(reach, w - reach)

    def along(k: int) -> FloatArray:
        total = grey[inner].copy()
        for tap in _TAPS:
            dy = round(tap * _SPACING * sigma_px * np.sin(np.pi * k / _DIRECTIONS))
            dx = round(tap * _SPACING * sigma_px * np.cos(np.pi * k / _DIRECTIONS))
            total += grey[reach + dy : h - reach + dy, reach + dx : w - reach + dx]
        sampled = total[::_SAMPLED, ::_SAMPLED][mask[inner][::_SAMPLED, ::_SAMPLED]]
        noise = 1.4826 * float(np.median(np.abs(sampled))) if len(sampled) else 1.0
        total *= np.float32(_FAINTER / max(noise, 1e-3))
        return total

    best: FloatArray | None = None
    for one in threads.map(along, range(_DIRECTIONS)):
        best = one if best is None else np.maximum(best, one, out=best)
    assert best is not None
    np.maximum(signal[inner], best, out=best)
    np.copyto(signal[inner], best, where=mask[inner])
