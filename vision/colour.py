"""Colour of bodies and surroundings as CIELAB, and their difference by CIEDE2000.

The ground's own light is taken as white, so that colours are those of transmittance (lit from below) or of reflectance against
a white ground (lit from above). They are nominal: a phone maps tones before it saves a picture.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from skimage import color

# Linear sRGB to CIE XYZ, D65 (IEC 61966-2-1).
_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
LUMINANCE = _TO_XYZ[1]
"""Weights of linear red, green and blue in luminance."""
_BRIGHTEST = 10.0
"""Light against the ground's beyond which more is not told apart."""


def lab_of_density(density: NDArray[Any]) -> NDArray[np.float64]:
    """CIELAB (n, 3) of optical densities (n, 3) against the ground's light; the ground itself is L* = 100 (D65)."""
    linear = np.clip(10.0 ** -np.asarray(density, dtype=np.float64), 0, _BRIGHTEST)
    return np.asarray(color.xyz2lab(linear @ (_TO_XYZ / _TO_XYZ.sum(axis=1, keepdims=True) * _WHITE[:, None]).T))


_WHITE = np.array([0.95047, 1.0, 1.08883])
"""CIE D65, 2 degrees: equal channels are exactly neutral against it."""


def ciede2000(lab_a: NDArray[Any], lab_b: NDArray[Any]) -> NDArray[np.float64]:
    """CIEDE2000 colour difference of two (n, 3) sets of CIELAB colours, (n,) float64 (Sharma, Wu and Dalal 2005)."""
    return np.asarray(color.deltaE_ciede2000(lab_a, lab_b), dtype=np.float64)  # type: ignore[no-untyped-call]


def luminance_density(density: NDArray[Any]) -> NDArray[np.float64]:
    """Density of the luminance (n,) of densities (n, 3) per channel: -log10 of the weighted light."""
    light = 10.0 ** -np.asarray(density, dtype=np.float64)
    return np.asarray(-np.log10(np.maximum(light @ LUMINANCE, 1e-9)))
