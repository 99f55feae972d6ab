"""The shape classes: one entry each, from which tables, marks, legends and documents are made.

To add a class: add an entry to SHAPES (the first rule that holds names the shape) and a form for its mark in annotate.py's
legend test. Bounds are on scale-free numbers, so that they hold with and without millimetres. Aphids are roundish (length
1.5-2 times width), thrips are thin (common practice, no source; ratios in the fact sheet are from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from vision.types import MaskArray


@dataclass(frozen=True)
class ShapeNumbers:
    """What a shape is told from; all without a unit. `aspect_ratio` = min_feret / max_feret of the whole outline."""

    aspect_ratio: float
    solidity: float
    straightness: float
    """Distance of the body's ends / length along its middle line, 1 for a straight body."""
    length_over_width: float
    winding_rad: float = 0.0
    """How far the middle line turns to the side it turns less to: nought for a C, not for an S, which is as straight."""


@dataclass(frozen=True)
class Shape:
    """One shape class."""

    name: str
    meaning: str
    mark: str
    """The form of its mark on the annotated picture."""
    rule: Callable[[ShapeNumbers], bool]
    example: Callable[[], MaskArray]
    """Draws an ideal body of this class, (64, 96) bool."""


def _grid() -> tuple[np.ndarray, np.ndarray]:
    y, x = np.mgrid[0:64, 0:96].astype(float)
    return y - 32.0, x - 48.0


def _ellipse() -> MaskArray:
    y, x = _grid()
    return np.asarray((x / 20) ** 2 + (y / 12) ** 2 <= 1)


def _dash() -> MaskArray:
    y, x = _grid()
    return np.asarray((np.abs(x) <= 25) & (np.abs(y) <= 5))


def _arc() -> MaskArray:
    y, x = _grid()
    r, a = np.hypot(x, y - 14), np.arctan2(y - 14, x)
    return np.asarray((np.abs(r - 24) <= 4.5) & (np.abs(a + np.pi / 2) <= 1.2))


def _winding() -> MaskArray:
    y, x = _grid()
    return np.asarray((np.abs(y - 18 * np.sin(x / 7)) <= 4.5) & (np.abs(x) <= 44))


def _star() -> MaskArray:
    y, x = _grid()
    r, a = np.hypot(x, y), np.arctan2(y, x)
    return np.asarray(r <= 16 + 5 * np.cos(5 * a))


SHAPES: tuple[Shape, ...] = (
    Shape(
        "trail",
        "long, winding and thin: like a leaf mine",
        "hexagon",
        # A thin larva curled up to a C is as long and as bent as many a mine, but a mine winds.
        lambda n: (
            n.length_over_width >= 10 and n.straightness < 0.8 and (n.winding_rad >= 0.5 or n.length_over_width >= 25)
        ),
        _winding,
    ),
    Shape(
        "curved",
        "clearly longer than wide and bent: like a caterpillar or a maggot",
        "rounded box",
        # As broad as long and hardly longer along the curve than wide: lobes, unless its ends come together as a C's do.
        lambda n: (
            n.length_over_width >= 2.5
            and n.straightness < 0.9
            and n.solidity < 0.93
            and (n.aspect_ratio < 0.8 or n.length_over_width >= 8 or n.straightness < 0.4)
        ),
        _arc,
    ),
    Shape(
        "linear",
        "clearly longer than wide and straight: like a thrips or a fibre",
        "slim box",
        lambda n: n.length_over_width >= 2.5 and n.solidity >= 0.6 and n.aspect_ratio < 0.8,
        _dash,
    ),
    Shape(
        "round",
        "roundish, up to two and a half times as long as wide: like an aphid",
        "ring",
        lambda n: n.solidity >= 0.82,
        _ellipse,
    ),
    Shape(
        "irregular",
        "none of the others: a fragment, a cluster, a body with its legs spread",
        "diamond",
        lambda n: True,
        _star,
    ),
)

BY_NAME = {shape.name: shape for shape in SHAPES}


def name_shape(numbers: ShapeNumbers) -> str:
    """The name of the first class whose rule holds; the last one always does."""
    return next(shape.name for shape in SHAPES if shape.rule(numbers))
