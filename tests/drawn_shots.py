"""Plain shots for tests, drawn by numpy alone: a flat panel with ideal shapes on it, in linear light."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from vision.light import encode_srgb
from vision.types import Shot

Inside = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.bool_]]


def cover(height: int, width: int, inside: Inside, parts: int = 6) -> NDArray[np.float64]:
    """Share of each pixel inside a shape given as a function of x and y in pixels (pixel centres are whole numbers)."""
    y, x = (np.mgrid[0 : height * parts, 0 : width * parts] + 0.5) / parts - 0.5
    return np.asarray(inside(x, y), float).reshape(height, parts, width, parts).mean(axis=(1, 3))


def disc(x0: float, y0: float, diameter: float) -> Inside:
    return lambda x, y: np.hypot(x - x0, y - y0) <= diameter / 2


def box(x0: float, y0: float, length: float, width: float, degrees: float) -> Inside:
    a = np.deg2rad(degrees)

    def inside(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.bool_]:
        u, v = (x - x0) * np.cos(a) + (y - y0) * np.sin(a), (y - y0) * np.cos(a) - (x - x0) * np.sin(a)
        return (np.abs(u) <= length / 2) & (np.abs(v) <= width / 2)

    return inside


def ellipse(x0: float, y0: float, length: float, width: float, degrees: float) -> Inside:
    a = np.deg2rad(degrees)

    def inside(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.bool_]:
        u, v = (x - x0) * np.cos(a) + (y - y0) * np.sin(a), (y - y0) * np.cos(a) - (x - x0) * np.sin(a)
        return (2 * u / length) ** 2 + (2 * v / width) ** 2 <= 1

    return inside


def arc(x0: float, y0: float, radius: float, width: float, half_angle: float) -> Inside:
    def inside(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.bool_]:
        r, a = np.hypot(x - x0, y - y0), np.arctan2(y - y0, x - x0)
        return (np.abs(r - radius) <= width / 2) & (np.abs(a) <= half_angle)

    return inside


def panel_shot(
    shapes: list[tuple[Inside, tuple[float, float, float]]],
    height: int = 240,
    width: int = 320,
    level: tuple[float, float, float] = (0.7, 0.7, 0.7),
    noise: float = 0.004,
    depth: type[np.uint8] | type[np.uint16] = np.uint8,
    seed: int = 1,
) -> Shot:
    """A panel of linear light `level`; each shape lets `transmission` (red, green, blue) of it through."""
    light = np.broadcast_to(np.array(level), (height, width, 3)).copy()
    for inside, transmission in shapes:
        share = cover(height, width, inside)[..., None]
        light *= 1 - share + share * np.array(transmission)
    light *= 1 + np.random.default_rng(seed).normal(0, noise, light.shape)
    full = np.iinfo(depth).max
    pixels = np.rint(encode_srgb(np.clip(light, 0, 1)) * full).astype(depth)
    return Shot(pixels, "0" * 64, "drawn")
