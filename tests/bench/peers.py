"""General-purpose detectors beside ours: each gets the shot freed of its slow light, and parameters chosen on other seeds.

Each may work on grey density, where it looks for dark and for light blobs, or on the distance in colour from what is round a pixel; which
of the two is one of its parameters. Each ranks by a strength of its own. Two work at half resolution for time (HALVED). To add one: add a
function to PEERS with the parameters to choose from.
"""

from __future__ import annotations

import itertools
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_laplace

Found = list[tuple[float, float, float]]
"""x_px, y_px, strength."""
Plane = NDArray[np.float32]
_SLOW_PX = 60.0
_SLOW_STEP = 8
"""Pixels to one of the picture that is blurred so widely: it shows no difference there, and takes a fiftieth of the time."""
_LAB_OF_DENSITY = 75.0
"""Units of CIELAB that a density of one comes to on light ground: so the same thresholds mean about the same on both pictures."""
_LARGEST_PX2 = 20_000.0
_MOST = 2000
"""Finds kept of a shot, strongest first: far more than any number of false flags in the tables."""


@dataclass(frozen=True)
class Flat:
    """A shot freed of its slow light. `grey` (h, w): density against a wide blur, darker is positive; `colour` (h, w): distance in
    CIELAB from a wide blur, in the same span."""

    grey: Plane
    colour: Plane

    def planes(self, picture: str) -> tuple[Plane, ...]:
        """What to look for bright blobs in."""
        return (self.grey, -self.grey) if picture == "grey" else (self.colour,)


def flattened(pixels: NDArray[np.uint8]) -> Flat:
    """The two pictures of a shot (h, w, 3)."""
    log = 2.2 * np.log10(np.maximum(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), 1).astype(np.float32))
    lab = cv2.cvtColor(pixels.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    away = np.linalg.norm(lab - _slow(lab), axis=2) / _LAB_OF_DENSITY
    return Flat(np.asarray(_slow(log) - log, np.float32), away.astype(np.float32))


def _slow(picture: Plane) -> Plane:
    h, w = picture.shape[:2]
    small = cv2.resize(picture, (-(-w // _SLOW_STEP), -(-h // _SLOW_STEP)), interpolation=cv2.INTER_AREA)
    slow = cv2.GaussianBlur(small, (0, 0), _SLOW_PX / _SLOW_STEP)
    return np.asarray(cv2.resize(slow, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)


def _eight_bits(plane: Plane, span: float) -> NDArray[np.uint8]:
    return np.asarray(np.clip(128 + plane / span * 127, 0, 255), dtype=np.uint8)


def opencv_blobs(plane: Plane, span: float, least_area: float) -> Found:
    """OpenCV's SimpleBlobDetector over grey levels; strength is contrast at its centre times its diameter."""
    p = cv2.SimpleBlobDetector_Params()
    p.filterByColor, p.blobColor = True, 255
    p.filterByArea, p.minArea, p.maxArea = True, least_area, _LARGEST_PX2
    p.filterByCircularity = p.filterByConvexity = p.filterByInertia = False
    p.minThreshold, p.maxThreshold, p.thresholdStep, p.minDistBetweenBlobs = 10, 245, 10, 5
    out = []
    for key in cv2.SimpleBlobDetector_create(p).detect(_eight_bits(plane, span)):
        x, y = key.pt
        at = plane[min(int(y), plane.shape[0] - 1), min(int(x), plane.shape[1] - 1)]
        out.append((x, y, float(at * key.size)))
    return out


def scikit_image_log(plane: Plane, largest: float, threshold: float = 0.03) -> Found:
    """scikit-image's blob_log; strength is its own scale-normalised Laplacian."""
    from skimage.feature import blob_log

    found = blob_log(plane, min_sigma=1.5, max_sigma=largest, num_sigma=5, threshold=threshold)
    out = []
    for sigma in np.unique(found[:, 2]):
        response = -(sigma**2) * gaussian_laplace(plane, sigma)
        out += [(x, y, float(response[int(y), int(x)])) for y, x, s in found.tolist() if s == sigma]
    return out


def source_extractor(plane: Plane, sigmas: float, kernel_px: float) -> Found:
    """sep, SExtractor as a library; strength is flux over the noise of as many pixels."""
    import sep

    sep.set_extract_pixstack(2_000_000)
    data = np.ascontiguousarray(plane)
    background = sep.Background(data, bw=128, bh=128)
    rms = max(float(background.globalrms), 1e-4)
    half = int(np.ceil(2 * kernel_px))
    bell = np.exp(-0.5 * (np.arange(-half, half + 1) / kernel_px) ** 2)
    for times in (1, 2, 4):
        try:
            found = sep.extract(
                data - background,
                times * sigmas,
                err=rms,
                minarea=5,
                deblend_nthresh=16,
                filter_kernel=np.outer(bell, bell),
            )
        except Exception:  # sep's own: more connected pixels or pieces than it holds
            continue
        strength = found["flux"] / (rms * np.sqrt(np.maximum(found["npix"], 1)))
        return list(zip(found["x"].tolist(), found["y"].tolist(), strength.tolist(), strict=True))
    return []


def trackpy_locate(plane: Plane, diameter: int) -> Found:
    """trackpy's locate (Crocker and Grier, 1996); strength is its mass."""
    import trackpy

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it is written for an older pandas
        table = trackpy.locate(np.clip(plane, 0, None), diameter, topn=400, engine="python")
    return list(zip(table["x"].tolist(), table["y"].tolist(), table["mass"].tolist(), strict=True))


def adaptive_threshold(plane: Plane, block: int, above: float) -> Found:
    """OpenCV's adaptive threshold and connected components; strength is the sum of the contrast."""
    mask = cv2.adaptiveThreshold(
        _eight_bits(plane, 0.6), 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, block, -above
    )
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    count, labels, stats, centres = cv2.connectedComponentsWithStats(mask)
    total = np.bincount(labels.ravel(), plane.ravel(), count)
    area = stats[:, cv2.CC_STAT_AREA]
    kept = [k for k in range(1, count) if 9 <= area[k] <= _LARGEST_PX2]
    return [(float(centres[k, 0]), float(centres[k, 1]), float(total[k])) for k in kept]


Peer = Callable[..., Found]
_PICTURES = ("grey", "colour")
PEERS: Mapping[str, tuple[Peer, Mapping[str, Sequence[Any]]]] = {
    "OpenCV SimpleBlobDetector": (opencv_blobs, {"span": (0.3, 0.8), "least_area": (15.0, 40.0)}),
    "scikit-image blob_log": (scikit_image_log, {"largest": (4.0, 8.0)}),
    "sep": (source_extractor, {"sigmas": (2.0, 5.0), "kernel_px": (1.0, 3.0)}),
    "trackpy locate": (trackpy_locate, {"diameter": (5, 9, 13)}),
    "adaptive threshold": (adaptive_threshold, {"block": (31, 81), "above": (6.0, 12.0)}),
}
HALVED = ("scikit-image blob_log", "trackpy locate")


def choices(name: str) -> list[dict[str, Any]]:
    """All parameters a peer is tried with."""
    grid = {"picture": _PICTURES, **PEERS[name][1]}
    return [dict(zip(grid, values, strict=True)) for values in itertools.product(*grid.values())]


def find(name: str, flat: Flat, picture: str, **wish: Any) -> Found:
    """What a peer finds, strongest first, in pixels of the shot."""
    out: Found = []
    for plane in flat.planes(picture):
        if name in HALVED:
            half = cv2.resize(plane, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
            out += [(2 * x + 0.5, 2 * y + 0.5, strength) for x, y, strength in PEERS[name][0](half, **wish)]
        else:
            out += PEERS[name][0](plane, **wish)
    return sorted(out, key=lambda f: -f[2])[:_MOST]
