"""How much what a place looks like, looks like an insect: small convolutional networks read from plain numbers.

Pictures of a place (patches.py) go through a tower of four convolutions each; what they see and a few numbers beside it (how dense it
is against the ground's light, how large) are joined into log odds. One design is shown places before anyone looks closer, another
bodies that have been outlined. Differences of density go in on a scale that is
straight for faint ones and logarithmic for strong ones (the inverse hyperbolic sine), so that a pale larva is seen as well as a dark
aphid. Learning uses the very same lines with another library of arrays (train_net.py).
"""

from __future__ import annotations

import base64
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from threadpoolctl import ThreadpoolController

from vision.light import log_light
from vision.patches import SIDE, TURNED_SIDE
from vision.types import FloatArray


@dataclass(frozen=True)
class Design:
    """One tower a picture, and the pictures' side; channels, kernels and strides of a tower's convolutions. The mean of the last
    picture is what density is told against. `turned`: whether pictures lie along a body, and so have a direction."""

    towers: tuple[str, ...]
    side: int
    channels: tuple[int, ...]
    kernels: tuple[int, ...]
    strides: tuple[int, ...]
    turned: bool


OF_PLACES = Design(("near", "far"), SIDE, (16, 24, 48, 48), (5, 3, 3, 3), (2, 1, 2, 1), False)
OF_BODIES = Design(("body",), TURNED_SIDE, (16, 24, 32, 48), (5, 3, 3, 3), (2, 1, 2, 2), True)

_SEEN, _JOINED = 64, 96
"""Numbers that a tower gives, and that they are joined into."""
_BESIDE = 8
_LUMINANCE, _HUE, _SPREAD = 0.03, 0.02, 0.4
"""Differences of density up to which the scale is straight, of all channels and between two; and what makes them about one."""
_AT_ONCE = 32
"""Bounded pieces stay in the cache."""
_DENSITY_OF_8_BITS = -log_light(np.arange(256, dtype=np.uint8).reshape(1, 256, 1).repeat(3, axis=2))[0, 0]

Weights = Mapping[str, Any]


def shapes(design: Design = OF_PLACES) -> dict[str, tuple[int, ...]]:
    """The arrays of a network, by name. A convolution's kernel (k, k, in, out) is kept as (k k in, out)."""
    out: dict[str, tuple[int, ...]] = {}
    for tower in design.towers:
        channels, side = 3, design.side
        for k, (more, kernel, stride) in enumerate(zip(design.channels, design.kernels, design.strides, strict=True)):
            out[f"{tower}_{k}"], out[f"{tower}_{k}_bias"] = (kernel * kernel * channels, more), (more,)
            channels, side = more, side // stride
        out[f"{tower}_seen"], out[f"{tower}_seen_bias"] = (side * side * channels, _SEEN), (_SEEN,)
    out["joined"], out["joined_bias"] = (len(design.towers) * _SEEN + _BESIDE, _JOINED), (_JOINED,)
    out["odds"], out["odds_bias"] = (_JOINED, 1), (1,)
    return out


@dataclass(frozen=True)
class Net:
    """Weights by name, float32, of the shapes that `shapes` gives for its design."""

    weights: Weights
    design: Design = OF_PLACES

    def raw(
        self, patches: NDArray[np.uint8], level: NDArray[Any], sigma_px: NDArray[Any], sigma_mm: NDArray[Any]
    ) -> NDArray[np.float32]:
        """Log odds (n,) that an insect of its size lies at each place.

        `patches` (n, towers, side, side, 3) uint8; `level` (n, 3) is the log10 light of the ground there, of full scale; `sigma_px`
        (n,) the smoothing at which it stands out in shot pixels, `sigma_mm` in millimetres or NaN where the scale is unknown.
        """
        out = np.zeros(len(patches), np.float32)

        def piece(begin: int) -> None:
            some = slice(begin, begin + _AT_ONCE)
            differences, against = densities(patches[some], np.asarray(level[some], np.float32))
            beside = numbers_beside(against, np.asarray(sigma_px[some]), np.asarray(sigma_mm[some]))
            out[some] = forward(self.weights, colours(differences), beside, design=self.design)

        _keep_products_whole()
        with ThreadPoolExecutor(max(1, cv2.getNumThreads())) as threads:
            list(threads.map(piece, range(0, len(patches), _AT_ONCE)))
        # Libraries of linear algebra differ in the last bits from processor to processor.
        return np.round(out, 4)


@cache
def _keep_products_whole() -> None:
    """Keeps this process's linear algebra to one thread: into how many it parts a product changes the last bits of its sums. Pieces are
    spread over as many threads as OpenCV is given instead, and each is the same bytes wherever it runs."""
    ThreadpoolController().limit(limits=1, user_api="blas")


def densities(patches: Any, level: Any, xp: Any = np) -> tuple[Any, Any]:
    """Density of patches (n, towers, s, s, 3) less the mean of the last picture; and that mean against the ground's light, (n, 3)."""
    n, towers, side = patches.shape[:3]
    density = _looked_up(patches) if xp is np else xp.asarray(_DENSITY_OF_8_BITS)[patches]
    mean = _mean_colour(density[:, -1]) if xp is np else density[:, -1].mean(axis=(1, 2))
    # Taken off whole rows of pixels: runs of three numbers are slow.
    rows = density.reshape(n, towers, side, side * 3) - xp.tile(mean, (1, side))[:, None, None, :]
    return rows.reshape(density.shape), mean + level


def _looked_up(patches: NDArray[np.uint8]) -> FloatArray:
    side = patches.shape[2]
    density = cv2.LUT(np.ascontiguousarray(patches).reshape(-1, side, 3), _DENSITY_OF_8_BITS[None])
    return np.asarray(density, dtype=np.float32).reshape(patches.shape)


def _mean_colour(pictures: FloatArray) -> FloatArray:
    """Mean of the pixels of pictures (n, s, s, 3): (n, 3). All pictures' first pixels are added, then their second ones: what is added
    to each sum, and in which order, is what NumPy's own mean does, picture by picture."""
    pixels = pictures.shape[1] * pictures.shape[2]
    side_by_side = pictures.reshape(len(pictures), pixels, 3).transpose(1, 0, 2).reshape(pixels, -1)
    return np.asarray((side_by_side.sum(axis=0) / np.float32(pixels)).reshape(-1, 3))


def colours(differences: Any, xp: Any = np) -> Any:
    """Differences of density (..., 3) as lightness, red against green and blue against green, each about one where it is plain."""
    red, green, blue = differences[..., 0], differences[..., 1], differences[..., 2]
    grey = (red + green + blue) / 3
    planes = (grey / _LUMINANCE, (red - green) / _HUE, (blue - green) / _HUE)
    return xp.stack([xp.arcsinh(plane) * _SPREAD for plane in planes], axis=-1)


def numbers_beside(against: Any, sigma_px: Any, sigma_mm: Any, xp: Any = np) -> Any:
    """What goes in beside the pictures, (n, 8): density against the ground's light and its hue, and size in pixels and millimetres."""
    known = xp.isfinite(sigma_mm)
    hue = (against[:, 0] - against[:, 1], against[:, 2] - against[:, 1])
    sizes = ((xp.log2(sigma_px) - 2) / 2, xp.where(known, xp.log2(xp.where(known, sigma_mm, 1.0)), 0.0) / 2, known)
    planes = [against[:, 0], against[:, 1], against[:, 2], *hue, *sizes]
    return xp.stack([plane.astype(np.float32) for plane in planes], axis=1)


def forward(
    weights: Weights, pictures: Any, beside: Any, xp: Any = np, dropped: Callable[[Any], Any] = lambda seen: seen,
    design: Design = OF_PLACES,
) -> Any:  # fmt: skip
    """Log odds (n,) of colours (n, towers, s, s, 3) and numbers (n, 8). `dropped` is put over what was seen while learning."""
    joined = []
    for which, tower in enumerate(design.towers):
        seen = pictures[:, which]
        for k, (kernel, stride) in enumerate(zip(design.kernels, design.strides, strict=True)):
            seen = _convolved(seen, weights[f"{tower}_{k}"], weights[f"{tower}_{k}_bias"], kernel, stride, xp)
        seen = dropped(seen.reshape(len(seen), -1))
        joined.append(xp.maximum(seen @ weights[f"{tower}_seen"] + weights[f"{tower}_seen_bias"], 0))
    together = xp.concatenate([*joined, beside], axis=1)
    together = dropped(xp.maximum(together @ weights["joined"] + weights["joined_bias"], 0))
    return (together @ weights["odds"] + weights["odds_bias"])[:, 0]


def _convolved(planes: Any, kernel: Any, bias: Any, size: int, stride: int, xp: Any) -> Any:
    """A convolution with zeros round the border, then what is above zero: as one product of matrices, which is fast everywhere."""
    n, side, edge = len(planes), planes.shape[1] // stride, size // 2
    if xp is np:
        rows = _rows_at_once(_padded(planes, edge), size, stride, side)
    else:
        padded = xp.pad(planes, ((0, 0), (edge, edge), (edge, edge), (0, 0)))
        rows = _rows_one_by_one(padded, size, stride, side, xp)
    return xp.maximum(rows.reshape(n * side * side, -1) @ kernel + bias, 0).reshape(n, side, side, -1)


def _padded(planes: FloatArray, edge: int) -> FloatArray:
    """Planes (n, side, side, channels) with `edge` zeros on each side."""
    n, high, wide, channels = planes.shape
    out = np.zeros((n, high + 2 * edge, wide + 2 * edge, channels), np.float32)
    out[:, edge:-edge, edge:-edge] = planes
    return out


def _rows_one_by_one(padded: Any, size: int, stride: int, side: int, xp: Any) -> Any:
    """What each pixel of the result is made of, (n, side, side, size size channels), in any library of arrays."""
    reach = stride * (side - 1) + 1
    near = [padded[:, i : i + reach : stride, j : j + reach : stride] for i in range(size) for j in range(size)]
    return xp.concatenate(near, axis=-1)


def _rows_at_once(padded: Any, size: int, stride: int, side: int) -> Any:
    """The same in NumPy, twice as fast: the channels of pixels side by side lie side by side in memory."""
    n, _, _, channels = padded.shape
    each, down, right, one = padded.strides
    shape, strides = (n, side, side, size, size * channels), (each, stride * down, stride * right, down, one)
    return np.lib.stride_tricks.as_strided(padded, shape, strides, writeable=False)


def net_of(document: Mapping[str, Any], design: Design = OF_PLACES) -> Net:
    """A network of a design from a parsed document; KeyError, TypeError or ValueError where its parts don't hold together."""
    weights = {}
    for name, shape in shapes(design).items():
        values = np.frombuffer(base64.b64decode(document[name], validate=True), dtype="<f2").astype(np.float32)
        if not np.isfinite(values).all():
            raise ValueError("weights that are no numbers")
        weights[name] = values.reshape(shape)
    return Net(weights, design)


def document_of_net(weights: Weights, design: Design = OF_PLACES) -> dict[str, str]:
    """Weights as the document `net_of` reads: half-precision numbers in base 64 (RFC 4648), little end first."""
    return {
        name: base64.b64encode(np.asarray(weights[name], dtype="<f2").tobytes()).decode("ascii")
        for name in shapes(design)
    }
