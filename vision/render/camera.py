"""The camera: lens blur, sensor noise, colour filter, denoising, sharpening, encoding.

Shot noise is Poisson, drawn as its normal limit; the transfer curve is IEC 61966-2-1 (sRGB).
"""

from __future__ import annotations

import io
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from vision.render.faults import smeared
from vision.render.recipe import Recipe, known, stream
from vision.render.tilt import tilted
from vision.types import FloatArray

BLACK_LEVEL, WHITE_LEVEL = 1024, 60000


def srgb_encode(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    """Linear light 0..1 to sRGB 0..1, IEC 61966-2-1."""
    x = np.clip(linear, 0, 1)
    return np.asarray(np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(x, 1 / 2.4) - 0.055))


def srgb_decode(encoded: NDArray[np.float64]) -> NDArray[np.float64]:
    """sRGB 0..1 to linear light 0..1, IEC 61966-2-1."""
    x = np.clip(encoded, 0, 1)
    return np.asarray(np.where(x <= 0.04045, x / 12.92, np.power((x + 0.055) / 1.055, 2.4)))


@lru_cache(maxsize=8)
def _curve(tone: float) -> FloatArray:
    """65536 steps of linear light to encoded 0..1, with a phone's S-shaped contrast curve mixed in."""
    plain = srgb_encode(np.linspace(0, 1, 65536))
    steep = plain * plain * (3 - 2 * plain)
    lifted = 1 - (1 - plain) ** 1.15
    return np.asarray((1 - tone) * plain + tone * (0.55 * steep + 0.45 * lifted), np.float32)


def disc_kernel(radius_px: float) -> FloatArray:
    """An anti-aliased circle of confusion, sum 1."""
    half = int(np.ceil(radius_px)) + 1
    y, x = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float32)
    k = np.clip(radius_px + 0.5 - np.hypot(x, y), 0, 1)
    return np.asarray(k / k.sum(), np.float32)


def _smear(length_px: float, angle_rad: float) -> FloatArray:
    """The straight path of a shaken camera, sum 1."""
    half = int(np.ceil(length_px / 2)) + 1
    y, x = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float32)
    along, across = x * np.cos(angle_rad) + y * np.sin(angle_rad), y * np.cos(angle_rad) - x * np.sin(angle_rad)
    k = np.clip(length_px / 2 + 0.5 - np.abs(along), 0, 1) * np.clip(1 - np.abs(across), 0, 1)
    return np.asarray(k / k.sum(), np.float32)


def blurred(image: FloatArray, sigma_px: float) -> FloatArray:
    """Gaussian blur; below what a pixel can show, the picture itself."""
    if sigma_px < 0.15:
        return image
    return np.asarray(cv2.GaussianBlur(image, (0, 0), sigma_px, borderType=cv2.BORDER_REPLICATE), np.float32)


def _lens(light: FloatArray, recipe: Recipe) -> FloatArray:
    """Blur that grows from the middle to the corners, defocus of the whole shot, lateral colour."""
    h, w = light.shape[:2]
    if known(recipe.defocus_px) > 0.3:
        light = np.asarray(
            cv2.filter2D(light, -1, disc_kernel(known(recipe.defocus_px)), borderType=cv2.BORDER_REPLICATE)
        )
    if known(recipe.shake_px) > 0.5:
        kernel = _smear(known(recipe.shake_px), stream(recipe.seed, "camera", 1).uniform(0, np.pi))
        light = np.asarray(cv2.filter2D(light, -1, kernel, borderType=cv2.BORDER_REPLICATE), np.float32)
    if known(recipe.flare) > 0:
        light += np.float32(known(recipe.flare)) * light.mean(axis=(0, 1), dtype=np.float64).astype(np.float32)
    if known(recipe.fringe_px) > 0.05:
        grow = known(recipe.fringe_px) / (0.5 * float(np.hypot(h, w)))
        for channel, factor in ((0, 1 + grow), (2, 1 - grow)):
            m = np.array([[factor, 0, (1 - factor) * w / 2], [0, factor, (1 - factor) * h / 2]], np.float64)
            plane = np.ascontiguousarray(light[..., channel])
            light[..., channel] = cv2.warpAffine(
                plane, m, (w, h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
            )
    middle = blurred(light, known(recipe.optics_blur_px))
    extra = known(recipe.optics_blur_px) * float(np.sqrt(max(known(recipe.edge_blur) ** 2 - 1, 0)))
    if extra < 0.15:
        return middle
    corner = blurred(middle, extra)
    x = np.linspace(-1, 1, w, dtype=np.float32) ** 2 * (w * w / (w * w + h * h))
    y = np.linspace(-1, 1, h, dtype=np.float32) ** 2 * (h * h / (w * w + h * h))
    share = (y[:, None] + x[None, :])[..., None]
    corner -= middle
    corner *= share
    middle += corner
    return middle


def _filter_matrix(crosstalk: float) -> FloatArray:
    """Scene colours to the sensor's filters: each sees a share of its neighbours. Rows sum to 1."""
    c = crosstalk
    m = np.array([[1 - c, 0.8 * c, 0.2 * c], [0.5 * c, 1 - c, 0.5 * c], [0.1 * c, 0.9 * c, 1 - c]])
    return m.astype(np.float32)


def _sensor(light: FloatArray, recipe: Recipe, rng: np.random.Generator) -> FloatArray:
    """Filter mosaic, electrons, noise, clipping, demosaicing and white balance; linear light 0..1 comes out."""
    matrix = _filter_matrix(known(recipe.crosstalk))
    seen = cv2.transform(light, matrix)
    h, w = light.shape[:2]
    mosaic = np.empty((h, w), np.float32)
    gains = known(recipe.white_gain)
    for dy, dx, channel in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        mosaic[dy::2, dx::2] = seen[dy::2, dx::2, channel] / np.float32(gains[channel])
    del seen
    np.maximum(mosaic, 0, out=mosaic)
    spread = np.sqrt(
        mosaic / np.float32(known(recipe.full_well_e))
        + np.float32((known(recipe.read_noise_e) / known(recipe.full_well_e)) ** 2)
    )
    spread *= rng.standard_normal(mosaic.shape, dtype=np.float32)
    mosaic += spread
    del spread
    # Below black the noise is kept by the black level, as in a real raw file, so that dark means are not biased.
    raw = np.clip(mosaic, -BLACK_LEVEL / WHITE_LEVEL, 1) * (WHITE_LEVEL - BLACK_LEVEL) + BLACK_LEVEL
    code = cv2.COLOR_BayerRGGB2RGB_EA if recipe.edge_aware else cv2.COLOR_BayerRGGB2RGB
    colour = cv2.demosaicing(raw.astype(np.uint16), code).astype(np.float32)
    colour -= BLACK_LEVEL
    colour *= np.array(gains, np.float32) / np.float32(WHITE_LEVEL - BLACK_LEVEL)
    # What is full in the raw file is full in all channels after white balance, else burnt places turn pink.
    np.clip(colour, -0.05, 1, out=colour)
    return np.clip(cv2.transform(colour, np.linalg.inv(matrix).astype(np.float32)), 0, 1)


def _finish(encoded: FloatArray, recipe: Recipe) -> FloatArray:
    """Denoising and sharpening of the encoded picture, as cameras do it: luminance by coring, colour by smoothing."""
    if known(recipe.denoise) <= 0 and known(recipe.sharpen) <= 0:
        return encoded
    ycc = np.asarray(cv2.cvtColor(encoded, cv2.COLOR_RGB2YCrCb), np.float32)
    luma = np.ascontiguousarray(ycc[..., 0])
    if known(recipe.denoise) > 0:
        for channel in (1, 2):
            ycc[..., channel] = blurred(np.ascontiguousarray(ycc[..., channel]), 0.3 + 1.8 * known(recipe.denoise))
        smooth = blurred(luma, 0.8)
        fine = luma - smooth
        limit = np.float32((0.03 * known(recipe.denoise)) ** 2 + 1e-12)
        power = fine * fine
        kept = (power + limit * np.float32(1 - known(recipe.denoise))) / (power + limit)
        luma = np.asarray(smooth + fine * kept, np.float32)
    if known(recipe.sharpen) > 0:
        edges = luma - blurred(luma, known(recipe.sharpen_radius_px))
        luma = np.asarray(luma + np.float32(known(recipe.sharpen)) * edges, np.float32)
    ycc[..., 0] = luma
    return np.asarray(cv2.cvtColor(ycc, cv2.COLOR_YCrCb2RGB), np.float32)


def photograph(light: FloatArray, recipe: Recipe, rng: np.random.Generator) -> tuple[NDArray[np.uint8], bytes]:
    """Linear scene light (h, w, 3), white at 1, to the picture (h, w, 3) uint8 and its JPEG; the picture is the JPEG decoded.

    The light array may be changed.
    """
    h, w = light.shape[:2]
    light = _lens(smeared(tilted(light, recipe), recipe), recipe)
    light *= np.float32(known(recipe.exposure))
    # The mosaic needs even sides.
    light = np.pad(light, ((0, h % 2), (0, w % 2), (0, 0)), mode="edge")
    linear = _sensor(light, recipe, rng)[:h, :w]
    del light
    encoded = _curve(known(recipe.tone_curve))[(linear * np.float32(65535)).astype(np.uint16)]
    del linear
    encoded = _finish(encoded, recipe)
    levels = np.clip(encoded * np.float32(255) + np.float32(0.5), 0, 255).astype(np.uint8)
    file = io.BytesIO()
    Image.fromarray(levels).save(
        file, "JPEG", quality=known(recipe.jpeg_quality), subsampling=2 if recipe.chroma_halved else 0
    )
    jpeg = file.getvalue()
    with Image.open(io.BytesIO(jpeg)) as picture:
        return np.array(picture.convert("RGB")), jpeg
