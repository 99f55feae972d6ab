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

from vision.render.recipe import Recipe
from vision.types import FloatArray

BLACK_LEVEL, WHITE_LEVEL = 1024, 60000
_LUMA = np.array([0.299, 0.587, 0.114], np.float32)  # ITU-R BT.601, as JPEG uses


def srgb_encode(linear: NDArray[np.floating]) -> NDArray[np.floating]:
    """Linear light 0..1 to sRGB 0..1, IEC 61966-2-1."""
    x = np.clip(linear, 0, 1)
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(x, 1 / 2.4) - 0.055)


def srgb_decode(encoded: NDArray[np.floating]) -> NDArray[np.floating]:
    """sRGB 0..1 to linear light 0..1, IEC 61966-2-1."""
    x = np.clip(encoded, 0, 1)
    return np.where(x <= 0.04045, x / 12.92, np.power((x + 0.055) / 1.055, 2.4))


@lru_cache(maxsize=8)
def _curve(tone: float) -> FloatArray:
    """65536 steps of linear light to encoded 0..1, with a phone's S-shaped contrast curve mixed in."""
    plain = srgb_encode(np.linspace(0, 1, 65536))
    steep = plain * plain * (3 - 2 * plain)
    lifted = 1 - (1 - plain) ** 1.15
    return ((1 - tone) * plain + tone * (0.55 * steep + 0.45 * lifted)).astype(np.float32)


def disc_kernel(radius_px: float) -> FloatArray:
    """An anti-aliased circle of confusion, sum 1."""
    half = int(np.ceil(radius_px)) + 1
    y, x = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float32)
    k = np.clip(radius_px + 0.5 - np.hypot(x, y), 0, 1)
    return (k / k.sum()).astype(np.float32)


def blurred(image: FloatArray, sigma_px: float) -> FloatArray:
    """Gaussian blur; below what a pixel can show, the picture itself."""
    if sigma_px < 0.15:
        return image
    return np.asarray(cv2.GaussianBlur(image, (0, 0), sigma_px, borderType=cv2.BORDER_REPLICATE), np.float32)


def _lens(light: FloatArray, recipe: Recipe) -> FloatArray:
    """Blur that grows from the middle to the corners, defocus of the whole shot, lateral colour."""
    assert recipe.optics_blur_px is not None and recipe.edge_blur is not None
    assert recipe.defocus_px is not None and recipe.fringe_px is not None
    h, w = light.shape[:2]
    if recipe.defocus_px > 0.3:
        light = np.asarray(cv2.filter2D(light, -1, disc_kernel(recipe.defocus_px), borderType=cv2.BORDER_REPLICATE))
    if recipe.fringe_px > 0.05:
        grow = recipe.fringe_px / (0.5 * float(np.hypot(h, w)))
        for channel, factor in ((0, 1 + grow), (2, 1 - grow)):
            m = np.array([[factor, 0, (1 - factor) * w / 2], [0, factor, (1 - factor) * h / 2]], np.float64)
            plane = np.ascontiguousarray(light[..., channel])
            light[..., channel] = cv2.warpAffine(plane, m, (w, h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    middle = blurred(light, recipe.optics_blur_px)
    extra = recipe.optics_blur_px * float(np.sqrt(max(recipe.edge_blur**2 - 1, 0)))
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
    assert recipe.white_gain is not None and recipe.full_well_e is not None and recipe.read_noise_e is not None
    matrix = _filter_matrix(recipe.crosstalk or 0.0)
    seen = cv2.transform(light, matrix)
    h, w = light.shape[:2]
    mosaic = np.empty((h, w), np.float32)
    gains = recipe.white_gain
    for dy, dx, channel in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        mosaic[dy::2, dx::2] = seen[dy::2, dx::2, channel] / np.float32(gains[channel])
    del seen
    np.maximum(mosaic, 0, out=mosaic)
    spread = np.sqrt(mosaic / np.float32(recipe.full_well_e) + np.float32((recipe.read_noise_e / recipe.full_well_e) ** 2))
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
    assert recipe.denoise is not None and recipe.sharpen is not None and recipe.sharpen_radius_px is not None
    if recipe.denoise <= 0 and recipe.sharpen <= 0:
        return encoded
    ycc = np.asarray(cv2.cvtColor(encoded, cv2.COLOR_RGB2YCrCb), np.float32)
    luma = np.ascontiguousarray(ycc[..., 0])
    if recipe.denoise > 0:
        for channel in (1, 2):
            ycc[..., channel] = blurred(np.ascontiguousarray(ycc[..., channel]), 0.3 + 1.8 * recipe.denoise)
        smooth = blurred(luma, 0.8)
        fine = luma - smooth
        limit = np.float32((0.03 * recipe.denoise) ** 2)
        luma = smooth + fine * (fine * fine + limit * np.float32(1 - recipe.denoise)) / (fine * fine + limit)
    if recipe.sharpen > 0:
        luma = luma + np.float32(recipe.sharpen) * (luma - blurred(luma, recipe.sharpen_radius_px))
    ycc[..., 0] = luma
    return np.asarray(cv2.cvtColor(ycc, cv2.COLOR_YCrCb2RGB), np.float32)


def photograph(light: FloatArray, recipe: Recipe, rng: np.random.Generator) -> tuple[NDArray[np.uint8], bytes]:
    """Linear scene light (h, w, 3), white at 1, to the picture (h, w, 3) uint8 and its JPEG; the picture is the JPEG decoded.

    The light array may be changed.
    """
    assert recipe.exposure is not None and recipe.tone_curve is not None and recipe.jpeg_quality is not None
    h, w = light.shape[:2]
    light = _lens(light, recipe)
    light *= np.float32(recipe.exposure)
    # The mosaic needs even sides.
    light = np.pad(light, ((0, h % 2), (0, w % 2), (0, 0)), mode="edge")
    linear = _sensor(light, recipe, rng)[:h, :w]
    del light
    encoded = _curve(recipe.tone_curve)[(linear * np.float32(65535)).astype(np.uint16)]
    del linear
    encoded = _finish(encoded, recipe)
    levels = np.clip(encoded * np.float32(255) + np.float32(0.5), 0, 255).astype(np.uint8)
    file = io.BytesIO()
    Image.fromarray(levels).save(file, "JPEG", quality=recipe.jpeg_quality, subsampling=2 if recipe.chroma_halved else 0)
    jpeg = file.getvalue()
    with Image.open(io.BytesIO(jpeg)) as picture:
        return np.array(picture.convert("RGB")), jpeg
